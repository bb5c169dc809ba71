"""A library on disk: a tag store and one folder per game.

::

    <library>/
      library.db                  tag store
      library.toml                only where the tags are kept elsewhere: the URL of their database
      games/<game-id>/
        game.toml                 teams, rule book, film: staff edit this
        tables/*.parquet
        state.json                which stage ran on what, and when
        logs/runs.jsonl           every run, one line each
      nights/<stamp>/             record, log and page of a night of films

A game folder is made under a temporary name and renamed once the film has been read to its end, so that a broken
film leaves nothing and a killed run no half a game; the next run of the film goes on where that one stopped.
"""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from filelock import FileLock, Timeout
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.errors import BusyError, LibraryError
from pipeline.library.library_file import LIBRARY_FILE, read_library_file
from pipeline.library.rosters import check_roster
from pipeline.tags import TagStore
from pipeline.user_files import first_wrong, read_toml, sayable
from pipeline.whole_files import TEMPORARY, rename_whole, write_whole

TAG_STORE = "library.db"
GAMES = "games"
NIGHTS = "nights"
UNFINISHED = ".unfinished-"
LONGEST_NAME = 100
"""Letters of a film's name that its game keeps."""


DIGEST_WITHIN_BYTES = 1 << 20
"""A ``game.toml`` is never so long; what lies in its place may be."""


class FilmFile(BaseModel):
    """The film of a game."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    path: str = Field(description="Where the film lies.")
    digest: str = Field(description="Recognises the film when it was moved; do not edit.")


class TrackingFile(BaseModel):
    """The tracking data of a game without film, and how it measures places."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    path: str = Field(description="Where the data lies.")
    digest: str = Field(description="Recognises the data when it was moved; do not edit.")
    origin: Literal["corner", "centre"] = Field("corner", description="Where places are measured from.")
    y_axis: Literal["away", "towards"] = Field("away", description="Which way y grows, from the main camera.")


class TeamNote(BaseModel):
    """What staff know of a team."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    name: str = Field("", description="Name of the team.")
    jersey: str = Field("", description="Jersey colour, a word or #rrggbb.")
    roster: dict[str, str] = Field(
        {}, description="Names by jersey number; a team with a roster wears no other number."
    )

    @field_validator("roster")
    @classmethod
    def _numbers_as_worn(cls, roster: dict[str, str]) -> dict[str, str]:
        check_roster(roster)
        return roster


class GameFile(BaseModel):
    """What ``game.toml`` says."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    date: str = Field("", description="Day of the game.")
    opponent: str = Field("", description="Who was played.")
    rule_book: Literal["", "fiba", "nba", "ncaa", "nfhs"] = Field(
        "", description="Rule book of the floor; empty to recognise it from the picture."
    )
    film: FilmFile | None = Field(None, description="The film.")
    tracking: TrackingFile | None = Field(None, description="The tracking data, where there is no film.")
    team_0: TeamNote = Field(TeamNote(), description="The team that the tables call 0.")
    team_1: TeamNote = Field(TeamNote(), description="The team that the tables call 1.")

    @model_validator(mode="after")
    def _has_one_source(self) -> GameFile:
        if (self.film is None) == (self.tracking is None):
            raise ValueError("a game has a section [film] or a section [tracking], and not both")
        return self

    @property
    def digest(self) -> str:
        """What recognises the game's film or tracking data."""
        source = self.film or self.tracking
        assert source is not None
        return source.digest


@dataclass(frozen=True, slots=True)
class Game:
    """One game folder of a library.

    Attributes
    ----------
    name : str
        The game's id, which is its folder's name.
    folder : Path
        Where it lies.
    """

    name: str
    folder: Path

    @property
    def tables(self) -> Path:
        """Folder of the tables."""
        return self.folder / "tables"

    @property
    def state_file(self) -> Path:
        """Which stages ran."""
        return self.folder / "state.json"

    def names(self, digest: str) -> bool:
        """Whether the text of ``game.toml``, be it well written or not, has a film's digest in it."""
        path = self.folder / "game.toml"
        try:
            if not path.is_file():
                return False
            with path.open("rb") as stream:
                return digest.encode() in stream.read(DIGEST_WITHIN_BYTES)
        except OSError:
            return True  # it may be this one: reading it tells what is wrong

    def file(self) -> GameFile:
        """Read ``game.toml``; LibraryError when it is missing or wrong."""
        path = self.folder / "game.toml"
        try:
            state = path.stat()
            return _game_file(path, state.st_mtime_ns, state.st_size, state.st_ino)
        except FileNotFoundError as error:
            raise LibraryError(f"{self.folder} has no game.toml, so it is no game of a library.") from error
        except OSError as error:
            raise LibraryError(
                f"{path} cannot be read ({error.strerror}); check the disk and its permissions."
            ) from error
        except ValidationError as error:
            name, what = first_wrong(error)
            where = f"'{name}': " if name else ""
            raise LibraryError(f"{path}: {where}{what}; repair that {'line' if name else 'file'}.") from error

    def film_told(self) -> FilmFile:
        """What ``game.toml`` says of the film; LibraryError for a game that came as tracking data."""
        told = self.file().film
        if told is None:
            raise LibraryError(
                f"Game '{self.name}' was imported as tracking data and has no film; 'elbowroom clip TAG --diagram mp4' "
                "shows its tags on a half court."
            )
        return told

    def film(self) -> Path:
        """The game's film; LibraryError when it has none or it is not where ``game.toml`` says."""
        told = self.film_told()
        film = Path(told.path)
        if not film.is_file():
            raise LibraryError(
                f"The film of game '{self.name}' is no longer at {film}; put it back, or write its new place into "
                f"{self.folder / 'game.toml'}."
            )
        return film


