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

from pipeline.ball.settings import BallSettings, PossessionSettings
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

    A team that held for less than ``least_control_s`` before the other had it again has deflected the ball, not taken
    it; a rebound with which nothing follows for ``rebound_s`` is no possession yet. The attacked ring is the one in
    whose half most players stand in the second half of the possession: play settles where the attack goes.
    """
    rules = (settings or BallSettings()).possessions
    touch_table, tracks = TOUCHES.check(touch_table), TRACKS.check(tracks)
    result: list[dict[str, Any]] = []
    for shot in sorted(set(touch_table["shot"].to_pylist())):
        rows = touch_table.filter(pc.equal(touch_table["shot"], shot)).sort_by("start_s").to_pylist()
        floor = floor_of(tracks.filter(pc.equal(tracks["shot"], shot)))
        for spell in _settled(_spells(rows, floor, book, rules), rules):
            end, sure = attacked_end(floor, spell.start_s, spell.end_s, book)
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
                    "half_court_s": half_court_start(rows, floor, spell, end, book, rules),
                    "score": float(np.mean(spell.scores)) * sure,
                }
            )
    return POSSESSIONS.from_rows(result)


def _spells(rows: list[dict[str, Any]], floor: Floor, book: RuleBook, rules: PossessionSettings) -> list[Spell]:
    """Stretches of one team's holds up to their shots, without free throws."""
    spells: list[Spell] = []
    hold: dict[str, Any] | None = None
    before_hold: Spell | None = None
    for row in rows:
        last = spells[-1] if spells else None
        if row["kind"] == "shot" and last is not None and last.team == row["team"]:
            if hold is not None and is_free_throw(floor, row["track"], row["start_s"], book, rules):
                # what came before the shooter had the ball may have been play; lining up was none
                spells.pop()
                if before_hold is not None and not before_hold.closed and before_hold.held_s >= rules.rebound_s:
                    spells.append(replace(before_hold, closed=True))
            else:
                spells[-1] = replace(last, end_s=row["end_s"], closed=True)
            continue
        if row["kind"] != "hold" or row["team"] < 0:
            continue
        new = Spell(row["team"], row["start_s"], row["end_s"], row["end_s"] - row["start_s"], (row["score"],))
        if hold is None or hold["track"] != row["track"]:
            before_hold = last if last is not None and last.team == new.team else None
        hold = row
        if last is not None and not last.closed and _goes_on(last, new, rules):
            spells[-1] = last.and_then(new)
        else:
            spells.append(new)
    return spells


def _goes_on(last: Spell, new: Spell, rules: PossessionSettings) -> bool:
    return last.team == new.team and new.start_s - last.end_s <= rules.longest_pause_s


def _settled(spells: list[Spell], rules: PossessionSettings) -> list[Spell]:
    """Leave out spells of too little control, and join what they parted."""
    kept: list[Spell] = []
    for number, spell in enumerate(spells):
        before = kept[-1] if kept else None
        after = spells[number + 1] if number + 1 < len(spells) else None
        if not spell.closed:
            parts = before is not None and not before.closed and after is not None and before.team == after.team
            if parts and before is not None and before.team != spell.team and spell.held_s < rules.least_control_s:
                continue
            goes_on = after is not None and after.team == spell.team
            if (before is None or before.closed) and number and not goes_on and spell.held_s < rules.rebound_s:
                continue
        if before is not None and not before.closed and _goes_on(before, spell, rules):
            kept[-1] = before.and_then(spell)
        else:
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
