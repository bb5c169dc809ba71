"""Views cut out of the tables, one per possession."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.actions.ball_story import BallStory, Touch, ball_story
from pipeline.actions.coinciding import coinciding
from pipeline.actions.even_time import even_places, even_times
from pipeline.actions.guards import NOBODY, guards
from pipeline.actions.settings import ActionSettings, ViewSettings
from pipeline.actions.view import PossessionView
from pipeline.court.attack_frame import to_attack
from pipeline.court.geometry import End
from pipeline.court.rule_books import RuleBook


def possession_views(
    tracks: pa.Table,
    ball: pa.Table,
    touches: pa.Table,
    possessions: pa.Table,
    book: RuleBook,
    settings: ActionSettings,
) -> tuple[PossessionView, ...]:
    """Cut the tables into one view per possession.

    Parameters
    ----------
    tracks, ball, touches, possessions : pa.Table
        As declared in ``players/tables.py`` and ``ball/tables.py``. ``ball`` may be empty.
    book : RuleBook
        Dimensions of the court that the tables' feet are on.

    Returns
    -------
    tuple of PossessionView
        In order of the ``possessions`` table; possessions without a single tracked player are left out.
    """
    return tuple(each_view(tracks, ball, touches, possessions, book, settings))


def each_view(
    tracks: pa.Table,
    ball: pa.Table,
    touches: pa.Table,
    possessions: pa.Table,
    book: RuleBook,
    settings: ActionSettings,
) -> Iterator[PossessionView]:
    """As :func:`possession_views`, one by one, so that a season never lies in memory at once."""
    rows = [r for r in possessions.sort_by("start_s").to_pylist() if r["attacked_end"] in ("left", "right")]
    if not rows or not tracks.num_rows:
        return
    floor, flight = _Samples.of_tracks(tracks), _Samples.of_ball(ball)
    told: dict[int, list[dict[str, Any]]] = {}
    for touch in touches.sort_by("start_s").to_pylist():
        told.setdefault(touch["shot"], []).append(touch)
    for row in rows:
        view = _view(row, floor, flight, told.get(row["shot"], []), book, settings)
        if view is not None:
            yield view


@dataclass(frozen=True, slots=True, eq=False)
class _Samples:
    """Columns of a table in order of shot and time."""

    shot: np.ndarray
    t_s: np.ndarray
    columns: dict[str, np.ndarray]

    @classmethod
    def of_tracks(cls, tracks: pa.Table) -> _Samples:
        rows = tracks.filter((pc.field("role") == "player") & pc.field("x_ft").is_valid())
        return cls._of(rows, ("frame", "track", "team", "x_ft", "y_ft", "sigma_ft", "observed"))

    @classmethod
    def of_ball(cls, ball: pa.Table) -> _Samples:
        return cls._of(ball.filter(pc.field("x_ft").is_valid()), ("x_ft", "y_ft", "z_ft", "observed", "score"))

    @classmethod
    def _of(cls, rows: pa.Table, names: tuple[str, ...]) -> _Samples:
        shot, t = (rows[name].to_numpy(zero_copy_only=False) for name in ("shot", "t_s"))
        order = np.lexsort((t, shot))
        columns = {name: rows[name].to_numpy(zero_copy_only=False)[order] for name in names}
        return cls(shot[order], t[order], columns)

    def between(self, shot: int, start_s: float, end_s: float) -> slice:
        first, last = np.searchsorted(self.shot, [shot, shot + 1])
        a, b = np.searchsorted(self.t_s[first:last], [start_s - 1e-6, end_s + 1e-6])
        return slice(int(first + a), int(first + b))


def _view(
    row: dict[str, Any],
    floor: _Samples,
    flight: _Samples,
    told: list[dict[str, Any]],
    book: RuleBook,
    settings: ActionSettings,
) -> PossessionView | None:
    end: End = row["attacked_end"]
    rules = settings.view
    first_s = row["start_s"] - rules.around_s
    taken = [r["end_s"] for r in told if r["kind"] == "rebound" and abs(r["start_s"] - row["end_s"]) <= rules.around_s]
    last_s = max([row["end_s"] + rules.after_s, *(min(t, row["end_s"] + rules.rebound_s) for t in taken)])
    # samples a little outside, so that the edges have neighbours on both sides
    span = floor.between(row["shot"], first_s - rules.bridge_s, last_s + rules.bridge_s)
    times, moment = np.unique(floor.t_s[span], return_inverse=True)
    if not len(times) or times[-1] < first_s - 1e-6 or times[0] > last_s + 1e-6:
        return None
    names, column = np.unique(floor.columns["track"][span], return_inverse=True)
    grid = even_times(max(first_s, times[0]), min(last_s, times[-1]), rules.step_s)
    teams = _teams(floor.columns["team"][span], column, len(names))

    xy = np.full((len(times), len(names), 2), np.nan)
    xy[moment, column, 0] = floor.columns["x_ft"][span]
    xy[moment, column, 1] = floor.columns["y_ft"][span]
    uv = to_attack(xy.reshape(-1, 2), book, end).reshape(xy.shape)
    even = even_places(times, uv, grid, smooth_s=rules.smooth_s, bridge_s=rules.bridge_s)
    keep = np.isfinite(even.place_ft[..., 0]).any(axis=0)
    if not keep.any():
        return None
    nearest = _nearest(times, grid)
    sigma = np.full(xy.shape[:2], np.nan)
    sigma[moment, column] = floor.columns["sigma_ft"][span].astype(float)
    observed = np.zeros(xy.shape[:2], bool)
    observed[moment, column] = floor.columns["observed"][span].astype(bool)
    frame = np.zeros(len(times), np.int64)
    frame[moment] = floor.columns["frame"][span]
    names, teams, uv = names[keep], teams[keep], even.place_ft[:, keep]
    gap_s = even.gap_s[:, keep]
    ball, seen, height = _ball(row["shot"], flight, grid, book, end, rules)

    attacks = teams == row["team"]
    columns = {int(name): n for n, name in enumerate(names)}
    story = _story(row, told, columns, frozenset(int(n) for n in names[attacks]), settings)
    story = replace(story, touches=_without_swaps(story.touches, grid, uv, settings))
    handler = _handlers(grid, story)
    held = np.flatnonzero(handler != NOBODY)
    ball[held] = np.where(np.isfinite(ball[held]), ball[held], uv[held, handler[held]])
    velocity = even.velocity_ft_s[:, keep]
    gap = np.hypot(uv[:, :, None, 0] - uv[:, None, :, 0], uv[:, :, None, 1] - uv[:, None, :, 1])
    merged = coinciding(gap, rules.step_s, rules)
    blurred = merged.any(axis=2)
    unsure = _sigma(times, sigma[:, keep], grid, gap_s, rules)
    settled = row.get("half_court_s")
    return PossessionView(
        possession=row["possession"],
        shot=row["shot"],
        team=row["team"],
        end=end,
        book=book,
        start_s=float(row["start_s"]),
        end_s=float(row["end_s"]),
        half_court_s=_half_court_s(grid, uv, attacks, handler, book) if settled is None else float(settled),
        t_s=grid,
        frame=frame[nearest],
        tracks=names,
        teams=teams,
        uv_ft=uv,
        velocity_ft_s=velocity,
        speed_ft_s=np.hypot(velocity[..., 0], velocity[..., 1]),
        ring_ft=np.hypot(uv[..., 0], uv[..., 1]),
        gap_ft=np.where(merged, np.nan, gap),
        sigma_ft=np.where(blurred, np.fmax(unsure, rules.merged_sigma_ft), unsure),
        observed=_seen(times, observed[:, keep], grid, gap_s, rules) & ~blurred,
        guard=guards(grid, uv, attacks, (teams >= 0) & ~attacks, ball, settings.guards),
        handler=handler,
        ball_uv_ft=ball,
        ball_side=_ball_side(ball, rules.side_v_ft),
        ball_seen=seen,
        ball_z_ft=np.where(height.gap_s <= rules.height_s, height.z_ft, np.nan),
        dribble=_dribble(grid, story, height.gap_s <= rules.steady_s),
        story=story,
    )


def _teams(team: np.ndarray, column: np.ndarray, count: int) -> np.ndarray:
    """The team that each track was mostly given, (N,); of equal shares the known one."""
    votes = np.zeros((count, 3))
    np.add.at(votes, (column, np.clip(team.astype(int), -1, 1)), 1)
    best = votes[:, [0, 1, 2]].argmax(axis=1)
    return np.where(best == 2, -1, best)


def _nearest(times: np.ndarray, grid: np.ndarray) -> np.ndarray:
    after = np.clip(np.searchsorted(times, grid), 0, len(times) - 1)
    before = np.maximum(after - 1, 0)
    return np.where(np.abs(times[before] - grid) <= np.abs(times[after] - grid), before, after)


def _sigma(
    times: np.ndarray, sigma: np.ndarray, grid: np.ndarray, gap_s: np.ndarray, rules: ViewSettings
) -> np.ndarray:
    """Uncertainty at the grid's times; it grows inside a bridged gap as a player may leave the straight line."""
    found = np.full(gap_s.shape, np.nan)
    for n in range(sigma.shape[1]):
        known = np.isfinite(sigma[:, n])
        if known.any():
            found[:, n] = np.interp(grid, times[known], sigma[known, n])
    strayed = rules.strays_ft_s * np.maximum(gap_s - rules.steady_s, 0.0)
    return np.where(np.isfinite(gap_s), np.hypot(found, strayed), np.nan)


