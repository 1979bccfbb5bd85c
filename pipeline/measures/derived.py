"""Tables that Python computes once the SQL models have run."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import polars as pl

from pipeline.signals.control_chart import control_chart
from pipeline.signals.sensitivity import verdict_flips

if TYPE_CHECKING:
    import duckdb

    from pipeline.measures.published import Published

#: From the published tables; each is exported like those.
DERIVED_TABLES: dict[str, Callable[[Published], pl.DataFrame]] = {"control_chart": control_chart}

#: From the connection, whose facts they make again, so they come last; for the report, not exported.
RERUN_TABLES: dict[str, Callable[[duckdb.DuckDBPyConnection], pl.DataFrame]] = {"sensitivity": verdict_flips}
