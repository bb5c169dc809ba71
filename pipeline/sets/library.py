"""Set files on disk."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from pipeline.conditions.pointing import unknown_word
from pipeline.errors import ElbowroomError, LibraryError, SettingsError
from pipeline.sets.definition import SetDefinition
from pipeline.sets.reading import read_set
from pipeline.user_files import read_text

FOLDER = "sets"
"""Folder of the configuration that holds the set library."""

ENDING = ".set"


def read_set_file(path: Path) -> SetDefinition:
    """Read one set file.

    Raises
    ------
    LanguageError
        If it is not written as the language wants; with line and column.
    SettingsError
        If it cannot be read, or is not named after its set.
    """
    return _named_set(path, _text(path))


def set_texts(folder: Path) -> tuple[tuple[Path, str], ...]:
    """The files of a folder of sets with their texts, in order of their names; none where there is no such folder."""
    return tuple((path, _text(path)) for path in sorted(folder.glob(f"*{ENDING}")))


def read_named_sets(files: Iterable[tuple[Path, str]]) -> tuple[SetDefinition, ...]:
    """Read the texts of a library.

    Raises
    ------
    LanguageError, SettingsError
        As :func:`read_set_file`, and if a set yields to one that is not there.
    """
    found = [(path, _named_set(path, text)) for path, text in files]
    names = [one.name for _, one in found]
    for path, one in found:
        for other in one.yields_to:
            if other not in names:
                raise SettingsError(f"{path} yields to a set that is not there: {unknown_word(other, 'set', names)}")
    return tuple(one for _, one in found)


def read_sets(configs: Path) -> tuple[SetDefinition, ...]:
    """The set library of a configuration folder, in order of the names; empty where it has none."""
    return read_named_sets(set_texts(configs / FOLDER))


def _text(path: Path) -> str:
    try:
        return read_text(path, SettingsError)
    except FileNotFoundError as error:
        raise SettingsError(f"There is no set file {path}; check the path.") from error


def _named_set(path: Path, text: str) -> SetDefinition:
    definition = read_set(text, str(path))
    if path.suffix == ENDING and path.stem != definition.name:
        raise SettingsError(f"{path} holds the set '{definition.name}'; name it {definition.name}{ENDING}.")
    return definition


def set_path(configs: Path, name: str) -> Path:
    """The file of a set of the library.

    Raises
    ------
    LibraryError
        If there is none of that name; the text names the nearest.
    """
    path = configs / FOLDER / f"{name}{ENDING}"
    if not path.is_file():
        names = sorted(one.stem for one in (configs / FOLDER).glob(f"*{ENDING}"))
        raise LibraryError(unknown_word(name, "set of the library", names))
    return path


@dataclass(frozen=True, slots=True)
class Checked:
    """What became of checking one file: ``text`` tells what it holds, or ``error`` what is wrong with it."""

    path: Path
    text: str
    error: ElbowroomError | None


def check_files(paths: Iterable[Path]) -> tuple[Checked, ...]:
    """Read files, and every set file of a folder.

    Raises
    ------
    SettingsError
        If a folder holds no set file.
    """
    return tuple(_checked(path) for given in paths for path in _files(given))


def _files(path: Path) -> list[Path]:
    if not path.is_dir():
        return [path]
    found = sorted(path.glob(f"*{ENDING}"))
    if not found:
        raise SettingsError(f"The folder {path} holds no set file; their names end in {ENDING}.")
    return found


def _checked(path: Path) -> Checked:
    try:
        one = read_set_file(path)
    except ElbowroomError as error:
        return Checked(path, "", error)
    counts = [
        (len(one.players), "player", "players"),
        (len(one.main.phases), "phase", "phases"),
        (len(one.endings), "ending", "endings"),
        (len(one.counters), "counter", "counters"),
        (len(one.emphases), "point of emphasis", "points of emphasis"),
    ]
    told = ", ".join(f"{count} {single if count == 1 else several}" for count, single, several in counts if count)
    return Checked(path, f"{path}: {one.title} is well written ({told}).", None)
