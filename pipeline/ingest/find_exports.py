"""Which files there are to read, and which table each holds by its name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import NothingToDo, UsageError
from pipeline.ingest.packages.declared import declared_files
from pipeline.ingest.packages.schemas import PACKAGE
from pipeline.ingest.profiles import Profile, profile_for


@dataclass(frozen=True)
class Found:
    """``files`` with the profile and table of each, no table where a file that was named fits no pattern;
    ``passed_over`` are the names of files in folders that fit none."""

    files: tuple[tuple[Path, Profile, str | None], ...]
    passed_over: tuple[str, ...]


def find_exports(paths: Sequence[Path], profiles: Sequence[Profile], store_root: Path) -> Found:
    """List what to read in a fixed order, the lists of units first: what is logged is held against them.

    A data package in a folder says how the files that it names are read. Raises UsageError for a path that does
    not exist, or a package that is not to be followed, and NothingToDo when no file in the folders fits.
    """
    absent = [str(path) for path in paths if not path.exists()]
    if absent:
        raise UsageError(f"{', '.join(absent)}: no such file or folder; check the path.")
    seen = [path for folder in paths if folder.is_dir() for path in _files_in(folder, store_root)]
    packages = [path for path in (*paths, *seen) if path.name == PACKAGE and path.is_file()]
    declared = {path: told for package in packages for path, told in declared_files(package).items()}
    _require_one_claim(declared, profiles)
    named = {_place(path): profile_for(path.name, profiles) for path in paths if not path.is_dir()}
    inside = {_place(path): profile_for(path.name, profiles) for path in seen}
    for package in packages:
        named.pop(package.resolve(), None)
        inside.pop(package.resolve(), None)
    fitting = {path: (profile, table) for path, (profile, table) in inside.items() if table}
    passed_over = sorted(path.name for path in inside if path not in {*fitting, *named, *declared})
    found = {**fitting, **named, **declared}
    if not found:
        patterns = ", ".join(pattern for profile in profiles for pattern in profile.files)
        raise NothingToDo(
            f"{', '.join(map(str, paths))}: holds no file named like {patterns}; nothing to ingest."
        )
    files = [(path, profile, table) for path, (profile, table) in found.items()]
    return Found(tuple(sorted(files, key=_units_first)), tuple(passed_over))


def _require_one_claim(declared: Iterable[Path], profiles: Sequence[Profile]) -> None:
    """Raise UsageError for a file that a package and a profile of the site's own claim to describe."""
    for path in declared:
        for profile in profiles[:-1]:
            if profile.table_of(path.name):
                raise UsageError(
                    f"{path.name}: both the profile '{profile.name}' and a data package say how to read it; leave"
                    " one of them out."
                )


def _files_in(folder: Path, store_root: Path) -> Iterator[Path]:
    """Yield the files in a folder and below, but for hidden ones and those of the store itself.

    A pipe or a link to nothing is listed too, so that its refusal is told.
    """
    for path in folder.rglob("*"):
        hidden = any(part.startswith(".") for part in path.relative_to(folder).parts)
        if not path.is_dir() and not hidden and not _place(path).is_relative_to(store_root):
            yield path


def _place(path: Path) -> Path:
    """Return the file that a path leads to; a link that leads to none stays as it is."""
    return path.resolve() if path.is_file() else path.absolute()


def _units_first(item: tuple[Path, Profile, str | None]) -> tuple[bool, str]:
    path, _, table = item
    return table != "units", path.as_posix()
