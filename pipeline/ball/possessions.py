"""Possessions: who attacked which ring, and when.

The rules, after the glossary: a possession begins when a team begins to control the ball and ends with its shot (when
the ball comes to the ring), with the other team's control, or when nobody of it held the ball for a while. What
follows a shot is a new possession, whoever takes the rebound. Free throws are no possession: the one of the foul
ended with the whistle, and the next begins with control after the last free throw. The half-court phase begins when
the ball is past half court with at least four attackers.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ball.settings import BallSettings, PossessionSettings, SideSettings
from pipeline.ball.sides import LEFT, RIGHT, UNKNOWN, attacking_teams, owners_of_rings
from pipeline.ball.tables import POSSESSIONS, TOUCHES
from pipeline.court.rule_books import RuleBook
from pipeline.players.tables import TRACKS


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of one team's holds; ``closed`` by a shot."""

    team: int
    start_s: float
    end_s: float
    held_s: float
    scores: tuple[float, ...] = field(default=())
    closed: bool = False

    def and_then(self, other: Spell) -> Spell:
        """Both as one."""
        held, scores = self.held_s + other.held_s, self.scores + other.scores
        return Spell(self.team, self.start_s, other.end_s, held, scores, other.closed)


@dataclass(frozen=True, slots=True, eq=False)
class Floor:
    """Players of one shot by moment: T times, N players."""

    times_s: np.ndarray  # (T,)
    names: np.ndarray  # (N,)
    teams: np.ndarray  # (N,)
    xy_ft: np.ndarray  # (T, N, 2), NaN where not known

    def moments(self, start_s: float, end_s: float) -> np.ndarray:
        """Indices of the times from start to end."""
        return np.flatnonzero((self.times_s >= start_s - 1e-6) & (self.times_s <= end_s + 1e-6))

    def side(self, time_s: float, book: RuleBook) -> int:
        """The half in which most players are at a time (or at the last known)."""
        if not len(self.times_s):
            return UNKNOWN
        x = self.xy_ft[min(int(np.searchsorted(self.times_s, time_s)), len(self.times_s) - 1), :, 0]
        x = x[np.isfinite(x)]
        if not len(x):
            return UNKNOWN
        return LEFT if float(np.median(x)) < book.length_ft / 2 else RIGHT

    def column(self, track: int | None) -> int | None:
        """Column of a track."""
        found = np.flatnonzero(self.names == track) if track is not None else np.zeros(0, int)
        return int(found[0]) if len(found) else None


def floor_of(tracks: pa.Table) -> Floor:
    """Players' places of one shot's tracks."""
    rows = tracks.filter(pc.and_(pc.equal(tracks["role"], "player"), tracks["x_ft"].is_valid()))
    times, moment = np.unique(rows["t_s"].to_numpy(), return_inverse=True)
    names, column = np.unique(rows["track"].to_numpy(), return_inverse=True)
    xy = np.full((len(times), len(names), 2), np.nan)
    xy[moment, column, 0], xy[moment, column, 1] = rows["x_ft"].to_numpy(), rows["y_ft"].to_numpy()
    teams = np.full(len(names), -1)
    teams[column] = rows["team"].to_numpy()
    return Floor(times, names, teams, xy)


def possessions(
    touch_table: pa.Table, tracks: pa.Table, book: RuleBook, settings: BallSettings | None = None
) -> pa.Table:
    """The ``possessions`` table; see the module for the rules.

    Which team each hold belongs to is decided for all holds between two shots together: by the holders' teams and by
    where play goes, since a team attacks the same ring for half the game. One misread holder does not part a
    possession. A team that held for less than ``least_control_s`` in all has not taken possession, and a rebound with
    which nothing follows for ``rebound_s`` is none yet.
    """
    rules = settings or BallSettings()
    touch_table, tracks = TOUCHES.check(touch_table), TRACKS.check(tracks)
    shots = sorted(set(touch_table["shot"].to_pylist()))
    rows = {n: touch_table.filter(pc.equal(touch_table["shot"], n)).sort_by("start_s").to_pylist() for n in shots}
    floors = {n: floor_of(tracks.filter(pc.equal(tracks["shot"], n))) for n in shots}
    holds = [_Hold.of(row, floors[n], book, rules.sides) for n in shots for row in rows[n] if row["kind"] == "hold"]
    attackers = attacking_teams(
        np.array([h.start_s for h in holds]),
        np.array([h.side for h in holds], dtype=np.int64),
        np.array([h.team for h in holds], dtype=np.int64),
        np.array([h.end_s - h.start_s for h in holds]),
        rules.sides,
    )
    holds = [replace(h, attacker=int(a)) for h, a in zip(holds, attackers, strict=True)]
    result: list[dict[str, Any]] = []
    for shot in shots:
        own = [h for h in holds if h.shot == shot]
        spells = _spells(rows[shot], own, floors[shot], book, rules)
        # before a cut, a rebound and nothing after it means that play was stopped; at the end of the film it need not
        for spell in _settled(spells, rules.possessions, rules.possessions.rebound_s if shot != shots[-1] else 0.0):
            end, sure = attacked_end(floors[shot], spell.start_s, spell.end_s, book)
            voted = owners_of_rings(np.array([h.side for h in own]), np.array([h.attacker for h in own]))
            if spell.team in voted:
                told = ("left", "right")[voted.index(spell.team)]
                end, sure = told, sure if told == end else 1 - sure
            if end is None:
                continue
            result.append(
                {
                    "possession": len(result),
                    "shot": shot,
                    "team": spell.team,
                    "attacked_end": end,
                    "start_s": spell.start_s,
                    "end_s": spell.end_s,
                    "half_court_s": half_court_start(rows[shot], floors[shot], spell, end, book, rules.possessions),
                    "score": float(np.mean(spell.scores)) * sure,
                }
            )
    return POSSESSIONS.from_rows(result)


