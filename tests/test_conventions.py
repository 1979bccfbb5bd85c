"""What every SQL model and every module has in common, so that a reader may rely on it."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pipeline.measures.sql_files import HEADER_KEYS, INVARIANTS, LAYERS, Model, load_models

ROOT = Path(__file__).resolve().parents[1]
SPECS = ROOT / "tests" / "spec"

MODELS = load_models()
INVARIANT_MODELS = load_models((INVARIANTS,))
#: Made before the first layer: the records as they were known, and the run's rules, calendar and look-ups.
GIVEN = ("records", "run")


def _named(model: Model) -> str:
    return model.table


each_model = pytest.mark.parametrize("model", MODELS + INVARIANT_MODELS, ids=_named)
each_measure = pytest.mark.parametrize(
    "model", [model for model in MODELS if model.layer == "measures"], ids=_named
)


# --- SQL models ------------------------------------------------------------------------------------------------


def _tables(node: Any) -> Iterator[str]:
    """Yield the tables in a parsed statement; names without a schema are its own common table expressions."""
    if isinstance(node, dict):
        if node.get("type") == "BASE_TABLE" and node["schema_name"]:
            yield f"{node['schema_name']}.{node['table_name']}"
        node = list(node.values())
    if isinstance(node, list):
        for part in node:
            yield from _tables(part)


@each_model
def test_the_header_names_exactly_the_tables_that_the_sql_reads(model):
    serialised = duckdb.execute("select json_serialize_sql(cast(? as varchar))", [model.sql]).fetchall()[0][0]
    assert set(_tables(json.loads(serialised))) == model.reads


@each_model
def test_a_model_reads_its_own_layer_and_earlier_ones_only(model):
    order = (*LAYERS, INVARIANTS)
    allowed = {*GIVEN, *order[: order.index(model.layer) + 1]}
    assert {name.split(".")[0] for name in model.reads} <= allowed


def test_every_table_that_a_model_reads_is_made_before_it():
    made = set()
    for model in MODELS:
        assert {name for name in model.reads if name.split(".")[0] not in GIVEN} <= made
        made.add(model.table)


def test_no_two_models_share_a_name():
    names = [model.name for model in MODELS]
    assert len(names) == len(set(names))


@each_model
def test_header_keys_are_a_closed_set(model):
    assert model.header.keys() <= HEADER_KEYS
    assert model.header.keys() >= {"title", "reads"}
    assert all(value for values in model.header.values() for value in values)


@pytest.mark.parametrize("model", MODELS, ids=_named)
def test_a_model_says_its_grain_and_whether_it_is_published_or_what_it_is_for(model):
    assert model.text("grain")
    assert model.is_published != ("internal" in model.header)


@each_measure
def test_a_measure_is_defined_in_its_header(model):
    assert model.header.keys() >= {"question", "numerator", "denominator", "unit", "better", "grain", "reads"}
    assert model.text("question").endswith("?")
    assert model.text("better") in {"higher", "lower", "neither", "near one"}


def _statement(model: Model) -> str:
    """Return the SQL without comments and quoted texts."""
    return re.sub(r"'[^']*'", "''", re.sub(r"--[^\n]*", "", model.sql))


@each_model
def test_sql_is_in_lower_case(model):
    assert re.findall(r"[A-Z]\w*", _statement(model)) == []


@each_model
def test_sql_never_asks_for_the_time_or_a_time_zone(model):
    asked = r"\b(now|today|get_current_\w+|current_\w+|localtime\w*|transaction_timestamp|timezone\w*)\b"
    assert re.findall(rf"{asked}|\bat\s+time\s+zone\b|\btimestamptz\b", _statement(model)) == []


@each_model
def test_a_model_is_one_select_that_runs_as_it_stands(model):
    statement = _statement(model)
    assert ";" not in statement
    assert "{" not in statement
    assert [kind.type.name for kind in duckdb.extract_statements(model.sql)] == ["SELECT"]


@pytest.mark.parametrize(
    "model", [model for model in MODELS if model.text("section")[:1].isdigit()], ids=_named
)
def test_every_published_model_has_its_spec(model):
    assert f'"{model.table}"' in (SPECS / f"test_{model.name}.py").read_text("utf-8")


# --- Modules ---------------------------------------------------------------------------------------------------

PACKAGES = ("pipeline", "reports", "synthetic_logs")
MODULES = [path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py"))]

#: Said once at the bottom of everything; each part of the program may use them.
GROUND = (
    "pipeline.errors",
    "pipeline.records",
    "pipeline.site_rules",
    "pipeline.disclosure",
    "pipeline.__version__",
)

#: Which modules a package may import beside its own and the ground.
MAY_IMPORT = {
    "pipeline/errors.py": (),
    "pipeline/records.py": (),
    "pipeline/site_rules.py": ("pipeline.errors", "pipeline.records", "pipeline.site_events"),
    "pipeline/store": (),
    "pipeline/ingest": ("pipeline.store",),
    "pipeline/measures": ("pipeline.store", "pipeline.signals"),
    "pipeline/signals": ("pipeline.measures", "pipeline.site_events"),
    "pipeline/planning": ("pipeline.store", "pipeline.measures", "pipeline.site_events"),
    # Findings name the rules of ingestion, and ingest nothing.
    "pipeline/findings": (
        "pipeline.store",
        "pipeline.measures",
        "pipeline.signals",
        "pipeline.site_events",
        "pipeline.validation",
        "pipeline.freshness",
        "pipeline.ingest.row_rules",
        # One rule says what state a unit is in, for its own page and for the report's.
        "pipeline.tracing.life_line",
    ),
    # Reports format what was found; they measure and ingest nothing.
    "reports": (
        "pipeline.findings",
        "pipeline.tracing",
        "pipeline.planning",
        "pipeline.plan_console",
        "pipeline.validation",
        "pipeline.worklist",
        "pipeline.measures.calendar",
        "pipeline.measures.published",
        "pipeline.measures.sql_files",
        "pipeline.store.layout",
        "pipeline.store.ledger",
        "pipeline.store.parquet",
    ),
    # Invented exports know the layout of the tables and nothing of the program that reads them.
    "synthetic_logs": (),
}  # fmt: skip

#: Where the time is asked for: by commands, in audit lines, and for how long a lock was held.
MAY_READ_THE_CLOCK = ("pipeline/commands", "pipeline/store/audit.py", "pipeline/store/lock.py")
CLOCKS = re.compile(
    r"(?:^|\.)(?:datetime\.(?:now|utcnow|today)|date\.today|time\.(?:time|time_ns|localtime|gmtime))$"
)


def _imports(path: Path) -> Iterator[str]:
    """Yield the project's own modules that a file imports, and the names that it takes from them."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names = [item.name for item in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: name the module in full"
            names = [f"{node.module}.{item.name}" for item in node.names]
        else:
            continue
        yield from (name for name in names if name.split(".")[0] in PACKAGES)


