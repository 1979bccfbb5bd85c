"""Tables that Python computes from the published ones, after the SQL models; each is exported like theirs."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import polars as pl

from pipeline.signals.control_chart import control_chart

if TYPE_CHECKING:
    from pipeline.measures.published import Published

#: By name, in the order in which they are made. Every run of the measures makes them all.
DERIVED_TABLES: dict[str, Callable[[Published], pl.DataFrame]] = {"control_chart": control_chart}