@lru_cache(maxsize=1024)
def _game_file(path: Path, mtime_ns: int, size: int, inode: int) -> GameFile:  # noqa: ARG001 - the file's state
    """What a ``game.toml`` says, read again when it has changed: pages ask for every game's."""
    return GameFile.model_validate(read_toml(path, LibraryError))


class Library:
    """A folder with a tag store and games.

    Parameters
    ----------
    root : Path
        The folder. It need not exist yet; nothing is written before :meth:`keep` or :meth:`tag_store`.

    Raises
    ------
    LibraryError
        If the place is a file, or a folder with other things in it.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        if sayable(root) != str(root):
            raise LibraryError(f"The name of {sayable(root)} holds bytes that are no letters; give another folder.")
        if root.exists() and not root.is_dir():
            raise LibraryError(f"{root} is a file, not a library folder; give a folder.")
        if root.is_dir() and not self.exists and any(not p.name.startswith(".") for p in root.iterdir()):
            raise LibraryError(
                f"{root} holds other files and no {TAG_STORE}, so it is no library; give an empty or a new folder."
            )

    @property
    def exists(self) -> bool:
        """Whether there is a library here already."""
        files = (self.root / TAG_STORE, self.root / LIBRARY_FILE)
        return any(file.is_file() for file in files) or any((self.root / name).is_dir() for name in (GAMES, NIGHTS))

    def must_exist(self) -> Library:
        """The library itself; LibraryError when there is none here."""
        if not self.exists:
            raise LibraryError(
                f"There is no library at {self.root}; 'elbowroom run FILM --library {self.root}' makes one."
            )
        return self

    def games(self) -> tuple[Game, ...]:
        """Every finished game folder, by name."""
        folder = self.root / GAMES
        if not folder.is_dir():
            return ()
        names = sorted(p.name for p in folder.iterdir() if p.is_dir() and not p.name.startswith("."))
        return tuple(Game(name, folder / name) for name in names)

    def game(self, name: str) -> Game:
        """A game by its id; LibraryError with the ids there are when there is none."""
        games = {game.name: game for game in self.games()}
        if name not in games:
            known = ", ".join(games) or "none"
            raise LibraryError(f"There is no game '{name}' in {self.root}; its games: {known}.")
        return games[name]

    def game_of_film(self, digest: str) -> Game | None:
        """The game whose film or tracking data has this digest; what is wrong with other games does not matter."""
        return next((game for game in self.games() if game.names(digest) and game.file().digest == digest), None)

    @contextmanager
    def claim(self, digest: str) -> Iterator[None]:
        """Keep other runs off a film's game while this one works on it.

        Raises
        ------
        LibraryError
            If another run has it, or the library cannot be written.
        """
        games = self.root / GAMES
        made = [folder for folder in (games, *games.parents) if not folder.exists()]
        try:
            games.mkdir(parents=True, exist_ok=True)
            lock = _claimed(games / f".lock-{digest[:16]}")
        except Timeout as error:
            raise BusyError(f"Another run is working on this film in {self.root}; wait for it to end.") from error
        except OSError as error:
            raise LibraryError(f"{games} cannot be written ({error.strerror}); check the path and the disk.") from error
        try:
            yield
        finally:
            with suppress(OSError):  # the share may have gone away: the lock goes with the process then
                Path(lock.lock_file).unlink(missing_ok=True)
            lock.release()
            for folder in made:
                with suppress(OSError):  # it holds something
                    folder.rmdir()

    def begin(self, film: Path, digest: str) -> Game:
        """An unfinished game folder for a film, under a temporary name; a killed run's is taken up again."""
        folder = self.root / GAMES / f"{UNFINISHED}{digest[:16]}"
        (folder / "tables").mkdir(parents=True, exist_ok=True)
        return Game(self._free_name(film.stem), folder)

    def keep(self, unfinished: Game) -> Game:
        """Give an unfinished game its name; another one, if a game has taken that meanwhile."""
        name = unfinished.name
        while True:
            final = self.root / GAMES / name
            try:
                if final.exists():
                    raise FileExistsError(final)
                rename_whole(unfinished.folder, final)
                return Game(name, final)
            except FileExistsError:
                name = self._free_name(unfinished.name)

    def drop(self, unfinished: Game) -> None:
        """Take an unfinished game away."""
        shutil.rmtree(unfinished.folder, ignore_errors=True)

    def sweep(self, older_s: float) -> tuple[Path, ...]:
        """Take away unfinished games, and locks, that nobody works on and that have lain unchanged for so long.

        A run that was killed leaves its unfinished game for the next run of the film; this is for films that never
        come again, and for files under temporary names that nobody came back to. What it took away is returned.
        """
        games, gone = self.root / GAMES, []
        oldest_s = time.time() - older_s
        for folder in games.glob(f"{UNFINISHED}*"):
            digest = folder.name.removeprefix(UNFINISHED)
            with suppress(BusyError), self.claim(digest):
                if _changed_s(folder) < oldest_s:
                    shutil.rmtree(folder, ignore_errors=True)
                    gone.append(folder)
        for lock in games.glob(".lock-*"):
            if _changed_s(lock) < oldest_s:
                with suppress(BusyError), self.claim(lock.name.removeprefix(".lock-")):
                    gone.append(lock)  # the end of a claim takes it away
        for left in self.root.rglob(f"*{TEMPORARY}"):
            if left.is_file() and _changed_s(left) < oldest_s:
                left.unlink(missing_ok=True)
                gone.append(left)
        return tuple(gone)

    @property
    def tag_place(self) -> Path | str:
        """Where the tags are: a SQLite file in the library, or the URL of a database that ``library.toml`` names."""
        return read_library_file(self.root).tag_store or self.root / TAG_STORE

    def tag_store(self) -> TagStore:
        """Open the tag store, making it when needed."""
        self.root.mkdir(parents=True, exist_ok=True)
        return TagStore(self.tag_place)

    def _free_name(self, wanted: str) -> str:
        base = re.sub(r"[^a-z0-9]+", "-", wanted.lower()).strip("-")[:LONGEST_NAME].strip("-") or "game"
        taken = {game.name for game in self.games()}
        name, number = base, 2
        while name in taken:
            name, number = f"{base}-{number}", number + 1
        return name