def _lies_in(name: str, modules: tuple[str, ...]) -> bool:
    # The program itself is imported for its version and its place.
    return name == "pipeline" or any(name == module or name.startswith(f"{module}.") for module in modules)


@pytest.mark.parametrize("place", MAY_IMPORT)
def test_imports_follow_the_direction_of_the_flow(place):
    own = place.removesuffix(".py").replace("/", ".")
    allowed = (own, *GROUND, *MAY_IMPORT[place])
    paths = [path for path in MODULES if f"{path.relative_to(ROOT).as_posix()}/".startswith(f"{place}/")]
    assert paths
    strays = {
        f"{path.relative_to(ROOT)}: {name}"
        for path in paths
        for name in _imports(path)
        if not _lies_in(name, allowed)
    }
    assert strays == set()


def test_only_commands_and_the_steps_know_the_reports():
    knowing = {
        path.relative_to(ROOT).as_posix()
        for path in MODULES
        if path.parts[-2:-1] != ("reports",)
        and "reports" not in path.relative_to(ROOT).parts
        and any(name.split(".")[0] == "reports" for name in _imports(path))
    }
    assert {path for path in knowing if not path.startswith("pipeline/commands/")} <= {"pipeline/run.py"}


def test_nothing_but_the_command_line_reads_the_clock():
    readers = {
        f"{path.relative_to(ROOT).as_posix()}:{node.lineno}"
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Attribute) and CLOCKS.search(ast.unparse(node))
    }
    assert {reader for reader in readers if not reader.startswith(MAY_READ_THE_CLOCK)} == set()