def _seen(
    times: np.ndarray, observed: np.ndarray, grid: np.ndarray, gap_s: np.ndarray, rules: ViewSettings
) -> np.ndarray:
    """Observed at a time: in most of the samples around it, and those near each other."""
    share = np.stack([np.interp(grid, times, observed[:, n].astype(float)) for n in range(observed.shape[1])], axis=1)
    return (share >= 0.5) & (np.nan_to_num(gap_s, nan=np.inf) <= rules.steady_s + 1e-9)


@dataclass(frozen=True, slots=True, eq=False)
class _Height:
    """The ball's height at the sighting nearest to each time, and how far in time that is; (T,) each."""

    z_ft: np.ndarray
    gap_s: np.ndarray


def _ball(
    shot: int, flight: _Samples, grid: np.ndarray, book: RuleBook, end: End, rules: ViewSettings
) -> tuple[np.ndarray, np.ndarray, _Height]:
    """Floor point under the ball (T, 2), whether it was surely seen near each time (T,), and its height there."""
    unseen = _Height(np.full(len(grid), np.nan), np.full(len(grid), np.inf))
    span = flight.between(shot, grid[0] - rules.bridge_s, grid[-1] + rules.bridge_s)
    times, first = np.unique(flight.t_s[span], return_index=True)
    if not len(times):
        return np.full((len(grid), 2), np.nan), np.zeros(len(grid), bool), unseen
    xy = np.column_stack([flight.columns[name][span][first] for name in ("x_ft", "y_ft")]).astype(float)
    uv = to_attack(xy, book, end)[:, None]
    place = even_places(times, uv, grid, smooth_s=rules.smooth_s, bridge_s=rules.bridge_s).place_ft[:, 0]
    height = flight.columns["z_ft"][span][first].astype(float)
    sure = flight.columns["observed"][span][first].astype(bool)
    sure &= flight.columns["score"][span][first].astype(float) >= rules.ball_score
    seen = np.zeros(len(grid), bool)
    if sure.any():
        seen = np.abs(times[sure][_nearest(times[sure], grid)] - grid) <= rules.steady_s
    watched = np.flatnonzero(np.isfinite(height) & sure)
    if not len(watched):
        return place, seen, unseen
    near = watched[_nearest(times[watched], grid)]
    return place, seen, _Height(height[near], np.abs(times[near] - grid))


