"""Post-ups: a player with his back to the ring beside the lane, his defender on him."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.actions.ball_events import in_post, own_touches
from pipeline.actions.events import Event
from pipeline.actions.evidence import NAN, event_of, place_of, yes_no
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import PossessionView


class PostUps:
    """Finds post-ups: beside the lane, slow for a second, the defender within reach.

    Facing away is not seen on the floor. So one of two things must speak for it besides: the ball comes to him there
    (``caught``), or he waits for it on the ball's side while a teammate outside holds it. Who just stands beside the
    lane on the weak side does not post up. The score is the certainty of both places.
    """

    kinds = ("post_up",)
    needs: tuple[str, ...] = ("tracks", "touches", "possessions")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Post-ups of one possession."""
        del earlier
        rule = settings.post
        found = []
        place = in_post(view, view.uv_ft, settings.ball)
        moments = np.arange(len(view.t_s))
        for column in np.flatnonzero(view.attackers):
            guard = np.maximum(view.guard[:, column], 0)
            gap = np.where(view.guard[:, column] >= 0, view.gap_ft[moments, column, guard], np.nan)
            with np.errstate(invalid="ignore"):
                posted = place[:, column] & (view.speed_ft_s[:, column] < rule.speed_ft_s) & (gap <= rule.within_ft)
            for first, last in stretches(bridged(posted, view.t_s, rule.pause_s)):
                start_s, end_s = float(view.t_s[first]), float(view.t_s[last - 1])
                if end_s - start_s < rule.for_s - 1e-6 or not view.start_s <= start_s <= view.end_s:
                    continue
                catch = next(
                    (
                        t
                        for t in own_touches(view)
                        if t.column == column and start_s - rule.pause_s <= t.start_s <= end_s + rule.pause_s
                    ),
                    None,
                )
                if catch is None:
                    continue
                uv = view.uv_ft[first, column]
                middle = (first + last - 1) // 2
                found.append(
                    event_of(
                        view, self.kinds[0], (start_s, start_s, end_s),
                        [("poster", int(column)), ("post_defender", view.guard_of(middle, int(column)))], uv,
                        measures={
                            "held_s": end_s - start_s,
                            "ring_distance_ft": float(np.hypot(*uv)),
                            "catch_ring_ft": NAN
                            if catch is None
                            else float(np.hypot(*view.place_at(catch.start_s, int(column)))),
                            "defender_gap_ft": float(np.nanmean(gap[first:last])),
                        },
                        traits={"place": place_of(view, uv), "caught": yes_no(catch is not None)},
                        tolerance_ft=rule.tolerance_ft,
                    )
                )  # fmt: skip
        return found
