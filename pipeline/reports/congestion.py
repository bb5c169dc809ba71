"""How many bodies stand in the paint when the corner is turned off a ball screen: by sort of screen and by unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.actions.events import Event, events_from_table
from pipeline.actions.tables import ACTIONS
from pipeline.actions.vocabulary import KIND, UNKNOWN
from pipeline.ball.tables import POSSESSIONS
from pipeline.errors import LibraryError
from pipeline.film.clock import game_times
from pipeline.film.tables import CLOCK
from pipeline.library.games import Game, Library
from pipeline.library.rosters import Rosters, called, jersey_of
from pipeline.players.tables import TRACKS
from pipeline.reports.intervals import Estimate, mean, share
from pipeline.reports.points import own_rng
from pipeline.reports.settings import ReportSettings
from pipeline.reports.sides import Side, must_have_games, team_sides
from pipeline.settings import Settings
from pipeline.spacing.tables import SPACING

ON_FLOOR_S = 1.0
"""Who was on the floor is taken from this long around the moment."""

FIVE = 5
UNKNOWN_UNIT = "five not known"
COUNTED = ("shot", "t_s", "paint_attack", "paint_defence", "paint_unknown")
FLOOR = ("shot", "t_s", "track", "role", "team", "jersey")
"""Columns of the spacing and of the tracks that the report reads."""

SORTS = ("side", "sent", "coverage")
"""Traits of a ball screen that the report goes by."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One corner turned off a ball screen.

    Attributes
    ----------
    game : str
    t_s : float
    team : str
        The attackers; empty where unknown.
    bodies : int
        Others of both teams with a foot in the paint.
    attackers, defenders : int
        Of them; bodies whose team is not known are in neither.
    traits : mapping of str to str
        Of the screen: side, sent, coverage; ``"unknown"`` where it could not be told.
    unit : str
        The five attackers, by name or number; ``UNKNOWN_UNIT`` unless all five are known.
    """

    game: str
    t_s: float
    team: str
    bodies: int
    attackers: int
    defenders: int
    traits: Mapping[str, str]
    unit: str


@dataclass(frozen=True, slots=True)
class Row:
    """Turns of one sort: their number, the mean of the bodies, the share that was crowded."""

    name: str
    turns: int
    bodies: Estimate
    attackers: float
    crowded: Estimate


@dataclass(frozen=True, slots=True)
class Congestion:
    """A congestion report.

    Attributes
    ----------
    side : Side
    crowded_from : int
        Bodies that count as crowded.
    turns : tuple of Turn
    overall : Row
    sorts : tuple of (trait, meaning, rows)
        Rows by each trait of the screen, in order of the vocabulary, unknown last.
    units : tuple of Row
        By unit, the most frequent first; small ones together, unknown last.
    uncounted : int
        Corners at whose moment nobody was counted in the paint.
    games : int
        Games that were read.
    left_out : tuple of str
    """

    side: Side
    crowded_from: int
    turns: tuple[Turn, ...]
    overall: Row
    sorts: tuple[tuple[str, str, tuple[Row, ...]], ...]
    units: tuple[Row, ...]
    uncounted: int
    games: int
    left_out: tuple[str, ...]


def congestion(library: Library, one: Side, settings: Settings) -> Congestion:
    """The congestion report of a part of a library; labels and conditions of the side do not apply to it."""
    turns: list[Turn] = []
    left_out: list[str] = []
    uncounted = games = 0
    for game in must_have_games(library).games():
        try:
            read = _turns_of(game, one, settings.spacing.around_s)
        except LibraryError as error:
            left_out.append(f"Game '{game.name}' is left out. {error}")
            continue
        if read is None:
            continue
        games += 1
        turns += read[0]
        uncounted += read[1]
    if one.filters.where.strip() or one.filters.labels:
        left_out.append(
            "Conditions and labels are of tags; a congestion report counts every ball screen and leaves them out."
        )
    return sum_up(turns, one, settings.reports, uncounted, games, tuple(left_out))


def sum_up(
    turns: Sequence[Turn], one: Side, settings: ReportSettings, uncounted: int, games: int, left_out: tuple[str, ...]
) -> Congestion:
    """The report of turns that were read."""
    sorts = []
    for trait in KIND["on_ball_screen"].traits:
        if trait.name in SORTS:
            values = (*trait.values, UNKNOWN)
            rows = [_row(v, [t for t in turns if t.traits.get(trait.name, UNKNOWN) == v], settings) for v in values]
            sorts.append((trait.name, trait.meaning, tuple(row for row in rows if row.turns)))
    return Congestion(
        one,
        settings.crowded_from,
        tuple(turns),
        _row("all", turns, settings),
        tuple(sorts),
        _units(turns, settings),
        uncounted,
        games,
        left_out,
    )


def _row(name: str, turns: Sequence[Turn], settings: ReportSettings) -> Row:
    bodies = np.array([turn.bodies for turn in turns], dtype=float)
    crowded = int((bodies >= settings.crowded_from).sum())
    attackers = float(np.mean([turn.attackers for turn in turns])) if turns else float("nan")
    estimate = mean(bodies, settings.confidence, settings.resamples, own_rng(settings.seed, "bodies", name))
    return Row(name, len(turns), estimate, attackers, share(crowded, len(turns), settings.confidence))


def _units(turns: Sequence[Turn], settings: ReportSettings) -> tuple[Row, ...]:
    by_unit: dict[tuple[str, str], list[Turn]] = {}
    for turn in turns:
        by_unit.setdefault((turn.team, turn.unit), []).append(turn)
    named = {key: own for key, own in by_unit.items() if key[1] != UNKNOWN_UNIT}
    large = {key: own for key, own in named.items() if len(own) >= settings.fewest_turns}
    rows = [
        _row(f"{team}: {unit}" if team else unit, own, settings)
        for (team, unit), own in sorted(large.items(), key=lambda pair: (-len(pair[1]), pair[0]))
    ]
    small = [turn for key, own in named.items() if key not in large for turn in own]
    if small:
        count = len(named) - len(large)
        rows.append(_row(f"{count} other {'unit' if count == 1 else 'units'}, each seldom", small, settings))
    unknown = [turn for key, own in by_unit.items() if key[1] == UNKNOWN_UNIT for turn in own]
    if unknown:
        rows.append(_row(UNKNOWN_UNIT, unknown, settings))
    return tuple(rows)


def _turns_of(game: Game, one: Side, around_s: float) -> tuple[list[Turn], int] | None:
    """Corners turned in a game, and how many could not be counted; None where the game is not asked for."""
    filters = one.filters
    if filters.games and game.name not in filters.games:
        return None
    told = game.file()
    names = (told.team_0.name, told.team_1.name)
    sides = team_sides(names, filters.teams)
    day = told.date
    if (
        not sides
        or (filters.since and not day >= filters.since)
        or (filters.until and not (day and day <= filters.until))
    ):
        return None
    actions = ACTIONS.read(game.tables)
    events = events_from_table(actions.filter(pc.is_in(actions["kind"], pa.array(["corner_turned", "on_ball_screen"]))))
    possessions = POSSESSIONS.read(game.tables)
    teams = dict(zip(possessions["possession"].to_pylist(), possessions["team"].to_pylist(), strict=True))
    corners = [e for e in events if e.kind == "corner_turned" and teams.get(e.possession, -1) in (*sides, -1, None)]
    if filters.teams:
        corners = [e for e in corners if teams.get(e.possession) in sides]
    if filters.periods:
        period, _ = game_times(CLOCK.read(game.tables), np.array([e.t_s for e in corners]))
        corners = [e for e, p in zip(corners, period.tolist(), strict=True) if p in filters.periods]
    if not corners:
        return [], 0
    screens = {_key(e, e.t_s): e for e in events if e.kind == "on_ball_screen"}
    count = _counter(SPACING.read(game.tables, COUNTED), around_s)
    five = _fives(TRACKS.read(game.tables, FLOOR), {0: told.team_0.roster, 1: told.team_1.roster})
    found = []
    for corner in corners:
        counted = count(corner)
        if counted is None:
            continue
        screen = screens.get(_key(corner, corner.start_s))
        traits = {} if screen is None else dict(screen.traits)
        team = teams.get(corner.possession)
        found.append(
            Turn(
                game.name,
                corner.t_s,
                names[team] if team in (0, 1) else "",
                *counted,
                {name: traits.get(name, UNKNOWN) for name in SORTS},
                five(corner, team) if team in (0, 1) else UNKNOWN_UNIT,
            )
        )
    return found, len(corners) - len(found)


def _key(event: Event, screen_s: float) -> tuple[int, tuple[int, ...], float]:
    """What a corner and its screen share: shot, handler and screener, the moment of the screen."""
    return event.shot, tuple(track for _, track in event.actors[:2]), round(screen_s, 4)


def _counter(spacing: pa.Table, around_s: float) -> Callable[[Event], tuple[int, int, int] | None]:
    """Counts the others in the paint about a moment, as the fault of crowded paint does: the least number within half
    of ``around_s``; None where nobody was counted then."""
    shot, t_s = spacing["shot"].to_numpy(), spacing["t_s"].to_numpy()
    attack, defence, unknown = (
        pc.fill_null(spacing[f"paint_{name}"], 0).to_numpy() for name in ("attack", "defence", "unknown")
    )
    bodies = attack + defence + unknown

    def count(event: Event) -> tuple[int, int, int] | None:
        near = np.flatnonzero((shot == event.shot) & (np.abs(t_s - event.t_s) <= around_s / 2 + 1e-6))
        if not len(near):
            return None
        at = near[np.argmin(np.abs(t_s[near] - event.t_s))]
        return int(bodies[near].min()), int(attack[at]), int(defence[at])

    return count


def _fives(tracks: pa.Table, rosters: Rosters) -> Callable[[Event, int], str]:
    """Who attacked about a moment, by name or number where all five are known."""
    jerseys = jersey_of(tracks)
    players = tracks.filter(pc.equal(tracks["role"], "player"))
    order = np.argsort(players["t_s"].to_numpy(), kind="stable")
    shot, t_s, team, track = (players[name].to_numpy()[order] for name in ("shot", "t_s", "team", "track"))

    def five(event: Event, attackers: int) -> str:
        near = slice(*np.searchsorted(t_s, [event.t_s - ON_FLOOR_S / 2, event.t_s + ON_FLOOR_S / 2]))
        own = np.unique(track[near][(shot[near] == event.shot) & (team[near] == attackers)]).tolist()
        numbers = {jerseys[one][1] for one in own if one in jerseys}
        if len(own) != FIVE or len(numbers) != FIVE:
            return UNKNOWN_UNIT
        said = [called(0, {0: (attackers, number)}, rosters) for number in sorted(numbers, key=lambda n: (int(n), n))]
        return ", ".join((name or UNKNOWN).removeprefix("number ") for name in said)

    return five
