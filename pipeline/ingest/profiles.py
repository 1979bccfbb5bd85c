"""Export profiles (contract section 6): what a kind of export file looks like, read from strict TOML.

Everything is declared and nothing is guessed when a file is read. What a profile says of values is applied by
`restate`; what it says of the file by `read_files`.
"""

from __future__ import annotations

import difflib
import fnmatch
import hashlib
import json
import tomllib
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from pipeline.errors import UsageError
from pipeline.records import COMMON, TABLES, Column, Table

PLAIN = Path(__file__).parent / "profiles" / "plain.toml"

FORMATS = ("csv", "tsv", "xlsx", "parquet", "jsonl")
COMPRESSIONS = ("none", "gzip", "zstd", "zip")
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1250", "cp1252", "latin-1")
COMMON_COLUMNS = tuple(column.name for column in COMMON)
#: Parts of an instant that stand in columns of their own; they follow the instant's name in a field's.
DAY, CLOCK, LASTS = ".date", ".time", ".duration"
#: The unit conversions, and the ending of the columns that each one leads to.
CONVERSIONS = {
    "degF": "_c",
    "L/s": "_l_min",
    "L/h": "_l_min",
    "mL/min": "_l_min",
    "fraction": "_pct",
    "L": "_ml",
    "weeks": "_days",
}
DURATION_UNITS = ("h:mm", "h:mm:ss", "s", "min", "h", "d")
REFERENCE_RULES = ("strip_zeros", "remove_spaces", "remove_dashes")


@dataclass(frozen=True)
class Duration:
    """A column that says how long something took, where the export has no end."""

    column: str
    unit: str


@dataclass(frozen=True)
class Wide:
    """A logbook with one column per day: ``day`` is the canonical column of the day that heads a column,
    ``value`` that of the cell below; ``day_format`` is how the heads are written. Heads that give no month
    take it from a title row, by the pattern ``month`` and its ``month_format``."""

    day: str
    value: str
    day_format: str
    month: str | None = None
    month_format: str | None = None
    clock: str | None = None

    @property
    def fields(self) -> tuple[str, ...]:
        """The fields that a cell and the day above it make: the day, with the cell or a fixed time of day."""
        if self.day == self.value:
            return (self.day + DAY, self.day + CLOCK)
        return (self.day + DAY, self.day + CLOCK, self.value) if self.clock else (self.day, self.value)


@dataclass(frozen=True)
class Profile:
    """One kind of export. ``files`` are file-name patterns, in which ``{table}`` stands for a table's name.

    ``table`` names the one table of patterns without ``{table}``; ``columns`` gives the export's own name of
    a canonical column where it differs, two names where day and time of day stand apart. ``only``, where
    given, are all columns that a file may have.
    """

    name: str
    files: tuple[str, ...]
    table: str | None = None
    delimiter: str = ","
    columns: dict[str, str | tuple[str, str]] = field(default_factory=dict)
    format: str = "csv"
    compression: str = "none"
    encoding: str = "utf-8"
    quote: str = '"'
    sheet: str | None = None
    decimal: str = "."
    thousands: str | None = None
    empty: tuple[str, ...] = ()
    footers: tuple[str, ...] = ()
    time_zone: str | None = None
    time_formats: tuple[str, ...] = ("iso",)
    date_formats: tuple[str, ...] = ("iso",)
    exported_at: str | None = None
    replaces: str | None = None
    constants: dict[str, str] = field(default_factory=dict)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    durations: dict[str, Duration] = field(default_factory=dict)
    references: dict[str, tuple[str, ...]] = field(default_factory=dict)
    wide: Wide | None = None
    only: tuple[str, ...] = ()

    def table_of(self, file_name: str) -> str | None:
        """Return the table that a file of this name holds, else None; the case of letters does not matter.

        >>> plain = load_profile(None)
        >>> plain.table_of("Usage_Samples_2026-03.csv"), plain.table_of("notes.txt")
        ('usage_samples', None)
        """
        for table in [self.table] if self.table else TABLES:
            patterns = (pattern.replace("{table}", table).lower() for pattern in self.files)
            if any(fnmatch.fnmatchcase(file_name.lower(), pattern) for pattern in patterns):
                return table
        return None

    @property
    def is_typed(self) -> bool:
        """Whether the format tells numbers and times from text by itself, so that times come as ISO 8601."""
        return self.format in ("xlsx", "parquet")

    @property
    def fingerprint(self) -> str:
        """A hash of all that is declared: a file is read again when its profile has changed."""
        return hashlib.sha256(profile_text(self)).hexdigest()

    def fields(self, table: Table) -> dict[str, str]:
        """Return every field that is looked for in a file of the table, with the export's name for it.

        A field is a canonical column or, where day, time of day or duration stand apart, a part of one.
        """
        found: dict[str, str] = {}
        for name in (*table.names, *COMMON_COLUMNS):
            theirs = self.columns.get(name, name)
            if name in self.constants or name in self._from_wide():
                continue
            if name in self.durations:
                found[name + LASTS] = self.durations[name].column
            elif isinstance(theirs, tuple):
                found |= {name + DAY: theirs[0], name + CLOCK: theirs[1]}
            else:
                found[name] = theirs
        return found

    def provides(self, column: str, fields: Collection[str]) -> bool:
        """Say whether a file with these fields gives a value for a canonical column."""
        if column in self.constants or column in self._from_wide() or column in fields:
            return True
        return {column + DAY, column + CLOCK} <= set(fields) or column + LASTS in fields

    def _from_wide(self) -> tuple[str, ...]:
        return (self.wide.day, self.wide.value) if self.wide else ()


