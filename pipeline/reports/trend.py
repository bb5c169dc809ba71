"""How often something happens, or how large it is, game after game."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

import numpy as np
import pyarrow as pa
from scipy import stats

from pipeline.ball.tables import POSSESSIONS
from pipeline.conditions import names_in, read_condition
from pipeline.conditions.pointing import unknown_word
from pipeline.conditions.reading import unit_of
from pipeline.errors import LibraryError, SearchError
from pipeline.film.clock import game_times
from pipeline.film.tables import CLOCK
from pipeline.find import Filters, columns, read_bar, search
from pipeline.find.names import Sort
from pipeline.library.games import Game, Library
from pipeline.reports.intervals import Estimate, median, rate
from pipeline.reports.night_summary import kind_title
from pipeline.reports.points import own_rng
from pipeline.reports.settings import ReportSettings
from pipeline.reports.sides import Counted, label_of, must_have_games, team_sides
from pipeline.reports.standing import Standing, standing_of
from pipeline.reports.wording import ENDINGS
from pipeline.settings import Settings
from pipeline.tags import Family, State

ABOUT_GAMES = frozenset({"game", "date", "opponent", "team", "period", "clock_s"})
"""Names of a condition that would choose among possessions too."""


class Per(StrEnum):
    """What a count is held against."""

    HUNDRED_POSSESSIONS = "per 100 possessions"
    GAME = "per game"


@dataclass(frozen=True, slots=True)
class TrendGame:
    """One game.

    Attributes
    ----------
    game, date, opponent : str
    value : Estimate
        The count against its measure, or the median of the measure asked for.
    count : int
        Things that count.
    possessions : int
        Of the teams and periods asked for.
    """

    game: str
    date: str
    opponent: str
    value: Estimate
    count: int
    possessions: int


@dataclass(frozen=True, slots=True)
class TrendLine:
    """A robust line through the games' values: Theil (1950) and Sen (1968), the median of all slopes between two games.

    Attributes
    ----------
    slope : Estimate
        Change from one game to the next, with Sen's interval.
    start : float
        Of the first game, on the line.
    """

    slope: Estimate
    start: float


@dataclass(frozen=True, slots=True)
class Trend:
    """A trend.

    Attributes
    ----------
    title, part : str
        What, and of which part of the library.
    measure, unit : str
        The measure whose median is shown and its unit; empty for counts.
    meaning : str
        Of the measure.
    per : Per
    counted : Counted
    games : tuple of TrendGame
        In order of their days.
    line : TrendLine or None
        None with too few games.
    told : str
        What the line says, or why there is none.
    undecided : int
        Tags that nobody has decided, among those found.
    standing : tuple of Standing
        Of the kinds that were found, where staff have decided something.
    only_actions : bool
        Nothing of it is a tag, so that nobody confirms it.
    notes : tuple of str
        What the page must say besides.
    """

    title: str
    part: str
    measure: str
    unit: str
    meaning: str
    per: Per
    counted: Counted
    games: tuple[TrendGame, ...]
    line: TrendLine | None
    told: str
    undecided: int
    standing: tuple[Standing, ...]
    only_actions: bool
    notes: tuple[str, ...]


def trend(
    library: Library,
    text: str,
    settings: Settings,
    *,
    measure: str | None = None,
    per: Per = Per.HUNDRED_POSSESSIONS,
    counted: Counted = Counted.CONFIRMED,
) -> Trend:
    """A trend over the games of a library.

    Parameters
    ----------
    library : Library
    text : str
        What is counted, a line of the query bar: ``crowded_paint team:Harbour count >= 6``.
    settings : Settings
    measure : str, optional
        A measure of the kinds asked for: its median in each game instead of a count.
    per : Per
        What a count is held against.
    counted : Counted
        Actions are no tags and always count.

    Raises
    ------
    LanguageError, SearchError
        If the line is not written as a query is, names no kind, or the measure does not exist.
    """
    filters = replace(read_bar(text, settings), states=(), order="", limit=None)
    if not filters.names_kinds:
        raise SearchError(
            "A trend is of something: begin the line with a set, an action or a fault, e.g. crowded_paint."
        )
    meaning = _meaning(measure, filters, settings)
    found = search(must_have_games(library), filters, settings)
    rows = found.table.to_pylist()
    notes = list(found.left_out)
    counting = [row for row in rows if _counts(row, counted)]
    games = _games(library, filters, counting, measure, per, settings.reports, notes)
    line = None if len(games) < settings.reports.fewest_games else fitted(games, settings.reports)
    kinds = dict.fromkeys(row["kind"] for row in rows)
    standing = standing_of(library, kinds)
    chosen = (*filters.sets, *filters.actions, *filters.faults)
    unit = "" if measure is None else unit_of(measure)
    if found.unknown:
        notes.append(f"{found.unknown} more could not be judged: what the condition asks for was not seen.")
    if measure is None and _chooses_games(filters):
        notes.append(
            "The condition speaks of games, periods or teams: it chooses what is counted, not the possessions."
        )
    return Trend(
        title=" and ".join(kind_title(kind, settings) for kind in chosen),
        part=label_of(filters),
        measure=measure or "",
        unit=unit,
        meaning=meaning,
        per=per,
        counted=counted,
        games=games,
        line=line,
        told=told(line, games, unit, measure, per, settings.reports),
        undecided=sum(row["state"] in (State.CANDIDATE.value, State.UNSURE.value) for row in rows),
        standing=tuple(standing.values()),
        only_actions=bool(filters.actions) and not filters.sets and not filters.faults,
        notes=tuple(notes),
    )


def fitted(games: Sequence[TrendGame], settings: ReportSettings) -> TrendLine | None:
    """The robust line through games in their order; None where fewer than ``fewest_games`` have a value.

    Theil 1950, Proc. K. Ned. Akad. Wet. 53; Sen 1968, J. Am. Stat. Assoc. 63:1379, from whom the interval is.
    """
    at = np.array([n for n, game in enumerate(games) if game.value.known], dtype=float)
    values = np.array([game.value.value for game in games if game.value.known])
    if len(values) < settings.fewest_games:
        return None
    slope, intercept, low, high = stats.theilslopes(values, at, alpha=settings.confidence)
    return TrendLine(Estimate(float(slope), float(low), float(high), len(values)), float(intercept))


def told(
    line: TrendLine | None,
    games: Sequence[TrendGame],
    unit: str,
    measure: str | None,
    per: Per,
    settings: ReportSettings,
) -> str:
    """What a line says, in a sentence."""
    known = sum(game.value.known for game in games)
    if line is None:
        return (
            f"{known} {'game' if known == 1 else 'games'} with a value: too few for a trend; a line is drawn from "
            f"{settings.fewest_games} games on."
        )
    ending = ENDINGS.get(unit, "") if measure else f" {per.value}"
    slope = line.slope
    if slope.low > 0 or slope.high < 0:
        way = "rises" if slope.value > 0 else "falls"
        return (
            f"It {way} by {abs(slope.value):.2f}{ending} from game to game "
            f"({slope.low:+.2f} to {slope.high:+.2f}), over {slope.count} games."
        )
    return (
        f"No trend can be told over {slope.count} games: from game to game anything from {slope.low:+.2f} to "
        f"{slope.high:+.2f}{ending} fits."
    )


def _meaning(measure: str | None, filters: Filters, settings: Settings) -> str:
    if measure is None:
        return ""
    known = {c.name: c for c in columns(settings, filters) if c.sort is Sort.NUMBER and c.kinds}
    if measure not in known:
        raise SearchError(f"No such measure of what is asked for: {unknown_word(measure, 'measure', known)}")
    return known[measure].meaning


def _counts(row: Mapping[str, Any], counted: Counted) -> bool:
    return row["family"] == Family.ACTION.value or row["state"] in counted.states


def _chooses_games(filters: Filters) -> bool:
    if not filters.where.strip():
        return False
    condition = read_condition(filters.where, source="the search", within=filters.written or None)
    return bool(ABOUT_GAMES & set(names_in(condition)))


def _games(
    library: Library,
    filters: Filters,
    rows: Sequence[Mapping[str, Any]],
    measure: str | None,
    per: Per,
    settings: ReportSettings,
    notes: list[str],
) -> tuple[TrendGame, ...]:
    own: dict[str, list[Mapping[str, Any]]] = {}
    for row in rows:
        own.setdefault(row["game"], []).append(row)
    found = []
    for game in library.games():
        about = _about(game, filters, notes)
        if about is None:
            continue
        date, opponent, sides = about
        possessions = _possessions(game, sides, filters.periods, notes)
        if possessions is None:
            continue
        here = own.get(game.name, [])
        column = measure if measure is None or not here or _is_number(here, measure) else f"{measure}_number"
        value = _value(here, column, per, possessions, settings, game.name)
        found.append(TrendGame(game.name, date, opponent, value, len(here), possessions))
    undated = [game.game for game in found if not game.date]
    if undated and len(undated) < len(found):
        notes.append(f"Games without a day in game.toml stand last: {', '.join(undated)}.")
    return tuple(sorted(found, key=lambda game: (game.date or "9", game.game)))


def _is_number(rows: Sequence[Mapping[str, Any]], name: str) -> bool:
    return not any(isinstance(row.get(name), str) for row in rows)


def _about(game: Game, filters: Filters, notes: list[str]) -> tuple[str, str, tuple[int, ...]] | None:
    """Day, opponent and teams of a game that is asked for."""
    if filters.games and game.name not in filters.games:
        return None
    try:
        told_of = game.file()
    except LibraryError as error:
        notes.append(f"Game '{game.name}' is left out. {error}")
        return None
    sides = team_sides((told_of.team_0.name, told_of.team_1.name), filters.teams)
    day = told_of.date
    outside = (filters.since and not day >= filters.since) or (filters.until and not (day and day <= filters.until))
    if not sides or outside:
        return None
    opponent = told_of.opponent
    if filters.teams and len(sides) == 1:
        opponent = (told_of.team_1.name if sides == (0,) else told_of.team_0.name) or opponent
    return day, opponent, sides


def _possessions(game: Game, sides: tuple[int, ...], periods: tuple[int, ...], notes: list[str]) -> int | None:
    """Possessions of the teams and periods asked for; None where they are unknown."""
    try:
        table = POSSESSIONS.read(game.tables)
        clock = CLOCK.read(game.tables) if periods else None
    except LibraryError as error:
        notes.append(f"Game '{game.name}' is left out. {error}")
        return None
    chosen = (
        table.filter(pa.array(np.isin(table["team"].fill_null(-1).to_numpy(), sides))) if sides != (0, 1) else table
    )
    if clock is None:
        return int(chosen.num_rows)
    period, _ = game_times(clock, chosen["start_s"].to_numpy())
    return int(np.isin(period, periods).sum())


def _value(
    rows: Sequence[Mapping[str, Any]],
    column: str | None,
    per: Per,
    possessions: int,
    settings: ReportSettings,
    game: str,
) -> Estimate:
    if column is not None:
        values = np.array([row[column] if row[column] is not None else np.nan for row in rows], dtype=float)
        return median(values, settings.confidence, settings.resamples, own_rng(settings.seed, column, game))
    if per is Per.GAME:
        return rate(len(rows), 1.0, settings.confidence)
    return rate(len(rows), float(possessions), settings.confidence, per=100.0)
