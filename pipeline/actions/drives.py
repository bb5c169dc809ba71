"""Drives: the handler goes hard at the ring.

The rule is the glossary's: the handler goes at least 8 ft towards the ring, faster than 8 ft/s, and
gets within 14 ft of it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.evidence import NAN, event_of, yes_no
from pipeline.actions.settings import ActionSettings, DriveSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import NOBODY, PossessionView

NAME = "drive"


class Drives:
    """Finds drives.

    The score is the share of the drive's moments in which the handler was observed, not filled in.
    """

    kinds = (NAME,)
    needs: tuple[str, ...] = ("tracks", "touches", "possessions", "on_ball_screen")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Drives of one possession; on-ball screens among the earlier events tell whether it came off one."""
        rule = settings.drive
        distance = view.ring_distance_ft()
        found: list[Event] = []
        for column, first, last in view.holds():
            t = view.t_s[first:last]
            if len(t) < 2:
                continue
            speed = np.hypot(*view.velocity_ft_s[first:last, column].T)
            nearer = -np.gradient(distance[first:last, column], t)
            goes = bridged((speed > rule.speed_ft_s) & (nearer > 0), t, rule.pause_s)
            for a, b in stretches(goes):
                start, end = first + a, first + b - 1
                gain = distance[start, column] - distance[end, column]
                if not (gain >= rule.gain_ft and distance[end, column] <= rule.ends_within_ft):
                    continue
                found.append(_drive(view, (column, start, end, last), speed[a:b], earlier, rule))
        return found


def _drive(
    view: PossessionView, found: tuple[int, int, int, int], speed: np.ndarray, earlier: Sequence[Event],
    rule: DriveSettings,
) -> Event:  # fmt: skip
    column, start, end, hold_end = found
    distance = view.ring_distance_ft()[:, column]
    entry = paint_entry(view, column, start, _reach(view, hold_end, rule.after_hold_s))
    stop = end if entry is None else max(end, entry[0])
    moment = end if entry is None else entry[0]
    screened = any(
        e.kind == "on_ball_screen"
        and e.actor("handler") == int(view.tracks[column])
        and view.t_s[start] - rule.after_screen_s <= e.t_s <= view.t_s[end]
        for e in earlier
    )
    return event_of(
        view, NAME, (float(view.t_s[start]), float(view.t_s[moment]), float(view.t_s[stop])),
        [("handler", column), ("on_ball_defender", view.guard_of(start, column))], view.uv_ft[moment, column],
        measures={
            "gain_ft": float(distance[start] - distance[end]),
            "mean_speed_ft_s": float(np.nanmean(speed)),
            "top_speed_ft_s": float(np.nanmax(speed)),
            "starts_at_ft": float(distance[start]),
            "ends_at_ft": float(distance[end]),
            "paint_entry_s": NAN if entry is None else entry[1],
        },
        traits={"off_screen": yes_no(screened)},
        tolerance_ft=rule.tolerance_ft,
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
