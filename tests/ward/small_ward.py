"""The exports of a small ward of the invented Tarnholt hospitals, and what its tests do with them."""

from __future__ import annotations

import datetime
from pathlib import Path

from pipeline import run

RULES = 'site_id = "TARN"\ntime_zone = "Europe/Dublin"\n'
NOW = datetime.datetime(2026, 6, 1, 12, 0)  # UTC, as the store has it

EXPORTS = {
    "units": "unit_id,ward\nu1,Alder\nu2,Birch\n",
    "episodes": (
        "patient_ref,unit_id,ward,started_at,ended_at\n"
        "p1,u1,Alder,2026-04-02T08:00:00Z,2026-04-05T08:00:00Z\n"
        "p2,u1,Alder,2026-04-06T08:00:00Z,2026-04-09T08:00:00Z\n"
        "p3,u2,Birch,2026-05-02T08:00:00Z,2026-05-05T08:00:00Z\n"
        "p4,u2,Birch,2026-05-06T08:00:00Z,2026-05-09T08:00:00Z\n"
        "p5,u1,Alder,2026-05-20T08:00:00Z,2026-05-22T08:00:00Z\n"
    ),
    "disinfections": (
        "unit_id,started_at,ended_at,outcome,storage_protected\n"
        "u1,2026-04-01T09:00:00Z,2026-04-01T10:00:00Z,passed,true\n"
        "u1,2026-04-05T09:00:00Z,2026-04-05T10:00:00Z,passed,false\n"
        "u1,2026-04-09T09:00:00Z,2026-04-09T10:00:00Z,passed,\n"
        "u2,2026-05-01T09:00:00Z,2026-05-01T10:00:00Z,passed,true\n"
        "u2,2026-05-09T09:00:00Z,2026-05-09T10:00:00Z,passed,true\n"
        "u1,2026-05-22T09:00:00Z,2026-05-22T10:00:00Z,passed,true\n"
    ),
    "part_changes": (
        "unit_id,part,fitted_at,removed_at,lot\n"
        "u1,circuit,2026-04-02T08:00:00Z,,C1\n"
        "u1,circuit,2026-04-06T08:00:00Z,,C2\n"
        "u2,circuit,2026-05-02T08:00:00Z,,C3\n"
        "u1,circuit,2026-05-20T08:00:00Z,,C4\n"
    ),
    "setup_checks": (
        "unit_id,checked_at,step,result\n"
        "u1,2026-04-02T07:00:00Z,unit looks clean,done\n"
        "u2,2026-05-02T07:00:00Z,unit looks clean,not_done\n"
    ),
}


def ingest_text(folder: Path, name: str, text: str, now: datetime.datetime = NOW) -> None:
    """Ingest one more export into the ward's store."""
    path = folder / "in" / f"{name}.csv"
    path.write_text(text, "utf-8")
    run.ingest(folder / "store", [path], "TARN", None, None, now, quiet=True)


def write_page(published, ledger, validation, month: str, to: Path, *, plan, poor_data) -> list[Path]:
    """Stand in for the report, which has its own tests, where a page's bytes are all that matters."""
    (to / "TARN.html").write_text(f"<html>{month} {len(ledger)}</html>", "utf-8")
    return [to / "TARN.html"]
