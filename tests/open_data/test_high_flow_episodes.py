"""Real high-flow episodes and their hourly flows, from exports to the report.

MIMIC-IV Clinical Database Demo 2.2 (Johnson et al. 2023, doi:10.13026/dp1f-ex47) and MIMIC-IV demo data in MEDS
0.0.1 (van de Water et al. 2025), PhysioNet, ODbL 1.0. Real: the episodes, their lengths and the flows charted.
Not real: the year (the publisher shifted each patient into the 22nd century; intervals and time of day hold), and
one circuit fitted at each start, which the data do not record.
"""

from __future__ import annotations

import csv
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline.cli import main

pytestmark = pytest.mark.open_data

#: A leap year in the past, so that no row lies in the future and 29 February stays what it is.
_YEAR = 2024
_RULES = 'site_id = "OPEN"\ntime_zone = "UTC"\nmax_sample_gap_min = 60\n'


def _instant(text: str) -> str:
    return f"{datetime.fromisoformat(text).replace(year=_YEAR).isoformat()}Z"


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _write(path: Path, header: str, rows: list[tuple[str, ...]]) -> None:
    path.write_text("\n".join([header, *(",".join(row) for row in rows)]) + "\n", "utf-8")


@pytest.fixture(scope="module")
def measured(open_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which the open episodes lie ingested, measured and exported."""
    folder = tmp_path_factory.mktemp("open")
    source = open_data / "icu_open"
    episodes = _rows(source / "derived_highflow_episodes.csv")
    _write(
        folder / "episodes.csv",
        "patient_ref,unit_id,ward,started_at,ended_at",
        [
            (e["subject_id"], e["stay_id"], "Alder", _instant(e["start"]), _instant(e["end"]))
            for e in episodes
        ],
    )
    _write(
        folder / "part_changes.csv",
        "unit_id,part,fitted_at",
        [(e["stay_id"], "circuit", _instant(e["start"])) for e in episodes],
    )
    hourly = _rows(source / "derived_highflow_hourly.csv")
    flows = [
        (h["stay_id"], _instant(h["hour_start"]), h["flow_lpm"], "in_use") for h in hourly if h["flow_lpm"]
    ]
    ends = [(e["stay_id"], _instant(e["end"]), "0", "off") for e in episodes]
    taken = {(unit, at) for unit, at, _, _ in ends}
    flows = [flow for flow in flows if flow[:2] not in taken]
    _write(folder / "usage_samples.csv", "unit_id,sampled_at,flow_l_min,phase", sorted(flows + ends))
    (folder / "site.toml").write_text(_RULES, "utf-8")
    store = str(folder / "store")
    files = [str(folder / f"{name}.csv") for name in ("episodes", "part_changes", "usage_samples")]
    for command in (
        ["ingest", "--store", store, "--rules", str(folder / "site.toml"), *files],
        ["measure", "--store", store],
        ["export", "--store", store, "--to", str(folder / "out")],
        [
            "report",
            "--store",
            store,
            "--month",
            f"{_YEAR}-02",
            "--to",
            str(folder / "report"),
            "--allow-poor-data",
        ],
    ):
        result = CliRunner().invoke(main, command)
        assert result.exit_code == 0, result.output
    return folder


def test_twelve_episodes_make_nine_and_a_third_device_days(measured: Path) -> None:
    cover = [
        r
        for r in _rows(measured / "out" / "part_cover_monthly.csv")
        if (r["ward"], r["part"]) == ("*", "circuit")
    ]
    assert len(_rows(measured / "episodes.csv")) == 12
    assert sum(float(row["episode_h"]) for row in cover) / 24 == pytest.approx(9.2993, abs=5e-5)


def test_nothing_ran_past_a_week(measured: Path) -> None:
    spans = _rows(measured / "out" / "part_spans.csv")
    assert len(spans) == 12
    assert {span["outcome"] for span in spans} <= {"within_limit", "unused"}
    assert max(float(span["in_place_h"]) for span in spans if span["outcome"] == "within_limit") == 50


def test_modelled_water_is_that_of_the_charted_flows(measured: Path) -> None:
    days = [row for row in _rows(measured / "out" / "therapy_days.csv") if row["basis"] == "samples"]
    litres_h = sum(float(day["mean_flow_l_min"]) * 60 * float(day["therapy_h"]) for day in days)
    water = sum(float(day["water_modelled_ml"]) for day in days)
    # 43.89 mg/L: gas saturated at 37 °C (IAPWS-IF97 vapour pressure, ideal gas); 0.9933 g/mL: water at 37 °C.
    assert water == pytest.approx(litres_h * 43.886e-3 / 0.9933, rel=1e-4)
    per_day = water / (sum(float(day["therapy_h"]) for day in days) / 24)
    # The data's own note gives a mean of 23.2 L/min over the hours with a known flow.
    assert per_day == pytest.approx(23.2 * 1440 * 43.886e-3 / 0.9933, rel=0.05)


def test_the_month_with_real_episodes_has_a_report(measured: Path) -> None:
    pages = sorted((measured / "report").glob("*.html"))
    assert pages
    assert "Cannot be judged" in pages[0].read_text("utf-8")
