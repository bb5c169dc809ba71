"""The films of a folder, and which of them are whole."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import FilmError
from pipeline.film.probe import refuse_unsayable_name


@dataclass(frozen=True, slots=True)
class FilmFile:
    """A film as its file lies on disk.

    Attributes
    ----------
    path : Path
    size_bytes : int
    changed_ns : int
        When it was last written to, as the file system says.
    """

    path: Path
    size_bytes: int
    changed_ns: int


def films_in(folder: Path, endings: Sequence[str], *, outside: Path) -> tuple[FilmFile, ...]:
    """Every film of a folder and the folders in it, by path; hidden ones and those of a library are left out.

    Parameters
    ----------
    folder : Path
    endings : sequence of str
        Of film files, lower case with the dot.
    outside : Path
        A library, whose own clips are no films to run.

    Raises
    ------
    FilmError
        If the folder is not there or cannot be read.
    """
    refuse_unsayable_name(folder)
    if folder.is_file():
        raise FilmError(f"{folder} is a file; give the folder that holds the films, or use 'elbowroom run {folder}'.")
    if not folder.is_dir():
        raise FilmError(f"The folder {folder} does not exist; check the path and, for a share, that it is connected.")
    library = outside.resolve()
    return tuple(sorted(_films(folder, tuple(endings), library), key=lambda film: str(film.path)))


def _films(folder: Path, endings: tuple[str, ...], library: Path) -> Iterator[FilmFile]:
    def refuse(error: OSError) -> None:
        if error.filename is None or Path(error.filename) == folder:
            raise FilmError(f"The folder {folder} cannot be read ({error.strerror}); check its permissions.") from error

    for place, folders, files in os.walk(folder, onerror=refuse):
        here = Path(place)
        folders[:] = [name for name in folders if not name.startswith(".") and (here / name).resolve() != library]
        for name in files:
            path = here / name
            if name.startswith(".") or path.suffix.lower() not in endings:
                continue
            try:
                told = path.stat()
            except OSError:
                continue  # taken away while we looked, or a link to nowhere
            if not os.path.isfile(path):
                continue
            yield FilmFile(path, told.st_size, told.st_mtime_ns)


class Settling:
    """Tells whole films from those that are still being copied: a whole one has not changed for a while.

    Parameters
    ----------
    settle_s : float
        How long it must have lain unchanged since it was first seen so.
    """

    def __init__(self, settle_s: float) -> None:
        self._settle_s = settle_s
        self._since: dict[Path, tuple[FilmFile, float]] = {}

    def is_whole(self, film: FilmFile, now_s: float) -> bool:
        """Whether a film, as it is found now, is whole; ``now_s`` is any clock that only runs forwards."""
        before = self._since.get(film.path)
        if before is None or before[0] != film:
            self._since[film.path] = (film, now_s)
            return self._settle_s == 0
        return now_s - before[1] >= self._settle_s