def _story(
    row: dict[str, Any],
    told: list[dict[str, Any]],
    columns: dict[int, int],
    attackers: frozenset[int],
    settings: ActionSettings,
) -> BallStory:
    first_s, last_s = row["start_s"] - settings.view.around_s, row["end_s"] + settings.view.turnover_s
    inside = [r for r in told if r["end_s"] >= first_s and r["start_s"] <= last_s]
    return ball_story(inside, columns, attackers, settings.hold_gap_s)


def _without_swaps(
    touches: tuple[Touch, ...], grid: np.ndarray, uv: np.ndarray, settings: ActionSettings
) -> tuple[Touch, ...]:
    """Touches without those that film gives to a teammate who only stood beside the handler.

    A doubtful hold between two of one other man, both near each other all the while and the ball never in the air, is
    his: two men at a screen hide the ball from the camera in turn. So is one that the ball cannot have come to, nor
    gone back from, in the time between the hands: it would have flown faster than a ball is thrown.
    """
    kept: list[Touch] = []
    for number, touch in enumerate(touches):
        if kept and number + 1 < len(touches):
            before, after = kept[-1], touches[number + 1]
            span = (grid >= touch.start_s) & (grid <= touch.end_s)
            swapped = (
                before.track == after.track != touch.track
                and before.attacks
                and touch.attacks
                and touch.score < settings.swap_score
                and max(touch.start_s - before.end_s, after.start_s - touch.end_s) <= settings.ball.handoff_flight_s
                and NOBODY not in (before.column, touch.column)
            )
            if swapped and span.any():
                gap = np.linalg.norm(uv[span, before.column] - uv[span, touch.column], axis=1)
                way_ft = np.array([gap[0], gap[-1]])
                flown_s = np.array([touch.start_s - before.end_s, after.start_s - touch.end_s])
                thrown_ft = settings.swap_within_ft + settings.thrown_ft_s * np.maximum(flown_s, 0.0)
                if np.nanmax(gap, initial=0.0) <= settings.swap_within_ft or bool(np.all(way_ft > thrown_ft)):
                    kept[-1] = replace(before, end_s=touch.end_s)
                    continue
        if kept and kept[-1].track == touch.track and touch.start_s - kept[-1].end_s <= settings.hold_gap_s:
            last = kept[-1]
            kept[-1] = replace(last, end_s=touch.end_s, dribbles=(*last.dribbles, *touch.dribbles))
        else:
            kept.append(touch)
    return tuple(kept)


