"""The README's tables, rendered from where each thing is said once: SQL headers and canonical tables.

``python -m reports.glossary`` writes them anew between their marks.
"""

from __future__ import annotations

import sys
from pathlib import Path

from pipeline.findings.definitions import definitions
from pipeline.measures.sql_files import load_models
from pipeline.records import TABLES, Column

_MADE = "made by python -m reports.glossary -->"


def glossary() -> str:
    """Return the glossary as Markdown: one list item per published table, measures first."""
    items = []
    for definition in definitions({model.table: model for model in load_models()}):
        lines = " ".join(f"*{word}:* {_sentence(text)}" for word, text in definition.lines)
        items.append(f"- **{definition.title}** (`{definition.key}`). {lines}")
    return "\n".join(items).replace("| ", "\\| ")


def layout() -> str:
    """Return the plain layout as a Markdown table: one line per input table."""
    rows = ["| table | columns | what a row is |", "| --- | --- | --- |"]
    for table in TABLES.values():
        columns = ", ".join(_column(column) for column in table.columns if column.name != "source_ref")
        rows.append(f"| `{table.name}` | {columns} | {table.meaning} |")
    return "\n".join(rows)


def refreshed(readme: str) -> str:
    """Return the text with both tables made anew; ValueError when a mark is missing."""
    for name, text in (("layout", layout()), ("glossary", glossary())):
        begin, end = f"<!-- {name}: {_MADE}", f"<!-- end of {name} -->"
        before, rest = readme.split(begin)
        _, after = rest.split(end)
        readme = f"{before}{begin}\n{text}\n{end}{after}"
    return readme


def _column(column: Column) -> str:
    codes = f" ({' '.join(column.codes)})" if column.codes else ""
    return f"{column.name}{'' if column.required else '?'}{codes}"


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?")) else f"{text}."


if __name__ == "__main__":
    path = Path(sys.argv[1] if len(sys.argv) > 1 else "README.md")
    path.write_text(refreshed(path.read_text("utf-8")), "utf-8")
