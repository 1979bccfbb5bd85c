"""What a person or a scheduler is told when something does not go as meant: one line and the right status."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

Run = Callable[..., Result]


def _told(result: Result, status: int, *words: str) -> None:
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    for word in words:
        assert word in result.stderr, result.stderr


def test_all_is_well(ingested: Path, dewledger: Run) -> None:
    assert dewledger("measure", "--store", ingested / "store").exit_code == 0
    assert dewledger("export", "--store", ingested / "store", "--to", ingested / "out").exit_code == 0
    header, *rows = (ingested / "out" / "changeovers.csv").read_text().splitlines()
    assert header.startswith("site_id,ward,unit_id,from_patient_key,to_patient_key")
    assert [row.rsplit(",", 1)[1] for row in rows] == ["no_record"]


def test_a_missing_folder_is_wrong_usage(ward: Path, dewledger: Run) -> None:
    result = dewledger("ingest", "--store", ward / "store", "--rules", ward / "site.toml", ward / "absent")
    _told(result, 2, "absent")


def test_an_unreadable_rules_file_is_wrong_usage_and_says_every_fault(ward: Path, dewledger: Run) -> None:
    (ward / "site.toml").write_text('site_id = "T"\ntime_zne = "UTC"\n[parts.circuit]\nmax_day = 5\n')
    result = dewledger("ingest", "--store", ward / "store", "--rules", ward / "site.toml", ward / "in")
    _told(result, 2, "Did you mean 'time_zone'?", "Did you mean 'max_days'?")


def test_a_temperature_dose_without_moist_heat_is_refused(ward: Path, dewledger: Run) -> None:
    (ward / "site.toml").write_text('site_id = "T"\ntime_zone = "UTC"\nmin_a0_s = 600\n')
    result = dewledger("ingest", "--store", ward / "store", "--rules", ward / "site.toml", ward / "in")
    _told(result, 2, "moist")


def test_a_bad_row_is_quarantined_and_the_good_ones_are_kept(ward: Path, dewledger: Run) -> None:
    with (ward / "in" / "episodes.csv").open("a") as file:
        file.write("canary-3,u1,Alder,tomorrow,\n")
    result = dewledger("ingest", "--store", ward / "store", "--rules", ward / "site.toml", ward / "in")
    _told(result, 3, "3 rows read = 2 accepted + 0 duplicates + 0 skipped + 1 quarantined (bad_time 1)")
    listed = dewledger("quarantine", "--store", ward / "store")
    assert "episodes.csv" in listed.stdout
    assert "bad_time" in listed.stdout


@pytest.mark.parametrize(
    ("content", "word"),
    [
        ("", "empty"),
        ("a,b\n1,2\n", "no header"),
        ("unit_id,read_at\nu1,x\n", "cycle_count"),
        ("\x00\x01", "NUL"),
    ],
    ids=["empty", "no table", "a column missing", "binary"],
)
def test_a_file_that_is_no_table_is_refused_and_the_others_go_on(
    ward: Path, dewledger: Run, content: str, word: str
) -> None:
    (ward / "in" / "count_readings.csv").write_text(content)
    result = dewledger("ingest", "--store", ward / "store", "--rules", ward / "site.toml", ward / "in")
    _told(result, 3, "count_readings.csv", "refused", word, "episodes.csv: 2 rows read = 2 accepted")


def test_an_empty_store_has_nothing_to_measure(tmp_path: Path, dewledger: Run) -> None:
    (tmp_path / "store").mkdir()
    _told(dewledger("measure", "--store", tmp_path / "store"), 5, "empty")


def test_nothing_is_exported_before_it_is_measured(ingested: Path, dewledger: Run) -> None:
    result = dewledger("export", "--store", ingested / "store", "--to", ingested / "out")
    _told(result, 5, "dewledger measure")


def test_an_unknown_month_is_wrong_usage_and_one_without_data_is_nothing_to_do(
    ingested: Path, dewledger: Run
) -> None:
    dewledger("measure", "--store", ingested / "store")
    asked = ("report", "--store", ingested / "store", "--to", ingested / "report", "--month")
    _told(dewledger(*asked, "2026-13"), 2, "YYYY-MM")
    _told(dewledger(*asked, "2019-01"), 5, "January 2019")


def test_poor_data_stop_at_the_gate_unless_allowed(ward: Path, dewledger: Run) -> None:
    with (ward / "in" / "episodes.csv").open("a") as file:
        file.write("canary-3,u1,Alder,2026-03-31T08:00:00Z,2026-03-30T08:00:00Z\n")
    dewledger("ingest", "--store", ward / "store", "--rules", ward / "site.toml", ward / "in")
    dewledger("measure", "--store", ward / "store")
    asked = ("report", "--store", ward / "store", "--to", ward / "report", "--month", "2026-03")
    _told(dewledger(*asked), 4, "--allow-poor-data")
    assert not (ward / "report").exists()
    assert dewledger(*asked, "--allow-poor-data").exit_code == 0
    assert list((ward / "report").glob("*.html"))


def test_a_second_writer_is_turned_away_at_once(ingested: Path) -> None:
    holder = (
        "import sys; from pathlib import Path; from pipeline.store.layout import open_store;"
        "from pipeline.store.lock import hold\n"
        f"with hold(open_store(Path({str(ingested / 'store')!r}), create=False)):\n"
        "    print('held', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", holder], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        command = [sys.executable, "-m", "pipeline.cli", "measure", "--store", str(ingested / "store")]
        second = subprocess.run(command, capture_output=True, text=True, timeout=60)
        process.communicate("")
    assert second.returncode == 6
    assert str(process.pid) in second.stderr


def test_a_store_without_its_key_is_guarded(ingested: Path, dewledger: Run) -> None:
    (ingested / "store.key").unlink()
    result = dewledger("ingest", "--store", ingested / "store", ingested / "in" / "episodes.csv")
    _told(result, 8, "key")


def test_a_wrong_key_is_guarded(ingested: Path, dewledger: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DEWLEDGER_KEY", "ab" * 32)
    result = dewledger("ingest", "--store", ingested / "store", ingested / "in" / "episodes.csv")
    _told(result, 8, "key")


def test_a_damaged_ledger_is_storage_trouble(ingested: Path, dewledger: Run) -> None:
    next((ingested / "store" / "ledger").glob("*.json")).write_text("{")
    _told(dewledger("measure", "--store", ingested / "store"), 7, "damaged")


def test_a_fault_of_the_program_shows_no_row(
    ingested: Path, dewledger: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise ValueError("-".join(("canary", "1")))

    monkeypatch.setattr("pipeline.measures.engine.compute", fail)
    result = dewledger("measure", "--store", ingested / "store")
    _told(result, 1, "ValueError")
    assert "canary-1" not in result.output
    monkeypatch.setenv("DEWLEDGER_DEBUG", "1")
    traced = dewledger("measure", "--store", ingested / "store")
    assert "in measure" in traced.output
    assert "canary-1" not in traced.output


def test_help_and_version_load_no_heavy_library() -> None:
    program = (
        "import sys; from click.testing import CliRunner; from pipeline.cli import main\n"
        "for words in (['--help'], ['--version'], ['report', '--help'], ['completion', 'bash']):\n"
        "    assert CliRunner().invoke(main, words).exit_code == 0, words\n"
        "heavy = {'polars', 'duckdb', 'altair', 'great_expectations', 'scipy', 'pandas', 'rich'}\n"
        "print(sorted(heavy & sys.modules.keys()))"
    )
    found = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=os.environ)
    assert found.stdout.strip() == "[]", found.stderr