def _handlers(grid: np.ndarray, story: BallStory) -> np.ndarray:
    """Column of the attacker who holds the ball at each time."""
    handler = np.full(len(grid), NOBODY)
    for touch in story.touches:
        if touch.attacks and touch.column != NOBODY:
            handler[(grid >= touch.start_s - 1e-6) & (grid <= touch.end_s + 1e-6)] = touch.column
    return handler


def _dribble(grid: np.ndarray, story: BallStory, height_seen: np.ndarray) -> np.ndarray:
    """1 where a dribble was seen, 0 where the ball was seen held without one, -1 where it cannot be said; (T,)."""
    dribble = np.where(height_seen, 0, -1).astype(np.int8)
    for touch in story.touches:
        for start_s, end_s in touch.dribbles:
            dribble[(grid >= start_s - 1e-6) & (grid <= end_s + 1e-6)] = 1
    return dribble


def _half_court_s(grid: np.ndarray, uv: np.ndarray, attacks: np.ndarray, handler: np.ndarray, book: RuleBook) -> float:
    """First time at which the handler and at least four attackers are past half court; NaN if never."""
    half_u = book.length_ft / 2 - book.ring_to_baseline_ft
    with np.errstate(invalid="ignore"):
        past = uv[..., 0] < half_u
    settled = past[:, attacks].sum(axis=1) >= 4
    with_ball = (handler != NOBODY) & past[np.arange(len(grid)), np.maximum(handler, 0)]
    found = np.flatnonzero(settled & with_ball)
    return float(grid[found[0]]) if len(found) else float("nan")


def _ball_side(ball_uv: np.ndarray, side_v_ft: float) -> np.ndarray:
    """Which side the ball is on; in the middle the side that it last left."""
    with np.errstate(invalid="ignore"):
        side = np.where(np.abs(ball_uv[:, 1]) > side_v_ft, np.sign(ball_uv[:, 1]), 0).astype(np.int8)
    known = np.flatnonzero(side)
    if not len(known):
        return side
    last = np.maximum.accumulate(np.where(side != 0, np.arange(len(side)), -1))
    return np.where(last >= 0, side[np.maximum(last, 0)], 0).astype(np.int8)
