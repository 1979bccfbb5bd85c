"""What has left the team before, from the record of it in the audit: hashes only, and never a count."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict

from pipeline.disclosure import Left
from pipeline.errors import UsageError
from pipeline.store import audit
from pipeline.store.layout import Store

#: How the audit names an edition that left the team.
_SHARED = "report --shared"


def earlier_editions(store: Store) -> dict[str, list[Left]]:
    """Return what each site has shared so far, oldest first."""
    found: dict[str, list[Left]] = {}
    for line in audit.recorded(store, _SHARED):
        for site, left in line["sites"].items():
            wards = {measure: (shown, hid) for measure, (shown, hid) in left["wards"].items()}
            found.setdefault(site, []).append(Left(line["month"], line["profile"], wards, left["months"]))
    return found


def require_one_profile(earlier: Mapping[str, list[Left]], profile: str) -> None:
    """Raise UsageError where a site has shared by another profile: side by side, two tell what each hides."""
    for site, editions in sorted(earlier.items()):
        if used := next((left.profile for left in editions if left.profile != profile), None):
            raise UsageError(
                f"--suppress: {site} has shared by {used}, and the same months by {profile} beside them would tell"
                f" hidden counts; keep to --suppress {used}."
            )


def remember(store: Store, month: str, profile: str, sites: Mapping[str, Left]) -> None:
    """Record that editions of a month leave."""
    told = {site: {name: asdict(left)[name] for name in ("wards", "months")} for site, left in sites.items()}
    audit.record(store, _SHARED, month=month, profile=profile, sites=told)
