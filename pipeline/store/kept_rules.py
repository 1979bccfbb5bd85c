"""The site rules that a store keeps: what later runs are measured against."""

from __future__ import annotations

import hashlib

from pipeline.errors import UsageError
from pipeline.site_rules import SiteRules, parse_site_rules
from pipeline.store.layout import Store
from pipeline.store.parquet import write_bytes


def keep(store: Store, site_id: str | None, text: str) -> None:
    """Keep the text of a rules file for one site, or for all sites that have none of their own."""
    write_bytes(store.rules_file(site_id), text.encode())


def kept_text(store: Store, site_id: str | None) -> str | None:
    """Return the text kept for a site, else that for all sites, else None."""
    for path in (store.rules_file(site_id), store.rules_file(None)):
        if path.exists():
            return path.read_text("utf-8")
    return None


def rules_of(store: Store, site_id: str | None) -> SiteRules:
    """Return the rules kept for a site; raise UsageError when the store keeps none."""
    text = kept_text(store, site_id)
    if text is None:
        raise UsageError(
            f"No rules are kept for {f'site {site_id}' if site_id else 'this store'}; "
            "give them once with 'dewledger ingest --rules site.toml'."
        )
    return parse_site_rules(text, "the rules kept in the store")


def fingerprint(store: Store) -> str:
    """Return the SHA-256 over all rules kept."""
    digest = hashlib.sha256()
    for path in sorted(store.rules.glob("*.toml")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()