@dataclass(frozen=True, slots=True)
class _Hold:
    """A hold with where play goes after it."""

    shot: int
    start_s: float
    end_s: float
    track: int
    team: int
    side: int
    score: float
    attacker: int = -1

    @classmethod
    def of(cls, row: dict[str, Any], floor: Floor, book: RuleBook, settings: SideSettings) -> _Hold:
        side = floor.side(0.5 * (row["start_s"] + row["end_s"]) + settings.ahead_s, book)
        return cls(row["shot"], row["start_s"], row["end_s"], row["track"], row["team"], side, row["score"])

    def against(self, team: int, open_until_s: float) -> float:
        """How much speaks against the hold being this team's, in seconds."""
        lasts = min(self.end_s - self.start_s, 3.0)
        other = lasts if self.team >= 0 and self.team != team else 0.0
        side = self.end_s > open_until_s and self.attacker >= 0 and self.attacker != team
        return other + (min(lasts, self.end_s - open_until_s) if side else 0.0)


@dataclass(frozen=True, slots=True)
class _After:
    """The shot before some holds: whose it was, until when either team may have the ball, and if it was free."""

    team: int = -1
    open_until_s: float = -np.inf
    free: bool = False


def _teams_of(holds: list[_Hold], after: _After, rules: PossessionSettings) -> list[int]:
    """The team of each hold between two shots, by dynamic programming; a change of team costs ``turnover_s``."""
    best = np.array([rules.same_team_s if after.team == team else 0.0 for team in (0, 1)])
    came = np.zeros((len(holds), 2), dtype=np.int64)
    for number, hold in enumerate(holds):
        if number:
            change = best[::-1] + rules.turnover_s
            came[number] = np.where(change < best, [1, 0], [0, 1])
            best = np.minimum(best, change)
        best = best + np.array([hold.against(team, after.open_until_s) for team in (0, 1)])
    teams = [int(best.argmin())] if holds else []
    for number in range(len(holds) - 1, 0, -1):
        teams.append(int(came[number, teams[-1]]))
    return teams[::-1]


def _spells(
    rows: list[dict[str, Any]], holds: list[_Hold], floor: Floor, book: RuleBook, rules: BallSettings
) -> list[Spell]:
    """Stretches of one team's holds up to their shots, without free throws."""
    spells: list[Spell] = []
    limits = rules.possessions
    waiting = [h for h in holds if h.team >= 0]
    after = _After()
    shots = [r for r in rows if r["kind"] == "shot"]
    for shot in [*shots, None]:
        until = np.inf if shot is None else shot["start_s"] + 1e-6
        part = [h for h in waiting if h.start_s < until]
        waiting = waiting[len(part) :]
        free = shot is not None and is_free_throw(floor, shot["track"], shot["start_s"], book, limits)
        if shot is not None and free:
            # what came before the shooter had the ball may have been play; lining up was none
            while part and part[-1].track == shot["track"]:
                part.pop()
            lining_up = shot["start_s"] - limits.lining_up_s
            played = [] if after.free else _joined(part, after, limits)  # nobody plays between two free throws
            found = [s for s in played if s.end_s < lining_up or s.held_s >= limits.rebound_s]
            if found:
                found[-1] = replace(found[-1], closed=True)
            elif spells:
                spells[-1] = replace(spells[-1], closed=True)
        else:
            found = _joined(part, after, limits)
            if shot is not None and found:
                found[-1] = replace(found[-1], end_s=shot["end_s"], closed=True)
        spells.extend(found)
        if shot is not None:
            team = found[-1].team if found and not free else int(shot["team"])
            after = _After(team, shot["end_s"] + rules.sides.open_s, free)
    return spells


