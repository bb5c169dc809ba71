"""What a night of films did and is doing: one record a night in the library, replaced whole whenever something changes.

::

    <library>/nights/<stamp>/
      night.json      the record, for programs and for the pages
      log.txt         one line for everything that happened
      night.html      the morning's page
"""

from __future__ import annotations

import os
import socket
from collections.abc import Sequence
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pipeline.errors import LibraryError
from pipeline.library.games import NIGHTS, Library
from pipeline.user_files import first_wrong, read_json
from pipeline.whole_files import write_whole

RECORD = "night.json"
LOG = "log.txt"
PAGE = "night.html"

DEAD_AFTER_S = 60.0
"""A night whose record is older than this and not ended was ended from outside. It is renewed every second."""


class FilmState(StrEnum):
    """Where a film of a night stands."""

    WAITING = "waiting"
    COPYING = "copying"  # its file still grows or changes
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    STOPPED = "stopped"  # the night ended while it ran; the next one goes on there


class FilmNight(BaseModel):
    """One film of a night.

    Attributes
    ----------
    film : str
        Its path.
    size_bytes : int
    state : FilmState
    game : str or None
        Its game in the library, once it has one.
    stage : str
        The stage that runs, or ran last.
    share : float
        0..1 of the film's work, roughly.
    seconds : float
        Spent on it this night.
    tries : int
        How often it was begun this night.
    sentence : str
        What came of it, or why it failed.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    film: str
    size_bytes: int = Field(ge=0)
    state: FilmState
    game: str | None = None
    stage: str = ""
    share: float = Field(0.0, ge=0, le=1)
    seconds: float = Field(0.0, ge=0)
    tries: int = Field(0, ge=0)
    sentence: str = ""


class Night(BaseModel):
    """One night.

    Attributes
    ----------
    stamp : str
        Its folder's name: when it began, UTC.
    folder : str
        Where the films lie.
    process, host
        Who runs it.
    began, beat : datetime
        UTC; ``beat`` is when the record was written last.
    ended, until : datetime or None
    films : tuple of FilmNight
        In the order in which they are run.
    sentence : str
        How it ended, once it has.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    stamp: str
    folder: str
    process: int
    host: str
    began: datetime
    beat: datetime
    ended: datetime | None = None
    until: datetime | None = None
    films: tuple[FilmNight, ...] = ()
    sentence: str = ""

    def count(self, state: FilmState) -> int:
        """How many films stand so."""
        return sum(film.state is state for film in self.films)

    def left_s(self, now: datetime) -> float | None:
        """Seconds until all its films are through, from what the bytes took that were worked on this night; None before
        there is anything to go by."""
        worked = [film for film in self.films if film.seconds > 0 and film.state is not FilmState.FAILED]
        done = sum(film.size_bytes * film.share for film in worked)
        took_s = sum(film.seconds for film in worked)
        open_states = (FilmState.WAITING, FilmState.COPYING, FilmState.RUNNING)
        to_do = sum(film.size_bytes * (1 - film.share) for film in self.films if film.state in open_states)
        if self.ended is not None or not to_do:
            return 0.0
        if done <= 0 or took_s <= 0:
            return None
        since_beat_s = max(0.0, (now - self.beat).total_seconds())
        side_by_side = max(1, self.count(FilmState.RUNNING))
        return max(0.0, to_do * took_s / done / side_by_side - since_beat_s)

    def died(self, now: datetime) -> bool:
        """Whether it was ended from outside without a word."""
        if self.ended is not None:
            return False
        if self.host == socket.gethostname() and not _lives(self.process):
            return True
        return (now - self.beat).total_seconds() > DEAD_AFTER_S


def night_folder(library: Library, stamp: str) -> Path:
    """Where a night's files are."""
    return library.root / NIGHTS / stamp


def new_stamp(library: Library, began: datetime) -> str:
    """A name for a night that begins now, not taken yet."""
    base = began.astimezone(UTC).strftime("%Y-%m-%dT%H%M%SZ")
    stamp, number = base, 2
    while night_folder(library, stamp).exists():
        stamp, number = f"{base}-{number}", number + 1
    return stamp


def write_night(library: Library, night: Night) -> None:
    """Replace a night's record, whole."""
    folder = night_folder(library, night.stamp)
    folder.mkdir(parents=True, exist_ok=True)
    write_whole(folder / RECORD, night.model_dump_json(indent=1))


def read_nights(library: Library) -> tuple[Night, ...]:
    """Every night of a library, the newest first.

    Raises
    ------
    LibraryError
        If a record is damaged; the text says which file to delete.
    """
    places = sorted((library.root / NIGHTS).glob(f"*/{RECORD}"), reverse=True)
    return tuple(sorted((_read(path) for path in places), key=lambda night: night.began, reverse=True))


def newest_night(library: Library) -> Night | None:
    """The latest night; None before the first."""
    return next(iter(read_nights(library)), None)


def changed(films: Sequence[FilmNight], film: FilmNight) -> tuple[FilmNight, ...]:
    """The films with one of them, told by its path, replaced."""
    return tuple(film if one.film == film.film else one for one in films)


def _read(path: Path) -> Night:
    try:
        return Night.model_validate(read_json(path, LibraryError, advice="delete that file"))
    except FileNotFoundError as error:
        raise LibraryError(f"{path} was taken away while it was read; look again.") from error
    except ValidationError as error:
        name, what = first_wrong(error)
        raise LibraryError(f"{path} is no record of a night ({name or 'file'}: {what}); delete that file.") from error


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
