"""`dewledger inspect`: from a file nobody has described to a profile that reads it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from click.testing import Result

Run = Callable[..., Result]
LOG = (
    "Tarnholt log\nDevice no.;Zeitstempel;Fluss [L/min];Betriebsart;Bemerkung\n"
    "007;31.03.2026 08:05;30,5;Therapie;\n008;01.03.2026 08:06;31,5;Aus;x\n"
)


def test_a_draft_is_shown_written_and_reads_the_file(ward: Path, dewledger: Run) -> None:
    (ward / "log_1.csv").write_text(LOG, "utf-8")
    told = dewledger(
        "inspect", ward / "log_1.csv", "--rules", ward / "site.toml", "--write", ward / "log.toml"
    )
    assert told.exit_code == 0, told.output
    assert "log_1.csv: table usage_samples" in told.stdout
    assert "Bemerkung: not read" in told.stdout
    assert "sampled_at 2026-03-31 07:05:00" in told.stdout
    read = dewledger(
        "check", "--rules", ward / "site.toml", "--profile", ward / "log.toml", ward / "log_1.csv"
    )
    assert (read.exit_code, "2 rows read = 2 accepted" in read.stderr) == (0, True)


def test_what_is_open_stands_in_the_written_profile(ward: Path, dewledger: Run) -> None:
    (ward / "log_1.csv").write_text(LOG.replace("31.03", "03.03"), "utf-8")
    told = dewledger("inspect", ward / "log_1.csv", "--write", ward / "log.toml")
    assert "OPEN: it may be sampled_at: every value fits" in told.stdout
    assert "Not to be read as it stands: missing column(s) sampled_at" in told.stdout
    assert "OPEN: it may be sampled_at" in " ".join(
        (ward / "log.toml").read_text("utf-8").replace("#", "").split()
    )


def test_json_holds_the_draft_and_the_first_rows(ward: Path, dewledger: Run) -> None:
    document = json.loads(dewledger("inspect", "--json", ward / "in" / "episodes.csv").stdout)
    assert document["draft"]["table"] == "episodes"
    assert document["first_rows"]["accepted"] == 2
    assert "canary" not in json.dumps(document)


def test_a_file_that_cannot_be_looked_into_is_refused(ward: Path, dewledger: Run) -> None:
    (ward / "x.csv").write_bytes(b"")
    told = dewledger("inspect", ward / "x.csv")
    assert (told.exit_code, "empty" in told.stderr) == (3, True)


def test_a_file_that_is_not_there_or_not_to_be_read_is_named(ward: Path, dewledger: Run) -> None:
    absent = dewledger("inspect", ward / "gone.csv")
    assert (absent.exit_code, "gone.csv: no such file" in absent.stderr) == (2, True)
    (ward / "empty.csv").write_bytes(b"")
    empty = dewledger("inspect", ward / "empty.csv")
    assert (empty.exit_code, "empty.csv: the file is empty" in empty.stderr) == (3, True)


def test_names_with_capitals_inside_are_known(ward: Path, dewledger: Run) -> None:
    (ward / "log_1.csv").write_text(
        "Device;Zeitpunkt;Flow;FiO2 %;Mode\n7;2026-03-31 08:05;30;40;Therapie\n", "utf-8"
    )
    told = dewledger("inspect", ward / "log_1.csv")
    assert "FiO2 % → oxygen_pct" in told.stdout
    assert "Zeitpunkt → sampled_at" in told.stdout
