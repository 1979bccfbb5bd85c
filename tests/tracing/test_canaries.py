"""A hundred planted references are nowhere to be found but in the exports that brought them."""

from __future__ import annotations

import base64
import gzip
import zipfile
from collections import Counter
from pathlib import Path

import polars as pl
import pytest
import typst
from canaries import files_below, found_in
from traced_ward import run, ward_of

CANARIES = [f"CaNaRy-{number:03d}-Zq" for number in range(100)]
UNITS = [f"uNiT-{number}-Zq" for number in range(10)]
LOTS = [f"LoT-{number}-Zq" for number in range(3)]

#: Ways in which a row may be kept out; the reference in it must not show in the quarantine.
_BAD_ENDS = ("03-01 00:00", "2099-13-45", "soon")


def planted() -> dict[str, list[str]]:
    """A ward with every canary in it: good rows, quarantined rows, merged references, fittings, checks."""
    tables: dict[str, list[str]] = {
        "episodes": [], "disinfections": [], "part_changes": [], "patient_merges": [], "setup_checks": [],
    }  # fmt: skip
    for number, canary in enumerate(CANARIES):
        unit, day = UNITS[number % 10], number // 10 + 2
        ends = f"03-{day:02d} 20:00" if number % 4 else _BAD_ENDS[number // 4 % 3]
        tables["episodes"].append(f"{canary} | {unit} | Alder | 03-{day:02d} 08:00 | {ends}")
        tables["part_changes"].append(
            f"{unit} | {canary} | interface | 03-{day:02d} 08:00 | | {LOTS[number % 3]} | INT"
        )
        if number % 5 == 0:
            tables["setup_checks"].append(f"{unit} | {canary} | 03-{day:02d} 08:05 | name on unit | done")
            tables["patient_merges"].append(f"{canary} | {CANARIES[number + 1]}")
        if number % 3 == 0:
            tables["disinfections"].append(f"{unit} | | 03-{day:02d} 21:00 | 03-{day:02d} 22:00 | passed")
    return tables


def of_month(command: str, store: Path) -> tuple[object, ...]:
    """The words with which a command is told of the ward's month."""
    return command, "--store", store, "--month", "2026-03"


@pytest.fixture(scope="module")
def used(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A folder in which every command ran over the ward, and all that the commands said."""
    from pipeline.ingest import expectations

    folder = tmp_path_factory.mktemp("canaries")
    temporary = folder / "temporary"
    temporary.mkdir()
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(expectations, "start_importing", lambda: None)
        patched.setattr(expectations, "judge_batch", lambda store, facts: ())
        patched.setenv("TMPDIR", str(temporary))
        store, out, exports = ward_of(folder, planted()), folder / "out", folder / "exports-TARN"
        results = [
            run(*words)
            for words in (
                ("ingest", "--store", store, exports),
                ("measure", "--store", store),
                ("export", "--store", store, "--to", out / "csv"),
                ("export", "--store", store, "--to", out / "parquet", "--format", "parquet"),
                ("plan", "--store", store, "--to", out / "plan"),
                (*of_month("close", store), "--allow-poor-data"),
                (*of_month("close", store), "--edition", 1, "--to", out / "edition"),
                (*of_month("report", store), "--to", out / "shared", "--shared", "--allow-poor-data"),
                (*of_month("explain", store), "fresh_part_monthly"),
                ("worklist", "--store", store, "--as-of", "2026-03-12T12:00:00Z", "--to", out / "lists"),
                ("status", "--store", store, "--json"),
                ("check", "--rules", exports / "site.toml", "--to", out / "findings.xlsx", exports),
                ("quarantine", "--store", store, "--json"),
                ("quarantine", "export", "--store", store, "--to", out / "mend.xlsx"),
                ("trace", "--store", store, "--patient", CANARIES[3], "--to", out / "trace"),
                ("trace", "--store", store, "--unit", UNITS[1], "--to", out / "trace", "--json"),
                ("trace", "--store", store, "--patient", "no-such-canary"),
                ("recall", "--store", store, "--lot", LOTS[1], "--to", out / "recall"),
                ("unit", "--store", store, "--unit", UNITS[1], "--to", out / "unit"),
                ("unit", "--store", store, "--blank-sheet", "--to", out / "unit"),
                (
                    "trace",
                    "--store",
                    store,
                    "--unit",
                    UNITS[1],
                    "--reveal",
                    "--reason",
                    f"about {CANARIES[1]}",
                ),
                ("forget", "--store", store, "--patient", CANARIES[9], "--site", "TARN", "--yes"),
                ("forget", "--store", store, "--patient", CANARIES[9], "--site", "TARN", "--yes"),
                ("audit", "show", "--store", store),
            )
        ]
        run("trace", "--store", store, "--unit", UNITS[2], "--reveal", "--reason", "checked in a test")
    # Rows are kept out twice; one asks for nobody, one for a canary already forgotten; one reason names a canary.
    statuses = Counter(result.exit_code for result in results)
    assert statuses == {0: len(results) - 5, 3: 2, 5: 2, 2: 1}, [result.output for result in results]
    return folder, "\n".join(result.output for result in results)


def test_the_canaries_were_read(used: tuple[Path, str]):
    folder, _ = used
    assert found_in(files_below(folder / "exports-TARN"), CANARIES) == set(CANARIES)
    written = {path.suffix: path for path in files_below(folder / "out")}
    assert written.keys() >= {".html", ".pdf", ".xlsx", ".csv", ".parquet", ".json"}
    assert len(list((folder / "out").rglob("*.html"))) >= 7


@pytest.mark.parametrize("where", ["store", "out", "temporary"])
def test_no_canary_is_in(used: tuple[Path, str], where: str):
    folder, _ = used
    assert found_in(files_below(folder / where), CANARIES) == set()


def test_what_is_shared_names_no_patient_no_unit_and_no_lot(used: tuple[Path, str]):
    folder, _ = used
    rows = pl.read_csv(folder / "out/csv/patient_stays.csv")
    named = {*UNITS, *LOTS, *(key[:8] for key in rows["patient_key"])}
    assert found_in(files_below(folder / "out/edition"), named) >= {*UNITS}
    shared = files_below(folder / "out/shared")
    assert {path.suffix for path in shared} == {".html", ".pdf", ".xlsx"}
    assert found_in(shared, named) == set()


def test_no_command_said_a_canary(used: tuple[Path, str]):
    _, said = used
    assert not [canary for canary in CANARIES if canary.lower() in said.lower()]


def test_a_forced_crash_says_no_canary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    from pipeline.ingest import ingest_file

    def crash(store, entry, good, quarantined):
        raise ValueError(f"cannot write the row of {CANARIES[0]}")

    (tmp_path / "in").mkdir()
    (tmp_path / "in/episodes.csv").write_text(
        f"patient_ref,unit_id,ward,started_at,ended_at\n{CANARIES[0]},u1,Alder,2026-03-02T08:00:00Z,\n"
    )
    (tmp_path / "site.toml").write_text('site_id = "TARN"\ntime_zone = "UTC"\n')
    monkeypatch.setattr(ingest_file, "commit", crash)
    result = run("ingest", "--store", tmp_path / "store", "--rules", tmp_path / "site.toml", tmp_path / "in")
    assert result.exit_code == 1
    assert "ValueError" in result.output
    assert CANARIES[0].lower() not in result.output.lower()
    assert found_in(files_below(tmp_path / "store"), CANARIES) == set()


def test_the_search_finds_a_canary_wherever_it_could_hide(tmp_path: Path):
    hidden = CANARIES[:5]
    packed = base64.b64encode(gzip.compress(CANARIES[6].encode()))
    (tmp_path / "page.html").write_bytes(b'<a href="data:application/gzip;base64,' + packed + b'">x</a>')
    (tmp_path / "board").write_bytes(typst.compile(f"#set page(width: 60pt)\n{CANARIES[7]}".encode()))
    (tmp_path / "plain").write_bytes(hidden[0].upper().encode())
    (tmp_path / hidden[1]).write_bytes(b"")
    pl.DataFrame({"a": [hidden[2]] * 500, "b": [hidden[3].encode()] * 500}).write_parquet(tmp_path / "rows")
    with zipfile.ZipFile(tmp_path / "book", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("sheet", hidden[4] * 9)
    (tmp_path / "log.gz").write_bytes(gzip.compress(CANARIES[5].encode()))
    assert found_in(files_below(tmp_path), CANARIES) == {*hidden, *CANARIES[5:8]}
