"""The corner turned: the handler comes off an on-ball screen and his way points at the ring."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.on_ball_grades import pair_sigma_ft
from pipeline.actions.on_ball_screens import SCREEN
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stretches import stretches
from pipeline.actions.view import PossessionView

CORNER = "corner_turned"


class CornersTurned:
    """Finds the moment when the handler comes off a screen and his way points at the ring.

    He has passed the screener when the screener is no longer ahead of him on his way; one who then rolls faster
    than the handler runs does not undo that. Off two screens in a row one corner is turned, that of the later one.
    Its moment is when the way points there surely (``surely_deg`` inside the limit): one that only grazes the limit
    may as well lead across, unless it points there for ``long_s``. The score is the screen's, times the share of
    the turn's moments in which he was observed.
    """

    kinds = (CORNER,)
    needs: tuple[str, ...] = ("tracks", "touches", "possessions", SCREEN)

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Corners turned after the on-ball screens in ``earlier``."""
        turned = [(e, _corner(view, e, settings)) for e in earlier if e.kind == SCREEN]
        corners = [(screen, corner) for screen, corner in turned if corner is not None]
        return [
            corner
            for screen, corner in corners
            if not any(
                later.actors[0] == screen.actors[0] and screen.t_s < later.t_s <= corner.t_s for later, _ in corners
            )
        ]


def _corner(view: PossessionView, screen: Event, settings: ActionSettings) -> Event | None:
    rule = settings.corner
    columns = {int(track): n for n, track in enumerate(view.tracks)}
    handler, screener = columns[screen.actors[0][1]], columns[screen.actors[1][1]]
    span = view.span(screen.t_s, screen.t_s + rule.within_s)
    others = (view.handler[span] != handler) & (view.handler[span] >= 0)
    if others.any():
        span = slice(span.start, span.start + int(np.argmax(others)))
    velocity, place = view.velocity_ft_s[span, handler], view.uv_ft[span, handler]
    off_deg = angle_deg(velocity, -place)
    ahead = np.einsum("td,td->t", view.uv_ft[span, screener] - place, velocity) > 0
    with np.errstate(invalid="ignore"):
        goes = view.speed_ft_s[span, handler] > rule.speed_ft_s
        points = goes & (off_deg <= rule.points_within_deg)
        surely = off_deg <= rule.points_within_deg - rule.surely_deg
    count = len(points)
    for first, b in stretches(points):
        lasted_s = (b - first) * view.step_s
        turned = ~ahead[first:b] & surely[first:b]
        if not turned.any() and lasted_s >= rule.long_s:
            turned = ~ahead[first:b]
        if (lasted_s < rule.for_s and b < count) or not turned.any():
            continue
        a = first + int(turned.argmax())
        at = span.start + a
        u, v = (float(x) for x in view.uv_ft[at, handler])
        return Event(
            kind=CORNER,
            shot=view.shot,
            possession=view.possession,
            start_s=screen.t_s,
            end_s=float(view.t_s[span.start + b - 1]),
            t_s=float(view.t_s[at]),
            actors=screen.actors[:3],
            place_ft=view.court_place_ft(at, handler),
            attacked_end=view.end,
            measures={
                "u_ft": u,
                "v_ft": v,
                "sigma_ft": pair_sigma_ft(view, at, handler),
                "off_ring_deg": float(off_deg[a]),
                "speed_ft_s": float(view.speed_ft_s[at, handler]),
                "after_screen_s": float(view.t_s[at] - screen.t_s),
                "ring_distance_ft": float(view.ring_ft[at, handler]),
            },
            score=screen.score * float(view.observed[at : span.start + b, handler].mean()),
        )
    return None


def angle_deg(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Angle between rows of two (T, 2) arrays, degrees; NaN where one of them has no length."""
    lengths = np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1)
    cosine = (a * b).sum(axis=1) / np.where(lengths > 0, lengths, np.nan)
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))
