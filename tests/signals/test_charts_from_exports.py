"""From exports to the table of control charts: ingested, measured, exported."""

from __future__ import annotations

import csv
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from results import months

from pipeline.cli import main
from pipeline.measures.published import published
from pipeline.store.layout import open_store

RULES = """
site_id = "T"
time_zone = "UTC"
[[events]]
kind = "change"
what = "a new round"
on = 2026-01-01
measures = ["overrun_of_due"]
"""


def write(folder: Path) -> None:
    """Write twenty months in which each of six units has a patient for twelve days and a circuit changed once.

    The first circuit stays 6 days on some units and 9 on others, whose number changes from month to month.
    """
    episodes, changes = (
        ["patient_ref,unit_id,ward,started_at,ended_at"],
        ["unit_id,part,fitted_at,removed_at"],
    )
    for place, month in enumerate(months(20)):
        for unit in range(6):
            start = datetime.fromisoformat(f"{month}-02T08:00")
            changed, end = (
                start + timedelta(days=9 if unit < 1 + place % 3 else 6),
                start + timedelta(days=12),
            )
            episodes.append(f"p{place}-{unit},u{unit},Alder,{start:%Y-%m-%dT%H:%MZ},{end:%Y-%m-%dT%H:%MZ}")
            changes.append(f"u{unit},circuit,{start:%Y-%m-%dT%H:%MZ},{changed:%Y-%m-%dT%H:%MZ}")
            changes.append(f"u{unit},circuit,{changed:%Y-%m-%dT%H:%MZ},{end:%Y-%m-%dT%H:%MZ}")
    (folder / "episodes.csv").write_text("\n".join(episodes) + "\n", "utf-8")
    (folder / "part_changes.csv").write_text("\n".join(changes) + "\n", "utf-8")
    (folder / "site.toml").write_text(RULES, "utf-8")


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("charts")
    write(folder)
    store = str(folder / "store")
    for command in (
        ["ingest", "--store", store, "--rules", str(folder / "site.toml"), str(folder)],
        ["measure", "--store", store],
        ["export", "--store", store, "--to", str(folder / "out")],
    ):
        result = CliRunner().invoke(main, command)
        assert result.exit_code == 0, result.output
    return folder


def rows(exported: Path, **only: str) -> list[dict[str, str]]:
    with (exported / "out" / "control_chart.csv").open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if all(row[key] == value for key, value in only.items())]


def test_overruns_of_due_circuits_have_a_chart_that_the_change_sets_anew(exported):
    found = rows(exported, ward="*", measure="overrun_of_due:circuit")
    assert [row["period"] for row in found] == list(months(20))
    assert {row["chart"] for row in found} == {"p"}
    # 1, 2 and 3 of 6 in turn: 24 of 72 in the first twelve months; then 15 of 48
    assert [float(row["centre"]) for row in found] == pytest.approx([24 / 72] * 12 + [15 / 48] * 8)
    assert {row["signal"] for row in found} == {""}


def test_a_change_that_is_about_other_measures_leaves_part_cover_alone(exported):
    found = rows(exported, ward="*", measure="part_cover:circuit")
    assert len({row["centre"] for row in found}) == 1
    assert {row["chart"] for row in found} == {"laney_p"}


def test_the_flips_are_published_for_the_report_and_not_exported(exported):
    store = open_store(exported / "store", create=False)
    flips = published(store).read("sensitivity")
    assert flips.filter(measure="overrun_of_due:circuit", scenario="at_0").row(0)[3:5] == (120, 0)
    assert not (exported / "out" / "sensitivity.csv").exists()
