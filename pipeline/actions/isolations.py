"""Isolation: a handler plays his man alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.actions.ball_events import own_touches
from pipeline.actions.events import Event
from pipeline.actions.evidence import event_of, place_of
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import PossessionView


class Isolations:
    """Finds isolations: the handler keeps the ball in the front court with no teammate near, and goes himself.

    No screen or handoff in it; it ends with his own drive or shot. The score is the certainty of handler and defender.
    """

    kinds = ("isolation",)
    needs: tuple[str, ...] = ("tracks", "touches", "possessions", "drive", "shot", "on_ball_screen", "handoff")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Isolations of one possession."""
        rule = settings.isolation
        mates = np.flatnonzero(view.attackers)
        found = []
        for touch in own_touches(view):
            column = touch.column
            others = mates[mates != column]
            span = view.span(touch.start_s, touch.end_s)
            if touch.held_s < rule.for_s or not len(others):
                continue
            gaps = np.where(
                np.isfinite(view.gap_ft[span, column][:, others]), view.gap_ft[span, column][:, others], np.inf
            )
            nearest = gaps.min(axis=1)
            moments = np.arange(span.start, span.stop)
            guard = view.guard[span, column]
            guarded = np.where(guard >= 0, view.gap_ft[moments, column, np.maximum(guard, 0)], np.inf)
            with np.errstate(invalid="ignore"):
                alone = (
                    (nearest >= rule.alone_ft)
                    & (view.ring_ft[span, column] <= rule.within_ft)
                    & (guarded <= rule.guard_within_ft)
                )
            for a, b in stretches(bridged(alone, view.t_s[span], rule.pause_s)):
                start_s, end_s = float(view.t_s[span.start + a]), float(view.t_s[span.start + b - 1])
                track = int(view.tracks[column])
                goes = any(
                    e.actors[0][1] == track
                    and e.kind in ("drive", "shot")
                    and start_s <= e.start_s <= end_s + rule.after_s
                    for e in earlier
                )
                helped = any(
                    e.kind in ("on_ball_screen", "handoff")
                    and any(who == track for _, who in e.actors[:2])
                    and start_s - rule.after_s <= e.t_s <= end_s + rule.after_s
                    for e in earlier
                )
                if end_s - start_s < rule.for_s or not goes or helped:
                    continue
                uv = view.uv_ft[span.start + a, column]
                found.append(
                    event_of(
                        view, self.kinds[0], (start_s, start_s, end_s),
                        [("handler", column), ("on_ball_defender", view.guard_of(span.start + a, column))], uv,
                        measures={
                            "held_s": end_s - start_s,
                            "nearest_teammate_ft": float(np.min(nearest[a:b])),
                        },
                        traits={"place": place_of(view, uv)},
                        tolerance_ft=rule.tolerance_ft,
                    )
                )  # fmt: skip
        return found