def _joined(holds: list[_Hold], after: _After, rules: PossessionSettings) -> list[Spell]:
    """Holds between two shots as spells of one team each."""
    spells: list[Spell] = []
    for hold, team in zip(holds, _teams_of(holds, after, rules), strict=True):
        new = Spell(team, hold.start_s, hold.end_s, hold.end_s - hold.start_s, (hold.score,))
        if spells and spells[-1].team == team and new.start_s - spells[-1].end_s <= rules.longest_pause_s:
            spells[-1] = spells[-1].and_then(new)
        else:
            spells.append(new)
    return spells


def _settled(spells: list[Spell], rules: PossessionSettings, rebound_s: float) -> list[Spell]:
    """Leave out spells of too little control, and a last one after a shot of less than ``rebound_s``."""
    kept: list[Spell] = []
    for number, spell in enumerate(spells):
        last = number == len(spells) - 1
        after_shot = number > 0 and (spells[number - 1].closed or not kept)
        least = max(rebound_s, rules.least_control_s) if last and after_shot else rules.least_control_s
        short = spell.held_s < least
        if short and not spell.closed:
            continue
        kept.append(spell)
    return kept


def is_free_throw(floor: Floor, track: int | None, release_s: float, book: RuleBook, rules: PossessionSettings) -> bool:
    """Whether a shot is a free throw: the shooter stands at the line, alone, and nobody is in the lane.

    NBA Rule No. 9, FIBA Article 43, NCAA Rule 9: until the ball leaves the shooter's hands nobody else may be in the
    lane. Distances allow for errors of place.
    """
    column, moments = floor.column(track), floor.moments(release_s - rules.free_throw_s, release_s)
    if column is None or len(moments) < 3:
        return False
    own = floor.xy_ft[moments, column]
    if not np.isfinite(own).any():
        return False
    line = book.lane_length_ft - book.ring_to_baseline_ft
    left = float(np.nanmean(own[:, 0])) < book.length_ft / 2
    ring_x = book.ring_to_baseline_ft if left else book.length_ft - book.ring_to_baseline_ft
    uv = np.stack([(floor.xy_ft[moments, :, 0] - ring_x) * (1 if left else -1), floor.xy_ft[moments, :, 1]], -1)
    uv[..., 1] -= book.width_ft / 2
    place = np.nanmean(uv[:, column], axis=0)
    near = abs(place[0] - line - 1.0) <= rules.at_line_ft and abs(place[1]) <= rules.at_line_ft
    moved = np.nanmax(np.ptp(uv[:, column][np.isfinite(own[:, 0])], axis=0))
    others = np.delete(np.arange(len(floor.names)), column)
    with np.errstate(invalid="ignore"):
        lane = (np.abs(uv[:, others, 1]) < book.lane_width_ft / 2 - rules.lane_margin_ft) & (
            uv[:, others, 0] < line - rules.lane_margin_ft
        )
        lane &= uv[:, others, 0] > -book.ring_to_baseline_ft
        away = np.linalg.norm(uv[:, others] - uv[:, [column]], axis=-1)
        crowd = np.mean(lane.sum(axis=1))
        alone = np.mean((away < rules.alone_ft).any(axis=1)) < 0.5
    return bool(near and moved <= rules.at_line_ft and alone and crowd < 0.5)


def half_court_start(
    rows: list[dict[str, Any]], floor: Floor, spell: Spell, end: str, book: RuleBook, rules: PossessionSettings
) -> float | None:
    """When the ball was first past half court with at least ``settled`` attackers; None if never or not known."""
    moments = floor.moments(spell.start_s, spell.end_s)
    x = floor.xy_ft[moments, :, 0]
    with np.errstate(invalid="ignore"):
        past = x < book.length_ft / 2 if end == "left" else x > book.length_ft / 2
    enough = past[:, floor.teams == spell.team].sum(axis=1) >= rules.settled
    handled = np.zeros(len(moments), dtype=bool)
    for row in rows:
        column = floor.column(row["track"])
        if row["kind"] != "hold" or column is None:
            continue
        times = floor.times_s[moments]
        during = (times >= row["start_s"]) & (times <= row["end_s"])
        handled[during] = past[during, column]
    found = np.flatnonzero(enough & handled)
    return float(floor.times_s[moments[found[0]]]) if len(found) else None


def attacked_end(floor: Floor, start_s: float, end_s: float, book: RuleBook) -> tuple[str | None, float]:
    """The ring under attack and how many of the players' places agree (0.5..1); None where no player is known."""
    middle = start_s + 0.5 * (end_s - start_s)
    for since in (middle, start_s):
        x = floor.xy_ft[floor.moments(since, end_s), :, 0]
        x = x[np.isfinite(x)]
        if len(x):
            left = float(np.mean(x < book.length_ft / 2))
            return ("left", left) if left >= 0.5 else ("right", 1 - left)
    return None, 0.0
