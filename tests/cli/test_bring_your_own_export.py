"""The README's page "Bring your own export", done as it says: its files, its commands, what they print."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import pytest
from click.testing import Result

from pipeline.ingest import expectations
from pipeline.ingest.drafting.draft import draft_profile
from pipeline.ingest.drafting.profile_toml import profile_toml
from pipeline.ingest.profiles import Profile, load_profile

Run = Callable[..., Result]
RULES = 'site_id = "TARN-N"\ntime_zone = "Europe/Dublin"\n'
README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
PAGE = README.split("\n## Bring your own export\n")[1].split("\n## ")[0]


def blocks(mark: str) -> list[tuple[str, str]]:
    """Return the blocks below marks of one kind, each with what the mark names."""
    found = re.findall(rf"<!-- {mark}:? ?(.*?) ?-->\n```\w*\n(.*?)```", PAGE, re.DOTALL)
    assert found
    return found


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the page's files; importing Great Expectations takes seconds, so it is left out."""
    monkeypatch.setattr(expectations, "start_importing", lambda: None)
    monkeypatch.setattr(expectations, "judge_batch", lambda store, facts: ())
    monkeypatch.chdir(tmp_path)
    Path("site.toml").write_text(RULES, "utf-8")
    for name, text in blocks("file"):
        Path(name).write_text(text, "utf-8")
    return tmp_path


def run_all(dewledger: Run) -> dict[str, Result]:
    """Run every command of the page in its order; return their results by command."""
    lines = [line for _, text in blocks("run") for line in text.splitlines()]
    results = {}
    for line in lines:
        program, *words = shlex.split(line)
        assert program == "dewledger"
        key = " ".join(word for word in words[:2] if word.isalpha())
        results[key] = dewledger(*words)
    return results


def test_the_commands_of_the_page_do_and_print_what_it_says(place: Path, dewledger: Run) -> None:
    results = run_all(dewledger)
    assert {key: result.exit_code for key, result in results.items()} == {
        "inspect": 0,
        "check": 3,
        "ingest": 3,
        "quarantine export": 0,
        "quarantine retry": 0,
        "quarantine discard": 0,
    }
    ((_, printed),) = blocks("prints")
    assert results["check"].output == printed
    assert results["ingest"].output.startswith("".join(printed.splitlines(keepends=True)[2:]))
    assert "1 rows given up" in results["quarantine discard"].output


def test_the_draft_of_the_page_is_the_profile_of_the_page(place: Path) -> None:
    export = next(place.glob("*.csv"))
    (place / "draft.toml").write_text(profile_toml(draft_profile(export, None, None)), "utf-8")
    drafted, shown = load_profile(place / "draft.toml"), load_profile(place / "parts.toml")
    named_by_hand = {"name", "files", "exported_at"}
    for field in fields(Profile):
        if field.name not in named_by_hand:
            assert getattr(drafted, field.name) == getattr(shown, field.name), field.name
    assert shown.table_of(export.name) == "part_changes"


def test_every_setting_of_a_profile_is_in_the_table_of_settings() -> None:
    named = set(re.findall(r"`\[?(\w+)(?:\.C)?\]?`", PAGE.split("| setting |")[1]))
    assert {field.name for field in fields(Profile)} - named == set()
