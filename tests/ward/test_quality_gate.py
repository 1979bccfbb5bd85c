"""The quality gate: too many rows in quarantine, or an expected table that did not come (contract section 3)."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest
from click.testing import Result

from pipeline.errors import QualityGate
from pipeline.ingest.profiles import Duration, Profile, load_profile, profile_text
from pipeline.measures.published import Published
from pipeline.quality_gate import faults, stop_at
from pipeline.records import TABLES
from pipeline.site_rules import SiteRules, parse_site_rules
from pipeline.store.columns import QUARANTINE, good_schema
from pipeline.store.layout import Store, open_store
from pipeline.store.ledger import LedgerEntry, commit, entries
from pipeline.store.parquet import write_bytes

SITE = "TARN"
RULES = parse_site_rules('time_zone = "Europe/Dublin"')
PLAIN = load_profile(None)
AS_OF = datetime.datetime.fromisoformat("2026-06-30 12:00")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(tmp_path / "store", create=True)


def put(
    store: Store,
    table: str,
    times: list[str],
    quarantined: list[dict[str, str]] = (),  # type: ignore[assignment]
    sites: tuple[str, ...] = (SITE,),
    profile: Profile = PLAIN,
) -> None:
    """Commit a file with good rows at these UTC times, for each site, and raw rows for the quarantine."""
    write_bytes(store.profile_file(profile.fingerprint), profile_text(profile))
    sha256 = f"{len(entries(store)):064x}"
    time = TABLES[table].time
    rows = [{"site_id": site, time: datetime.datetime.fromisoformat(at)} for site in sites for at in times]
    good = pl.DataFrame(
        [{**row, "source_row": number} for number, row in enumerate(rows, 2)],
        schema=good_schema(TABLES[table]),
    )
    kept_out = pl.DataFrame(
        [
            {
                "table": table,
                "file_name": "a.csv",
                "sha256": sha256,
                "source_row": number,
                "raw": json.dumps(raw),
            }
            for number, raw in enumerate(quarantined, 900)
        ],
        schema=QUARANTINE,
    )
    counts = {"rows_read": len(rows) + kept_out.height, "accepted": len(rows), "quarantined": kept_out.height}
    commit(
        store,
        LedgerEntry(
            sha256=sha256,
            name="a.csv",
            table=table,
            profile=profile.name,
            profile_sha256=profile.fingerprint,
            **counts,
        ),
        good,
        kept_out,
    )


def judged(
    store: Store,
    month: str,
    covered: dict[str, list[str]] | None = None,
    declared: dict[str, list[str]] | None = None,
    rules: SiteRules = RULES,
    sites: tuple[str, ...] = (SITE,),
    as_of: datetime.datetime = AS_OF,
) -> list[str]:
    """The faults of a month, given the months in which each table of the first site is covered."""
    months = [
        (sites[0], table, is_declared, name)
        for is_declared, told in ((False, covered or {}), (True, declared or {}))
        for table, names in told.items()
        for name in names
    ]
    path = store.root / "covered_months.parquet"
    schema = {"site_id": pl.String, "table_name": pl.String, "declared": pl.Boolean, "month": pl.String}
    pl.DataFrame(months, schema=schema, orient="row").write_parquet(path)
    results = Published("run", as_of, dict.fromkeys(sites, rules), {"covered_months": path})
    return faults(store, results, entries(store), month)


def hours(day: str, number: int) -> list[str]:
    start = datetime.datetime.fromisoformat(day)
    return [str(start + datetime.timedelta(minutes=5 * minute)) for minute in range(number)]


@pytest.mark.parametrize(
    ("good", "is_fault"), [(99, False), (98, True)], ids=["1 of 100 is allowed", "1 of 99 is not"]
)
def test_the_share_of_quarantined_rows_may_reach_the_sites_limit(store: Store, good: int, is_fault: bool):
    put(store, "episodes", hours("2026-05-10", good), [{"started_at": "2026-05-12T08:00:00Z"}])
    assert bool(judged(store, "2026-05")) is is_fault


def test_the_sentence_names_site_table_share_and_limit(store: Store):
    put(store, "episodes", hours("2026-05-10", 3), [{"started_at": "2026-05-12T08:00:00Z"}])
    assert judged(
        store, "2026-05", rules=parse_site_rules('time_zone = "UTC"\nmax_quarantined_pct = 2.5')
    ) == ["TARN, episodes: 1 of 4 rows of 2026-05 (25 %) are in quarantine; the site allows 2.5 %."]


@pytest.mark.parametrize(
    ("told", "month"),
    [
        ("2026-05-31T22:59:59Z", "2026-05"),
        ("2026-05-31T23:00:00Z", "2026-06"),
        ("2026-06-01T00:30:00+02:00", "2026-05"),
        ("2026-05-31 23:59", "2026-05"),
    ],
    ids=["before local midnight", "local midnight", "an offset", "the local clock"],
)
def test_a_quarantined_row_counts_in_the_local_month_of_its_own_time(store: Store, told: str, month: str):
    put(store, "episodes", [*hours("2026-05-10", 9), *hours("2026-06-10", 9)], [{"started_at": told}])
    assert [name for name in ("2026-05", "2026-06") if judged(store, name)] == [month]


@pytest.mark.parametrize("raw", [{"started_at": "2026-02-30"}, {"started_at": ""}, {}, {"fields_found": 3}])
def test_a_row_without_a_readable_time_counts_in_the_months_of_its_file(store: Store, raw: dict):
    put(store, "episodes", [*hours("2026-04-10", 9), *hours("2026-05-10", 9)], [raw])
    put(store, "episodes", hours("2026-06-10", 9))
    assert [name for name in ("2026-04", "2026-05", "2026-06") if judged(store, name)] == [
        "2026-04",
        "2026-05",
    ]


@pytest.mark.parametrize(
    ("stated", "raw"),
    [
        ({"time_formats": ("%d.%m.%Y %H:%M",)}, {"started_at": "31.05.2026 23:59"}),
        ({"time_formats": ("serial_1900",)}, {"started_at": "46173.9993"}),
        (
            {"columns": {"started_at": ("Day", "Hour")}, "time_formats": ("%m/%d/%Y %H:%M",)},
            {"started_at.date": "05/31/2026", "started_at.time": "23:59"},
        ),
        ({"time_zone": "America/Halifax"}, {"started_at": "2026-05-31 19:30"}),
        (
            {"empty": ("n/a",), "durations": {"ended_at": Duration("Lasted", "min")}},
            {"started_at": "2026-05-31 08:00"},
        ),
    ],
    ids=["day first", "a serial number", "two columns", "another clock", "a duration"],
)
def test_a_row_of_another_layout_counts_in_its_month_too(store: Store, stated: dict, raw: dict):
    other = Profile(name="other", files=("e.csv",), table="episodes", **stated)
    put(store, "episodes", [], [raw], profile=other)
    put(store, "episodes", [*hours("2026-05-10", 9), *hours("2026-06-10", 9)])
    assert [name for name in ("2026-05", "2026-06") if judged(store, name)] == ["2026-05"]


def test_a_share_of_all_rows_is_100_percent(store: Store):
    put(store, "ward_census", [], [{"counted_on": "2026-05-31"}] * 120)
    assert "120 of 120 rows of 2026-05 (100 %) are in quarantine" in judged(store, "2026-05")[0]


def test_a_file_of_one_local_month_does_not_spill_into_the_utc_month_before(store: Store):
    put(store, "episodes", ["2026-04-30 23:30", *hours("2026-05-10", 9)], [{"started_at": "x"}])
    assert not judged(store, "2026-04")
    assert "1 of 11 rows of 2026-05" in judged(store, "2026-05")[0]


def test_a_calendar_day_is_a_time_too(store: Store):
    put(store, "ward_census", [], [{"counted_on": "2026-05-31"}])
    assert [name for name in ("2026-05", "2026-06") if judged(store, name)] == ["2026-05"]


def test_what_no_month_can_be_found_for_counts_in_every_month(store: Store):
    put(store, "episodes", [], [{"started_at": "x"}])
    put(store, "episodes", hours("2026-05-10", 9))
    assert judged(store, "2026-05")
    assert judged(store, "2026-06")


def test_a_table_without_times_counts_in_every_month(store: Store):
    good = pl.DataFrame(
        [{"site_id": SITE, "unit_id": "u1", "source_row": 2}], schema=good_schema(TABLES["units"])
    )
    kept_out = pl.DataFrame(
        [{"table": "units", "file_name": "u.csv", "sha256": "f" * 64, "source_row": 3, "raw": "{}"}],
        schema=QUARANTINE,
    )
    counts = {"rows_read": 2, "accepted": 1, "quarantined": 1}
    write_bytes(store.profile_file(PLAIN.fingerprint), profile_text(PLAIN))
    entry = LedgerEntry(
        sha256="f" * 64,
        name="u.csv",
        table="units",
        profile="plain",
        profile_sha256=PLAIN.fingerprint,
        **counts,
    )
    commit(store, entry, good, kept_out)
    assert "units: 1 of 2 rows of 2026-05" in judged(store, "2026-05")[0]


def test_a_quarantined_row_counts_at_the_site_it_names_else_at_those_of_its_file(store: Store):
    both = ("TARN", "ELM")
    put(store, "episodes", hours("2026-05-10", 9), [{"started_at": "2026-05-12", "site_id": " elm "}], both)
    assert [fault.split(",")[0] for fault in judged(store, "2026-05", sites=both)] == ["ELM"]
    put(store, "part_changes", hours("2026-05-10", 9), [{"fitted_at": "2026-05-12"}], ("TARN",))
    assert [fault.split(":")[0] for fault in judged(store, "2026-05", sites=both)] == [
        "ELM, episodes",
        "TARN, part_changes",
    ]


EARLIER = ["2026-01", "2026-02", "2026-03", "2026-04"]


@pytest.mark.parametrize(
    ("covered", "is_missing"),
    [
        (EARLIER, True),
        (["2026-01", "2026-02"], True),
        (["2026-01"], False),
        (["2026-04"], True),
        ([*EARLIER, "2026-05"], True),
        ([], False),
    ],
    ids=[
        "every month",
        "half the months",
        "less than half",
        "since it began",
        "covered by doubt only",
        "never",
    ],
)
def test_a_table_is_expected_when_it_came_in_half_the_months_since_its_first(
    store: Store, covered: list[str], is_missing: bool
):
    assert bool(judged(store, "2026-05", {"disinfections": covered})) is is_missing


def test_a_missing_table_is_named_with_the_months_that_it_came_in(store: Store):
    assert judged(store, "2026-05", {"disinfections": ["2026-02", "2026-04"]}) == [
        "TARN, disinfections: no rows for 2026-05, though 2 of 3 earlier months have some."
    ]


def test_one_row_or_a_declaration_is_enough(store: Store):
    assert not judged(store, "2026-05", {"disinfections": EARLIER}, {"disinfections": ["2026-05"]})
    put(store, "disinfections", ["2026-05-31 22:30"])
    assert not judged(store, "2026-05", {"disinfections": EARLIER})


@pytest.mark.parametrize("table", ["unit_status", "cycle_temperatures", "patient_merges", "units", "items"])
def test_irregular_tables_are_never_expected(store: Store, table: str):
    assert not judged(store, "2026-05", {table: EARLIER})


def test_a_month_that_the_results_do_not_reach_has_no_faults(store: Store):
    given = {"disinfections": [*EARLIER, "2026-05", "2026-06"]}
    assert not judged(store, "2026-07", given)
    assert judged(store, "2026-07", given, as_of=datetime.datetime.fromisoformat("2026-06-30 23:00"))


def test_faults_are_in_order(store: Store):
    put(store, "episodes", hours("2026-05-10", 3), [{"started_at": "2026-05-12"}])
    found = judged(store, "2026-05", {"disinfections": EARLIER, "count_readings": EARLIER})
    assert [fault.split(":")[0] for fault in found] == [
        "TARN, count_readings",
        "TARN, disinfections",
        "TARN, episodes",
    ]


def test_stopping_says_why_and_how_to_go_on():
    with pytest.raises(QualityGate, match=r"no report was written.\n  a\n  b\n.*--allow-poor-data"):
        stop_at(["a", "b"])


def test_a_report_stops_at_the_gate_and_the_override_gets_through(
    ward: Path, dewledger: Callable[..., Result]
):
    words = ("report", "--store", ward / "store", "--month", "2026-05", "--to", ward / "report")
    (ward / "store" / "rules" / "TARN.toml").write_text(
        'time_zone = "Europe/Dublin"\nmax_quarantined_pct = 0\n'
    )
    bad = ward / "in" / "episodes_bad.csv"
    bad.write_text("patient_ref,unit_id,ward,started_at,ended_at\np9,,Alder,2026-05-12T08:00:00Z,\n")
    dewledger("ingest", "--store", ward / "store", "--site", "TARN", bad)
    stopped = dewledger(*words, "--json")
    assert (stopped.exit_code, json.loads(stopped.stdout)["error"]) == (4, "quality_gate")
    assert not (ward / "report").exists()
    assert dewledger(*words, "--allow-poor-data").exit_code == 0
