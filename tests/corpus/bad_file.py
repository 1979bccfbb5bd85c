"""A file as no export should be, and what must become of it; both are written side by side.

`python tests/corpus/bad_file.py FOLDER` writes the whole corpus: each file with its ``.expect.json``.
"""

from __future__ import annotations

import csv
import io
import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

#: Stands after a file's name for the file that says what must become of it.
EXPECTED = ".expect.json"


@dataclass(frozen=True)
class Expect:
    """What must become of a file. ``quarantined`` names by row number what is wrong, each rule with its column;
    ``note`` and ``refused`` are words of what is told of the file, ``undeclared`` the columns left out."""

    accepted: int = 0
    duplicates: int = 0
    skipped: int = 0
    corrected: int = 0
    quarantined: Mapping[int, str] = field(default_factory=dict)
    warnings: Mapping[str, int] = field(default_factory=dict)
    note: str | None = None
    refused: str | None = None
    sheet: str | None = None
    undeclared: int = 0

    @property
    def rows_read(self) -> int:
        """Every row has one fate."""
        return self.accepted + self.duplicates + self.skipped + len(self.quarantined)


@dataclass(frozen=True)
class BadFile:
    """One file of the corpus; those of one ``store`` are read together, so that they can be held against
    each other."""

    name: str
    content: bytes
    expect: Expect
    store: str = "wards"


def refused(words: str) -> Expect:
    """The whole file is refused, with these words among the reason."""
    return Expect(refused=words)


def text_of(rows: Sequence[Sequence[str]], delimiter: str = ",") -> str:
    """Return rows as delimited text, quoted where they must be."""
    written = io.StringIO()
    csv.writer(written, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return written.getvalue()


def written(files: Sequence[BadFile], folder: Path) -> None:
    """Write files and their expectations below a folder, by store."""
    for file in files:
        path = folder / file.store / file.name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(file.content)
        stated = {name: value for name, value in asdict(file.expect).items() if value not in (None, 0, {})}
        path.with_name(file.name + EXPECTED).write_text(json.dumps(stated, indent=1, sort_keys=True) + "\n")


def expected_of(path: Path) -> Expect:
    """Read what must become of a file."""
    stated = json.loads(path.with_name(path.name + EXPECTED).read_text())
    rows = {int(number): faults for number, faults in stated.pop("quarantined", {}).items()}
    return Expect(quarantined=rows, **stated)


if __name__ == "__main__":
    from corpus import CORPUS

    written(CORPUS, Path(sys.argv[1]))
    print(f"{len(CORPUS)} files")
