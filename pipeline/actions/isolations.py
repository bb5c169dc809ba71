"""Isolation: a handler plays his man alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.actions.ball_events import own_touches
from pipeline.actions.events import Event
from pipeline.actions.evidence import event_of, place_of
from pipeline.actions.settings import ActionSettings, IsolationSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import PossessionView


class Isolations:
    """Finds isolations: the handler keeps the ball in the front court with no teammate near, and goes himself.

    He is alone with his defender for long enough, then drives or shoots, and between the two nobody screens for him or
    takes the ball from his hands. It is told of his touch, from the half-court phase on; its place is where he has
    settled alone, and the nearest teammate is that of the time from then until he goes. The score is the certainty of
    handler and defender.
    """

    kinds = ("isolation",)
    needs: tuple[str, ...] = ("tracks", "touches", "possessions", "drive", "shot", "on_ball_screen", "handoff")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Isolations of one possession."""
        rule = settings.isolation
        found = []
        for touch in own_touches(view):
            start_s = touch.start_s if np.isnan(view.half_court_s) else max(touch.start_s, view.half_court_s)
            if touch.end_s - start_s < rule.for_s:
                continue
            span = view.span(start_s, touch.end_s)
            alone, nearest = _alone(view, touch.column, span, rule)
            for a, b in stretches(bridged(alone, view.t_s[span], rule.pause_s)):
                first, last = span.start + a, span.start + b - 1
                if view.t_s[last] - view.t_s[first] < rule.for_s - 1e-6:
                    continue
                went_s = _goes_himself(view, touch.column, (view.t_s[first], view.t_s[last]), earlier, rule)
                if went_s is None:
                    continue
                settled, goes = _faces(view.speed_ft_s[first : min(view.at(went_s), last) + 1, touch.column], rule)
                faced = slice(first + settled - span.start, first + goes + 1 - span.start)
                settled += first
                uv = view.uv_ft[settled, touch.column]
                found.append(
                    event_of(
                        view, self.kinds[0], (start_s, start_s, touch.end_s),
                        [("handler", touch.column), ("on_ball_defender", view.guard_of(first, touch.column))], uv,
                        measures={
                            "held_s": touch.end_s - start_s,
                            "nearest_teammate_ft": float(np.min(nearest[faced])),
                        },
                        traits={"place": place_of(view, uv)},
                        tolerance_ft=rule.tolerance_ft,
                    )
                )  # fmt: skip
                break
        return found


def _alone(view: PossessionView, column: int, span: slice, rule: IsolationSettings) -> tuple[np.ndarray, np.ndarray]:
    """When a handler is alone with his defender (n,) bool, and how far the nearest teammate is (n,)."""
    others = np.flatnonzero(view.attackers)
    others = others[others != column]
    moments = np.arange(span.start, span.stop)
    gaps = view.gap_ft[span, column][:, others]
    nearest = np.where(np.isfinite(gaps), gaps, np.inf).min(axis=1, initial=np.inf)
    guard = view.guard[span, column]
    guarded = np.where(guard >= 0, view.gap_ft[moments, column, np.maximum(guard, 0)], np.inf)
    with np.errstate(invalid="ignore"):
        near = (view.ring_ft[span, column] <= rule.within_ft) & (guarded <= rule.guard_within_ft)
    return near & (nearest >= rule.alone_ft), nearest


def _faces(speed_ft_s: np.ndarray, rule: IsolationSettings) -> tuple[int, int]:
    """From when until when a handler plays his man, as moments of his speeds (n,) until he drives or shoots.

    He begins as he leaves his first rest alone (or where he is slowest, if he never rests) and ends as he rests last.
    """
    rest = np.flatnonzero(speed_ft_s <= max(rule.settled_ft_s, float(np.nanmin(speed_ft_s))))
    ends = np.flatnonzero(np.diff(rest) > 1)
    return int(rest[ends[0]] if len(ends) else rest[-1]), int(rest[-1])


def _goes_himself(
    view: PossessionView, column: int, spell: tuple[float, float], earlier: Sequence[Event], rule: IsolationSettings
) -> float | None:
    """When he drives or shoots in a spell or just after it, nobody having helped him before; None if he does not."""
    start_s, end_s = spell
    track = int(view.tracks[column])
    goes = [
        e.start_s
        for e in earlier
        if e.kind in ("drive", "shot")
        and e.actors[0][1] == track
        and start_s + rule.for_s - 1e-6 <= e.start_s <= end_s + rule.after_s
    ]
    if not goes:
        return None
    helped = any(
        e.kind in ("on_ball_screen", "handoff")
        and track in [who for _, who in e.actors[:2]]
        and start_s <= e.t_s <= min(goes)
        for e in earlier
    )
    return None if helped else float(min(goes))
