"""Stands: a player stays at a named place, as formations are made of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.evidence import event_of
from pipeline.actions.settings import ActionSettings, StandSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import PossessionView
from pipeline.court.places import PLACES, place_codes


class Stands:
    """Finds attackers who stay at a named place.

    Slow for long enough, and the most telling name of where he is stays the same; a name that holds for a shorter
    time within is passed over, and so is a moment in which he sways a little faster. The score is the
    certainty of his place.
    """

    kinds = ("stand",)
    needs: tuple[str, ...] = ("tracks", "possessions")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Stands of one possession's attackers."""
        del earlier
        rule = settings.stand
        codes = place_codes(view.uv_ft.reshape(-1, 2), view.book).reshape(view.uv_ft.shape[:2])
        found = []
        for column in np.flatnonzero(view.attackers):
            for code, first, last in _calm(view, int(column), codes[:, column], rule):
                uv = view.uv_ft[first, column]
                start_s, end_s = float(view.t_s[first]), float(view.t_s[last - 1])
                found.append(
                    event_of(
                        view, self.kinds[0], (start_s, start_s, end_s), [("player", int(column))], uv,
                        measures={
                            "lasted_s": end_s - start_s,
                            "ring_distance_ft": float(np.nanmean(view.ring_ft[first:last, column])),
                        },
                        traits={"place": PLACES[code]},
                        tolerance_ft=rule.tolerance_ft,
                    )
                )  # fmt: skip
        return found


def _calm(view: PossessionView, column: int, codes: np.ndarray, rule: StandSettings) -> Iterator[tuple[int, int, int]]:
    """Stretches of calm at one place as (place, first, past-last moment)."""
    speed, t = view.speed_ft_s[:, column], view.t_s
    with np.errstate(invalid="ignore"):
        here = (t >= view.start_s - 1e-6) & (t <= view.end_s + 1e-6)
        slow = here & (speed <= rule.speed_ft_s)
        nearly = here & (speed <= rule.speed_ft_s + rule.sways_ft_s)
    calm = bridged(slow, t, rule.pause_s) | (bridged(slow, t, rule.sways_s) & nearly)
    for a, b in stretches(calm):
        for code in np.unique(codes[a:b]):
            if code < 0:
                continue
            here = bridged(codes[a:b] == code, view.t_s[a:b], rule.pause_s)
            for first, last in stretches(here):
                if view.t_s[a + last - 1] - view.t_s[a + first] >= rule.for_s - 1e-6:
                    yield int(code), a + first, a + last
