"""Runs of a set, read from a library: what each was, how its points of emphasis came out, what staff said of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pyarrow as pa
import pyarrow.types as pat

from pipeline.conditions.pointing import unknown_word
from pipeline.errors import LibraryError, SearchError
from pipeline.find import search
from pipeline.library.game_time import GameTime
from pipeline.library.games import Library
from pipeline.reports.sides import Counted, Side, must_have_games
from pipeline.sets.definition import SetDefinition
from pipeline.sets.emphasis import Grade, Point
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.sets.telling import points_of
from pipeline.settings import Settings
from pipeline.tags import State


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a set.

    Attributes
    ----------
    tag : int or None
        Its number; None where it is no tag.
    game, date, opponent, team : str
        Empty where unknown.
    period : int or None
    clock_s : float or None
    t_s, start_s, end_s : float
        Film time.
    state : State
    sentence : str
    ending, counter : str or None
    score : float
    points : tuple of Point
        Every point of emphasis of its set, in order of the file.
    """

    tag: int | None
    game: str
    date: str
    opponent: str
    team: str
    period: int | None
    clock_s: float | None
    t_s: float
    start_s: float
    end_s: float
    state: State
    sentence: str
    ending: str | None
    counter: str | None
    score: float
    points: tuple[Point, ...]

    @property
    def when(self) -> str:
        """Game clock where it is known, else film time."""
        if self.clock_s is not None:
            return str(GameTime(self.period, self.clock_s))
        minutes, seconds = divmod(self.t_s, 60)
        return f"{int(minutes)}:{seconds:04.1f} of the film"

    def count(self, grade: Grade) -> int:
        """How many of its points came out so."""
        return sum(point.grade is grade for point in self.points)


@dataclass(frozen=True, slots=True)
class Runs:
    """What a library holds of a set.

    Attributes
    ----------
    definition : SetDefinition
    side : Side
    counted : Counted
    runs : tuple of Run
        Those that count, in order of day, game and time.
    undecided, rejected : int
        Whole runs that staff have not decided (some of them may be among ``runs``) or have rejected.
    by_game : tuple of GameRuns
    missing : tuple of (phase, int)
        What partial matches lacked, the most frequent first.
    left_out : tuple of str
        A sentence for everything that could not be read.
    """

    definition: SetDefinition
    side: Side
    counted: Counted
    runs: tuple[Run, ...]
    undecided: int
    rejected: int
    by_game: tuple[GameRuns, ...]
    missing: tuple[tuple[str, int], ...]
    left_out: tuple[str, ...]

    @property
    def partial(self) -> int:
        """Matches in which something was missing."""
        return sum(game.partial for game in self.by_game)


@dataclass(frozen=True, slots=True)
class GameRuns:
    """Counts of one game: those that count, undecided, rejected, in part."""

    game: str
    date: str
    opponent: str
    counted: int
    undecided: int
    rejected: int
    partial: int


def set_named(name: str, settings: Settings) -> SetDefinition:
    """A set of the library by its name.

    Raises
    ------
    SearchError
        If there is none; the text names the nearest.
    """
    known = {one.name: one for one in settings.set_library.definitions}
    if name not in known:
        raise SearchError(unknown_word(name, "set of the library", known))
    return known[name]


def read_runs(library: Library, name: str, one: Side, settings: Settings, counted: Counted) -> Runs:
    """Read the runs of a set.

    Raises
    ------
    SearchError
        If set, game or team do not exist.
    """
    definition = set_named(name, settings)
    filters = replace(one.filters, sets=(name,))
    whole = search(must_have_games(library), filters, settings)
    measures = _number_names(whole.table)
    runs = [_run(row, definition, measures) for row in whole.table.to_pylist()]
    part_filters = replace(filters, labels=(), where="complete = no", written="")
    part = search(library, part_filters, settings).table.to_pylist()
    missing, untold = _missing(library, part)
    counts = tuple(run for run in runs if run.state.value in counted.states)
    return Runs(
        definition,
        one,
        counted,
        counts,
        sum(_is_open(run.state) for run in runs),
        sum(run.state is State.REJECTED for run in runs),
        _by_game(runs, part, counted),
        missing,
        (*whole.left_out, *untold),
    )


def _is_open(state: State) -> bool:
    return state in (State.CANDIDATE, State.UNSURE)


def _number_names(table: pa.Table) -> Mapping[str, str]:
    """Columns of numbers by the measure that they hold: one that shares its name with a word is told apart."""
    return {field.name.removesuffix("_number"): field.name for field in table.schema if pat.is_floating(field.type)}


def _run(row: Mapping[str, Any], definition: SetDefinition, measures: Mapping[str, str]) -> Run:
    words = {name: value for name, value in row.items() if isinstance(value, str)}
    traits = {name.removesuffix("_word"): value for name, value in words.items()}
    numbers = {name: row[column] for name, column in measures.items() if row[column] is not None}
    return Run(
        tag=row["tag"],
        game=row["game"],
        date=row["date"] or "",
        opponent=row["opponent"] or "",
        team=row["team"] or "",
        period=row["period"],
        clock_s=row["clock_s"],
        t_s=row["t_s"],
        start_s=row["start_s"],
        end_s=row["end_s"],
        state=State(row["state"]) if row["state"] else State.CANDIDATE,
        sentence=row["sentence"] or "",
        ending=row["ended"],
        counter=None if traits.get("counter", "none") == "none" else traits["counter"],
        score=row["score"],
        points=points_of({"measures": numbers, "traits": traits}, definition),
    )


def _missing(library: Library, rows: Sequence[Mapping[str, Any]]) -> tuple[tuple[tuple[str, int], ...], list[str]]:
    """Phases that partial matches lacked, from the tables that they stand in."""
    wanted: dict[str, set[int]] = {}
    for row in rows:
        if row["event"] is not None:
            wanted.setdefault(row["game"], set()).add(row["event"])
    counts: Counter[str] = Counter()
    untold = []
    for game, events in wanted.items():
        try:
            table = SET_CANDIDATES.read(library.game(game).tables)
        except LibraryError as error:
            untold.append(f"Game '{game}': what its partial matches lacked is unknown. {error}")
            continue
        pairs = zip(table["event"].to_pylist(), table["missing"].to_pylist(), strict=True)
        counts.update(phase for event, missing in pairs if event in events for phase in missing or ())
    return tuple(sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))), untold


def _by_game(runs: Sequence[Run], part: Sequence[Mapping[str, Any]], counted: Counted) -> tuple[GameRuns, ...]:
    about = {run.game: (run.date, run.opponent) for run in runs}
    about |= {row["game"]: (row["date"] or "", row["opponent"] or "") for row in part}
    found = []
    for game, (day, opponent) in sorted(about.items(), key=lambda pair: (pair[1][0] or "9", pair[0])):
        own = [run for run in runs if run.game == game]
        found.append(
            GameRuns(
                game,
                day,
                opponent,
                sum(run.state.value in counted.states for run in own),
                sum(_is_open(run.state) for run in own),
                sum(run.state is State.REJECTED for run in own),
                sum(row["game"] == game for row in part),
            )
        )
    return tuple(found)
