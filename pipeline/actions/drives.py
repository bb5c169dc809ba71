"""Drives: the handler goes hard at the ring.

The rule is the glossary's: the handler goes at least 8 ft towards the ring, faster than 8 ft/s, and
gets within 14 ft of it. Read as a coach would: he need not be that fast to the end, since who finishes slows down; so
a drive lasts from its first fast step until he comes no nearer. And who catches on the move, as a big does who rolls,
has begun before the catch.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.evidence import NAN, event_of, yes_no
from pipeline.actions.settings import ActionSettings, DriveSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import NOBODY, PossessionView

NAME = "drive"


class Drives:
    """Finds drives.

    A fast stretch in the front court (faster than ``speed_ft_s``, coming nearer to the ring at half of that) of at
    least ``fast_ft`` is the core. The drive goes on as long as he comes nearer by ``nears_ft_s``, at most ``finish_s``.
    It begins with its first fast step, no earlier than the catch. The run-up before that counts as ground gained only
    where there is too little without it, at most ``run_up_s`` of it, and he must gain ``with_ball_ft`` with the ball.
    Its moment is its start. A runner with whom the ball was hardly seen is not known to drive (``ball_seen``), unless
    the ball was never seen in the possession and the touches are all there is. The score is the certainty of the
    handler's place, times half and half of the ball's share.
    """

    kinds = (NAME,)
    needs: tuple[str, ...] = ("tracks", "touches", "possessions", "on_ball_screen")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Drives of one possession; on-ball screens among the earlier events tell whether it came off one."""
        rule = settings.drive
        watched = bool(view.ball_seen.any())
        found = []
        for way in ways_to_ring(view, rule):
            seen = float(view.ball_seen[way.first : way.last + 1].mean()) if watched else 1.0
            if seen >= rule.ball_seen:
                found.append(_drive(view, way, earlier, rule, trust=0.5 + 0.5 * seen))
        return found


@dataclass(frozen=True, slots=True)
class Way:
    """A handler's way to the ring: first and last moment, past-last moment of his hold, ground with the run-up."""

    column: int
    first: int
    last: int
    hold_end: int
    gain_ft: float


def ways_to_ring(view: PossessionView, rule: DriveSettings) -> Iterator[Way]:
    """Drives, in order of time."""
    done: dict[int, int] = {}
    for column, first, last in view.holds():
        begins = max(first - view.steps(rule.run_up_s), 0)
        span = slice(begins, last)
        ring, speed, t = view.ring_ft[span, column], view.speed_ft_s[span, column], view.t_s[span]
        if len(t) < 2:
            continue
        place, velocity = view.uv_ft[span, column], view.velocity_ft_s[span, column]
        with np.errstate(invalid="ignore", divide="ignore"):
            nears = -(place * velocity).sum(axis=1) / ring
            front = place[:, 0] <= 0.5 * view.book.length_ft - view.book.ring_to_baseline_ft
            fast = front & (speed > rule.speed_ft_s) & (nears > 0.5 * rule.speed_ft_s)
            coming = nears > rule.nears_ft_s
        catch = first - begins
        for a, b in stretches(bridged(fast, t, rule.pause_s)):
            end = b - 1
            on = stretches(bridged(coming[end:], t[end:], rule.pause_s))
            ahead = next(on, None)
            if ahead is not None and ahead[0] == 0:
                end += min(ahead[1] - 1, view.steps(rule.finish_s))
            if end <= catch or begins + a <= done.get(column, -1):
                continue
            start = held = max(a, catch)
            if ring[start] - ring[end] < rule.gain_ft:
                start = _run_up(coming, a, view.steps(rule.run_up_s))
                held = max(start, catch)
            fits = (
                ring[start] - ring[end] >= rule.gain_ft
                and ring[held] - ring[end] >= rule.with_ball_ft
                and ring[a] - ring[b - 1] >= rule.fast_ft
                and ring[end] <= rule.ends_within_ft
            )
            if fits and view.start_s <= t[held] <= view.end_s:
                done[column] = begins + end
                yield Way(column, begins + held, begins + end, last, float(ring[start] - ring[end]))


def _run_up(coming: np.ndarray, fast: int, most: int) -> int:
    """First moment of coming nearer before the first fast one, at most ``most`` moments before it."""
    start = fast
    while start > 0 and coming[start - 1] and fast - start < most:
        start -= 1
    return start


def _drive(view: PossessionView, way: Way, earlier: Sequence[Event], rule: DriveSettings, *, trust: float) -> Event:
    column, start, end = way.column, way.first, way.last
    ring, speed = view.ring_ft[:, column], view.speed_ft_s[start : end + 1, column]
    entry = paint_entry(view, column, start, _reach(view, way.hold_end, rule.after_hold_s))
    stop = end if entry is None else max(end, entry[0])
    screened = any(
        e.kind == "on_ball_screen"
        and e.actor("handler") == int(view.tracks[column])
        and view.t_s[start] - rule.after_screen_s <= e.t_s <= view.t_s[end]
        for e in earlier
    )
    start_s = float(view.t_s[start])
    return event_of(
        view, NAME, (start_s, start_s, float(view.t_s[stop])),
        [("handler", column), ("on_ball_defender", view.guard_of(start, column))],
        view.uv_ft[end if entry is None else entry[0], column],
        measures={
            "gain_ft": way.gain_ft,
            "mean_speed_ft_s": float(np.nanmean(speed)),
            "top_speed_ft_s": float(np.nanmax(speed)),
            "starts_at_ft": float(ring[start]),
            "ends_at_ft": float(ring[end]),
            "paint_entry_s": NAN if entry is None else entry[1],
        },
        traits={"off_screen": yes_no(screened)},
        tolerance_ft=rule.tolerance_ft, trust=trust,
    )  # fmt: skip


def _reach(view: PossessionView, hold_end: int, after_s: float) -> int:
    """Past-last moment to look at after a hold: a little later, unless somebody else has the ball by then."""
    last = hold_end
    while (
        last < len(view.t_s)
        and view.handler[last] == NOBODY
        and view.t_s[last] - view.t_s[hold_end - 1] <= after_s + 1e-9
    ):
        last += 1
    return last


def paint_entry(view: PossessionView, column: int, start: int, stop: int) -> tuple[int, float] | None:
    """When a player first enters the attacked paint in [start, stop) after having been outside it.

    Returns
    -------
    (moment, time) or None
        The first moment inside, and the time of the crossing between it and the last one outside. None when he starts
        in the paint, never enters it, or his way in was not seen.
    """
    place = view.uv_ft[start:stop, column]
    depth = paint_depth_ft(place, view)
    before: int | None = None
    for moment in range(stop - start):
        if not np.isfinite(depth[moment]):
            continue
        if depth[moment] >= 0:
            if before is None:
                return None
            share = -depth[before] / (depth[moment] - depth[before])
            t = view.t_s[start : start + moment + 1]
            return start + moment, float(t[before] + share * (t[moment] - t[before]))
        before = moment
    return None


def paint_depth_ft(uv_ft: np.ndarray, view: PossessionView) -> np.ndarray:
    """How far inside the attacked paint points (..., 2) lie, negative outside; NaN where not known."""
    u, v = uv_ft[..., 0], uv_ft[..., 1]
    along = np.minimum(view.free_throw_u_ft - u, u + view.book.ring_to_baseline_ft)
    return np.minimum(along, view.book.lane_width_ft / 2 - np.abs(v))