def write_game_file(game: Game, film: Path, digest: str, rule_book: str | None) -> None:
    """Write a new game's ``game.toml`` for staff to fill in."""
    source = f"""
[film]
path = {_quoted(str(film.resolve()))}
digest = {_quoted(digest)}
"""
    _write_game_file(game, rule_book, ("", ""), source)


def write_tracking_game_file(game: Game, tracking: TrackingFile, rule_book: str, teams: tuple[str, str]) -> None:
    """The same for a game that comes as tracking data; ``teams`` are the names of teams 0 and 1 in it."""
    source = f"""
[tracking]
path = {_quoted(tracking.path)}
digest = {_quoted(tracking.digest)}
origin = {_quoted(tracking.origin)}
y_axis = {_quoted(tracking.y_axis)}
"""
    _write_game_file(game, rule_book, teams, source)


def _write_game_file(game: Game, rule_book: str | None, teams: tuple[str, str], source: str) -> None:
    if rule_book is not None and rule_book not in RULE_BOOKS:
        raise LibraryError(f"There is no rule book '{rule_book}'; choose one of {', '.join(RULE_BOOKS)}.")
    text = f"""\
# One game. Fill in what you know and run the film again; empty fields are worked out or left open.
date = ""
opponent = ""
rule_book = {_quoted(rule_book or "")}  # fiba, nba, ncaa, nfhs, or empty to recognise it from the picture

[team_0]
name = {_quoted(teams[0])}
jersey = ""
[team_0.roster]  # number = "name", e.g. 12 = "A. Player"; leave it empty when not all are known

[team_1]
name = {_quoted(teams[1])}
jersey = ""
[team_1.roster]
{source}"""
    write_whole(game.folder / "game.toml", text)


def note_film_path(game: Game, film: Path) -> None:
    """Write a film's new place into ``game.toml`` when the old one is gone; every other line stays as it is."""
    told = game.file().film
    if told is None or Path(told.path).is_file():
        return
    path = game.folder / "game.toml"
    head, mark, tail = path.read_text(encoding="utf-8").partition("[film]")
    line = f"path = {_quoted(str(film.resolve()))}"
    moved = re.sub(r"(?m)^path\s*=.*$", lambda _: line, tail, count=1)
    write_whole(path, head + mark + moved)


def _claimed(place: Path) -> FileLock:
    """Lock a file that its holder takes away when it lets go.

    The file may have been taken away between our opening and our locking it; then the lock keeps nobody off. Only a
    lock that keeps a second one off is the file's.
    """
    while True:
        lock, second = FileLock(place, timeout=0), FileLock(place, timeout=0)
        lock.acquire()
        try:
            second.acquire()
        except Timeout:
            return lock
        second.release()
        lock.release()


def _changed_s(place: Path) -> float:
    """When anything in a place was last written, seconds since the epoch."""
    try:
        return max(path.stat().st_mtime for path in (place, *place.rglob("*")))
    except OSError:
        return time.time()  # somebody is at work in it


def _quoted(text: str) -> str:
    escaped: list[Any] = []
    for letter in text:
        if letter in '"\\':
            escaped.append("\\" + letter)
        elif ord(letter) < 32 or ord(letter) == 127:
            escaped.append(f"\\u{ord(letter):04x}")
        else:
            escaped.append(letter)
    return '"' + "".join(escaped) + '"'
