"""Looking at a run of pieces on another machine, which need not see this one's library.

The worker finds the film, puts the pieces into a folder of its own machine, and carries them home as files; here they
are put where a worker of this machine would have put them. So a piece is written once, by the machine that began the
run, whatever dies elsewhere.
"""

from __future__ import annotations

import shutil
import socket
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

from pipeline.film.fetching import FilmPlace, found_here
from pipeline.night.pieces import Errand, see_errand
from pipeline.night.units import make_units
from pipeline.whole_files import rename_whole, temporary_of, write_whole


@dataclass(frozen=True, slots=True)
class FarErrand:
    """A run of pieces, and where its film is found."""

    errand: Errand
    film: FilmPlace


@dataclass(frozen=True, slots=True)
class Carried:
    """What came of it.

    Attributes
    ----------
    files : dict of bytes
        What is to lie in the run's folder, by its path there.
    seconds : dict of float
        What took how long.
    """

    files: dict[str, bytes]
    seconds: dict[str, float]


def see_elsewhere(far: FarErrand) -> Carried:
    """Look at a run in a worker process of any machine.

    Raises
    ------
    FilmError
        If the film is not found there.
    """
    run = far.errand.run
    film = found_here(far.film, run.settings.night.fetched_films, socket.gethostname())
    with TemporaryDirectory(prefix="elbowroom-") as own:
        folder = Path(own) / "seen"
        seconds = see_errand(replace(far.errand, run=replace(run, film=film, folder=folder)))
        files = {file.relative_to(folder).as_posix(): file.read_bytes() for file in folder.rglob("*") if file.is_file()}
    return Carried(files, seconds)


def bring_home(carried: Carried, folder: Path) -> dict[str, float]:
    """Put pieces where they belong, each whole or not at all; says what took how long."""
    make_units(folder)
    pieces = sorted({path.partition("/")[0] for path in carried.files if "/" in path})
    for name in pieces:
        piece = folder / name
        unfinished = temporary_of(piece)
        shutil.rmtree(unfinished, ignore_errors=True)
        unfinished.mkdir()
        try:
            for path, content in carried.files.items():
                if path.startswith(f"{name}/"):
                    write_whole(unfinished / path.removeprefix(f"{name}/"), content)
            with suppress(FileExistsError):  # its tables were there, its signs were not
                rename_whole(unfinished, piece)
        finally:
            shutil.rmtree(unfinished, ignore_errors=True)
    for path, content in carried.files.items():
        if "/" not in path:
            write_whole(folder / path, content)
    return carried.seconds
