"""One set file against one game, now."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pyarrow as pa

from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import BALL
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.court.settings import BookName
from pipeline.court.tables import CAMERAS
from pipeline.errors import LibraryError
from pipeline.library.games import Library
from pipeline.library.rosters import Rosters, called, jersey_of
from pipeline.night.play_stages import book_of
from pipeline.players.tables import TRACKS
from pipeline.sets.definition import SetDefinition
from pipeline.sets.emphasis import Grade, spoken, unit
from pipeline.sets.finding import find_sets
from pipeline.sets.library import read_set_file
from pipeline.sets.settings import SetSettings
from pipeline.sets.telling import points_of


def try_set(file: Path, game: str, library: Path, settings: SetSettings, book: BookName | None = None) -> Iterator[str]:
    """Match a set file against a game; lines that tell what was found.

    Parameters
    ----------
    file : Path
        The set file.
    game : str
        A game of the library, or a folder of tables.
    library : Path
    settings : SetSettings
    book : str or None
        Rule book of the floor, where the game does not say.

    Raises
    ------
    LanguageError, SettingsError, LibraryError
    """
    definition = read_set_file(file)
    tables, rosters, told = _game(game, library)
    court = _book(tables, told, book)
    tracks = TRACKS.read(tables)
    ball = BALL.read(tables) if BALL.path(tables).is_file() else BALL.empty()
    found = find_sets([definition], ACTIONS.read(tables), tracks, ball, court, settings)
    yield from _lines(found, definition, jersey_of(tracks), rosters)


def _game(game: str, library: Path) -> tuple[Path, Rosters, str | None]:
    """The folder of a game's tables, its rosters, its rule book."""
    folder = Path(game)
    if ACTIONS.path(folder).is_file():
        return folder, {}, None
    if folder.is_dir():
        raise LibraryError(f"The folder {folder} holds no table of actions; run the film, or give a folder of tables.")
    one = Library(library).must_exist().game(game)
    file = one.file()
    return one.tables, {0: file.team_0.roster, 1: file.team_1.roster}, file.rule_book


def _book(tables: Path, told: str | None, given: BookName | None) -> RuleBook:
    if given or told:
        return RULE_BOOKS[str(given or told)]
    cameras = CAMERAS.read(tables) if CAMERAS.path(tables).is_file() else CAMERAS.empty()
    return book_of(cameras) or RULE_BOOKS["nba"]


def _lines(
    found: pa.Table, definition: SetDefinition, jerseys: Mapping[int, tuple[int, str]], rosters: Rosters
) -> Iterator[str]:
    rows = found.to_pylist()
    whole = sum(row["complete"] for row in rows)
    yield f"{definition.title}: {whole} whole, {len(rows) - whole} in part."
    for row in rows:
        yield ""
        yield from _row_lines(row, definition, jerseys, rosters)


def _row_lines(
    row: Mapping[str, Any], definition: SetDefinition, jerseys: Mapping[int, tuple[int, str]], rosters: Rosters
) -> Iterator[str]:
    def who(track: int) -> str:
        return called(track, jerseys, rosters) or f"track {track}"

    traits = dict(row["traits"])
    parts = [f"{_clock(row['start_s'])}-{_clock(row['end_s'])}", "whole" if row["complete"] else "in part"]
    parts.append(f"score {row['score']:.2f}")
    if traits["counter"] != "none":
        parts.append(f"counter {_spaced(traits['counter'])}")
    parts.append(f"ending {_spaced(row['ending'])}" if row["ending"] else "no ending")
    yield ", ".join(parts)
    yield "  " + ", ".join(f"{_spaced(actor['role'])}: {who(actor['track'])}" for actor in row["actors"])
    if row["missing"]:
        yield f"  missing: {', '.join(_spaced(name) for name in row['missing'])}"
    steps = [f"{_spaced(p['name'])} {_clock(p['start_s'])}" for p in row["phases"] if p["found"]]
    yield f"  phases: {', '.join(steps)}"
    for point in points_of(row, definition):
        if point.grade is not Grade.UNKNOWN:
            yield f"  {point.grade}: {point.emphasis.title}: {spoken(point.value, unit(point.emphasis))}"


def _clock(t_s: float) -> str:
    return f"{int(t_s // 60)}:{t_s % 60:04.1f}"


def _spaced(name: str) -> str:
    return name.replace("_", " ")
