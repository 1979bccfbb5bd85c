"""Great Expectations over the facts of each file: one suite per input table, judged once per ingest.

The library takes seconds to import, so it is imported in the background while the first file is read, and not
at all when nothing is new. It sees a few numbers per file and no row, and so its results hold no values.
"""

from __future__ import annotations

import hashlib
import importlib
import json
import os
import threading
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from pipeline.errors import DewledgerError
from pipeline.ingest.facts import FACTS, Fact, FileFacts
from pipeline.store.layout import Store
from pipeline.store.parquet import write_bytes

if TYPE_CHECKING:
    from great_expectations.datasource.fluent import PandasDatasource

_LIBRARY = "great_expectations"


@dataclass(frozen=True)
class Outcome:
    """How the files of one table met one expectation; ``observed`` is the number that decided."""

    table: str
    expectation: str
    meaning: str
    success: bool
    observed: float
    least: float | None
    most: float | None


def start_importing() -> None:
    """Begin to import the library beside other work, once."""
    if not any(thread.name == _LIBRARY for thread in threading.enumerate()):
        threading.Thread(target=_import, name=_LIBRARY, daemon=True).start()


def judge_batch(store: Store, facts: list[FileFacts]) -> tuple[Outcome, ...]:
    """Judge the files of one ingest and keep the outcome in the store; without files there is none."""
    if not facts:
        return ()
    outcomes = judge_facts(facts)
    files = sorted(file.sha256 for file in facts)
    batch = hashlib.sha256("".join(files).encode()).hexdigest()
    kept = {"schema_version": 1, "files": files, "expectations": [asdict(outcome) for outcome in outcomes]}
    write_bytes(store.validation_file(batch), json.dumps(kept, indent=1).encode())
    return outcomes


def judge_facts(facts: list[FileFacts]) -> tuple[Outcome, ...]:
    """Judge files by their facts, table by table; what no file of a table can tell is left out."""
    context = _import().get_context(mode="ephemeral")
    context.variables.progress_bars = {"globally": False, "metric_calculations": False}
    source = context.data_sources.add_pandas("files")
    tables = sorted({file.table for file in facts})
    return tuple(
        outcome
        for table in tables
        for outcome in _judge_table(source, table, [file for file in facts if file.table == table])
    )


def _import() -> Any:
    os.environ["GX_ANALYTICS_ENABLED"] = "false"
    return importlib.import_module(_LIBRARY)


def _judge_table(source: PandasDatasource, table: str, files: list[FileFacts]) -> list[Outcome]:
    import pandas as pd

    library = _import()
    told = [fact for fact in FACTS if any(file.numbers[fact.name] is not None for file in files)]
    numbers = pd.DataFrame(
        {fact.name: [file.numbers[fact.name] for file in files] for fact in told}, dtype=float
    )
    suite = library.ExpectationSuite(name=table, expectations=[_expectation(library, fact) for fact in told])
    batch = source.add_dataframe_asset(table).add_batch_definition_whole_dataframe("all")
    results = batch.get_batch({"dataframe": numbers}).validate(suite).results
    return [_outcome(table, fact, result) for fact, result in zip(told, results, strict=True)]


def _expectation(library: Any, fact: Fact) -> Any:
    """The worst of the files decides, that is the largest number, or the least where only the best counts."""
    kinds = library.expectations
    kind = kinds.ExpectColumnMinToBeBetween if fact.best_file else kinds.ExpectColumnMaxToBeBetween
    return kind(column=fact.name, min_value=fact.least, max_value=fact.most, meta={"meaning": fact.meaning})


def _outcome(table: str, fact: Fact, result: Any) -> Outcome:
    """Read one result; an expectation that could not be judged is a fault of the program."""
    # Where something was raised the library nests this by metric, so that only an outright False will do.
    judged = result.exception_info.get("raised_exception") is False
    if not judged or result.expectation_config.kwargs["column"] != fact.name:
        raise DewledgerError(f"{table}: the expectation '{fact.name}' could not be judged.")
    observed = float(result.result["observed_value"])
    return Outcome(table, fact.name, fact.meaning, bool(result.success), observed, fact.least, fact.most)