def part_of(name: str) -> str:
    """Return the canonical column that a field belongs to.

    >>> part_of("started_at.date"), part_of("ward")
    ('started_at', 'ward')
    """
    return name.partition(".")[0]


def column_of(table: Table, name: str) -> Column:
    """Return a column of the table, or one of those that any file may carry."""
    return next((column for column in COMMON if column.name == name), None) or table.column(name)


def load_profile(path: Path | None) -> Profile:
    """Read a profile, `plain` when no path is given; raise one UsageError that names every fault."""
    from pipeline.ingest.profile_faults import checked

    path = path or PLAIN
    try:
        stated = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise UsageError(f"{path}: cannot read the profile: {reason}. Name an existing TOML file.") from error
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{path}: not a TOML file: {error}.") from error
    return checked(stated, str(path))


def load_profiles(path: Path | None) -> tuple[Profile, ...]:
    """Read the profiles that apply: one file, or every ``*.toml`` in a folder; the plain layout comes last."""
    if path is None:
        return (load_profile(None),)
    paths = sorted(path.glob("*.toml")) if path.is_dir() else [path]
    if not paths:
        raise UsageError(f"{path}: holds no profile; name a TOML file or a folder of them.")
    faults: list[str] = []
    found: list[Profile] = []
    for one in paths:
        try:
            found.append(load_profile(one))
        except UsageError as error:
            faults.append(str(error))
    if faults:
        raise UsageError("\n".join(faults))
    return (*found, load_profile(None))


def profile_for(file_name: str, profiles: Sequence[Profile]) -> tuple[Profile, str | None]:
    """Return the profile whose patterns a file's name fits, and its table; None where it fits none.

    The plain layout, which is the last, gives way to the others; two others may not claim one file.
    """
    *declared, plain = profiles
    fitting = [profile for profile in declared if profile.table_of(file_name)]
    if len(fitting) > 1:
        names = " and ".join(f"'{profile.name}'" for profile in fitting)
        raise UsageError(f"{file_name}: its name fits the profiles {names}; make their patterns differ.")
    chosen = fitting[0] if fitting else plain
    table = chosen.table_of(file_name)
    return (profiles[0] if table is None else chosen), table


def profile_text(profile: Profile) -> bytes:
    """Return all that a profile declares, as it can be read again by `profile_of`."""
    stated = {key: value for key, value in asdict(profile).items() if value not in (None, {}, ())}
    if profile.wide:
        stated["wide"] = {key: value for key, value in asdict(profile.wide).items() if value is not None}
    return json.dumps(stated, sort_keys=True, ensure_ascii=False).encode()


def profile_of(text: bytes, source: str) -> Profile:
    """Return the profile that `profile_text` wrote."""
    from pipeline.ingest.profile_faults import checked

    return checked(json.loads(text), source)


def nearest(name: str, known: Sequence[str]) -> str:
    """Return a hint at the known name that was probably meant, or nothing.

    >>> nearest("unti_id", ["unit_id", "ward"]), nearest("xyz", ["ward"])
    (" Did you mean 'unit_id'?", '')
    """
    close = difflib.get_close_matches(name, known, n=1)
    return f" Did you mean '{close[0]}'?" if close else ""
