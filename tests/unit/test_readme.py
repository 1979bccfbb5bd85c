"""The README says what the program is now."""

from __future__ import annotations

import re
import tomllib
from dataclasses import fields
from pathlib import Path

from pipeline.cli import main
from pipeline.findings.cautions import CAUTIONS
from pipeline.site_rules import PartRule, SiteRules, parse_site_rules
from reports.glossary import refreshed

README = Path(__file__).parents[2] / "README.md"


def test_its_tables_are_current() -> None:
    text = README.read_text("utf-8")
    assert refreshed(text) == text, "run python -m reports.glossary"


def test_every_rule_is_in_its_table_of_settings() -> None:
    text = README.read_text("utf-8")
    names = {item.name for item in fields(SiteRules)} - {
        "parts",
        "site_id",
        "currency",
        "coverage",
        "time_zone",
    }
    absent = {
        name for name in names | {item.name for item in fields(PartRule)} - {"part"} if f"{name}" not in text
    }
    assert absent == set()


def test_the_rules_it_shows_are_rules() -> None:
    section = README.read_text("utf-8").split("## The site's rules")[1].split("\n## ")[0]
    (shown,) = re.findall(r"```toml\n(.*?)```", section, re.DOTALL)
    assert tomllib.loads(shown)["site_id"] == parse_site_rules(shown).site_id


def test_the_commands_of_the_tour_exist() -> None:
    named = set(re.findall(r"^dewledger (\w+)", README.read_text("utf-8"), re.MULTILINE))
    assert named
    assert named <= set(main.commands)


def test_every_caution_has_its_line() -> None:
    section = README.read_text("utf-8").split("## Cautions")[1].split("\n## ")[0]
    assert section.count("\n- ") >= len(CAUTIONS)
