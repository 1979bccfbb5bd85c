"""Which site a row belongs to, and which rules it is read by."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote

import polars as pl

from pipeline.errors import RefusedFile, UsageError
from pipeline.ingest.profiles import Profile
from pipeline.site_rules import SiteRules, load_site_rules
from pipeline.store.kept_rules import keep
from pipeline.store.layout import ALL_SITES, Store
from pipeline.store.ledger import LedgerEntry

#: The key of rules for all sites; no site has an empty name.
_ALL = ""


@dataclass(frozen=True)
class Sites:
    """The site of rows that name none; rules and the one spelling of each site, both by lower-case name."""

    own: str | None
    rules: dict[str, SiteRules]
    default: SiteRules | None
    spellings: dict[str, str]

    def rules_of(self, site_id: str) -> SiteRules:
        """Return the rules for a site; raise RefusedFile when neither it nor all sites have any."""
        found = self.rules.get(site_id.lower(), self.default)
        if found is None:
            raise RefusedFile(f"names the site '{site_id}', which has no rules; give them once with --rules")
        return found

    def spelled(self, site_id: str) -> str:
        """Return a site's name as the store has it, else as first seen; patient keys depend on it."""
        return self.spellings.setdefault(site_id.lower(), site_id)

    def reading(self, profile: Profile, site_ids: list[str]) -> str:
        """Return a hash of all that the reading of a file depends on besides the file."""
        read_by = {site: self.rules_of(site) for site in {*site_ids, *filter(None, [self.own])}}
        by_site = {site: [rules.time_zone, sorted(rules.parts)] for site, rules in read_by.items()}
        stated = json.dumps([profile.fingerprint, self.own, by_site], sort_keys=True)
        return hashlib.sha256(stated.encode()).hexdigest()


def settle_sites(store: Store, site: str | None, rules_path: Path | None, known: list[LedgerEntry]) -> Sites:
    """Bring together --site, --rules and what the store keeps; the rules given are kept for the next time.

    Raises UsageError where they contradict each other or there are no rules at all.
    """
    site = site.strip() if site and site.strip() else None
    given = load_site_rules(rules_path) if rules_path else None
    if given and given.site_id and site and given.site_id.lower() != site.lower():
        raise UsageError(f"--site is '{site}', but the rules in {rules_path} are those of '{given.site_id}'.")
    kept = _kept(store)
    named = site or (given.site_id if given else "") or None
    if given and rules_path:
        kept = {**kept, (named or _ALL).lower(): (named or _ALL, given)}
    if not kept:
        raise UsageError(
            "The store has no rules yet; name the site's rules file once with --rules site.toml."
        )
    spellings = _spellings(kept, named, known)
    own = spellings[named.lower()] if named else _only_site(kept)
    if rules_path:
        keep(store, own if named else None, rules_path.read_text("utf-8"))
    rules = {key: rules for key, (_, rules) in kept.items() if key != _ALL}
    return Sites(own, rules, kept[_ALL][1] if _ALL in kept else None, spellings)


def by_site(rows: pl.DataFrame, sites: Sites) -> list[tuple[str, pl.DataFrame]]:
    """Return the rows of each site under its one spelling; rows that name none belong to the own site."""
    if "site_id" not in rows.columns:
        return [(_own(sites), rows)]
    named = rows["site_id"].str.strip_chars().replace("", None)
    if named.null_count():
        named = named.fill_null(_own(sites))
    spelled = {name: sites.spelled(name) for name in named.unique(maintain_order=True)}
    site = named.replace_strict(spelled, return_dtype=pl.String).alias("site")
    parts = rows.with_columns(site).partition_by("site", as_dict=True, include_key=False)
    return sorted((str(site), part) for (site,), part in parts.items())


def _own(sites: Sites) -> str:
    if sites.own is None:
        raise UsageError("A file does not name its site; name it with --site, or as site_id in the rules.")
    return sites.own


def _kept(store: Store) -> dict[str, tuple[str, SiteRules]]:
    """Return the rules kept in the store by lower-case site, each with the site's name."""
    files = sorted(store.rules.glob("*.toml")) if store.rules.exists() else []
    names = [_ALL if path.stem == ALL_SITES else unquote(path.stem) for path in files]
    return {name.lower(): (name, load_site_rules(path)) for name, path in zip(names, files, strict=True)}


def _spellings(
    kept: dict[str, tuple[str, SiteRules]], named: str | None, known: list[LedgerEntry]
) -> dict[str, str]:
    """Return one spelling per site: that of rows already stored, else of the rules, else as named now."""
    spellings: dict[str, str] = {named.lower(): named} if named else {}
    for name, rules in kept.values():
        if spelling := rules.site_id or name:
            spellings[spelling.lower()] = spelling
    for entry in known:
        for part in entry.parts:
            spellings[part.site_id.lower()] = part.site_id
    return spellings


def _only_site(kept: dict[str, tuple[str, SiteRules]]) -> str | None:
    """Return the site that the store's rules are for, when they are for one."""
    names = {rules.site_id or name for name, rules in kept.values()} - {""}
    return names.pop() if len(names) == 1 else None
