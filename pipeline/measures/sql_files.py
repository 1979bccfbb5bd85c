"""The SQL models: one file, one SELECT, one table; the header says what it is and which tables it reads."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from graphlib import TopologicalSorter
from pathlib import Path

SQL_FOLDER = Path(__file__).resolve().parents[2] / "sql"

#: A model reads its own layer and earlier ones; `run` and `records` are made before the first.
LAYERS = ("occupancy", "samples", "facts", "measures")
INVARIANTS = "invariants"

HEADER_KEYS = {
    "title", "section", "grain", "reads", "note", "internal", "hidden",
    "question", "numerator", "denominator", "unit", "better", "caveat",
}  # fmt: skip


@dataclass(frozen=True)
class Model:
    """One SQL file. ``header`` maps each key to the lines that carry it, in order."""

    layer: str
    name: str
    header: dict[str, tuple[str, ...]]
    sql: str

    @property
    def table(self) -> str:
        """The table's name with its schema."""
        return f"{self.layer}.{self.name}"

    @cached_property
    def reads(self) -> frozenset[str]:
        """The tables that the header names."""
        joined = ",".join(self.header.get("reads", ()))
        return frozenset(name for part in joined.split(",") if (name := part.strip()))

    @property
    def is_published(self) -> bool:
        """Whether the table is one of the contract's; the others only carry it."""
        return "section" in self.header

    @property
    def hidden(self) -> frozenset[str]:
        """Columns that later models use and that are not published."""
        joined = ",".join(self.header.get("hidden", ()))
        return frozenset(name for part in joined.split(",") if (name := part.strip()))

    def text(self, key: str) -> str:
        """Return the header's words under a key as one text, empty when it has none."""
        return " ".join(self.header.get(key, ()))


def parse_header(sql: str) -> dict[str, tuple[str, ...]]:
    """Read the ``-- key: value`` lines at the top of a file; a line indented further goes on with the last one.

    >>> parse_header("-- title: Stays\\n-- note: one\\n--   more\\n-- note: two\\n\\nselect 1")
    {'title': ('Stays',), 'note': ('one more', 'two')}
    """
    header: dict[str, list[str]] = {}
    key = ""
    for line in sql.splitlines():
        if not line.startswith("-- "):
            break
        if line.startswith("--   "):
            header[key][-1] += f" {line.removeprefix('--').strip()}"
            continue
        key, _, value = line.removeprefix("-- ").partition(": ")
        header.setdefault(key, []).append(value.strip())
    return {name: tuple(values) for name, values in header.items()}


def load_models(layers: tuple[str, ...] = LAYERS) -> list[Model]:
    """Return the models of the layers in an order in which each finds what it reads already made."""
    found = [_read(layer, path) for layer in layers for path in sorted((SQL_FOLDER / layer).glob("*.sql"))]
    models = {model.table: model for model in found}
    graph = {name: sorted(model.reads & models.keys()) for name, model in sorted(models.items())}
    return [models[name] for name in TopologicalSorter(graph).static_order()]


def _read(layer: str, path: Path) -> Model:
    sql = path.read_text("utf-8")
    return Model(layer, path.stem, parse_header(sql), sql)
