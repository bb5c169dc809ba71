"""On-ball screens and the corner turned off them.

The screen's rule is the glossary's, after McQueen, Wiens and Guttag (MIT Sloan 2014): one handler for
0.52 s, a teammate within 10 ft of him who is not in the paint and at most 2 ft farther from the ring, a
defender within 12 ft, the ball outside the paint; the moment is their closest approach, at most 6 ft.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import PossessionView
from pipeline.court.attack_frame import to_court
from pipeline.court.geometry import in_paint

SCREEN = "on_ball_screen"
CORNER = "corner_turned"


class OnBallScreens:
    """Finds screens set for the handler.

    The score is the share of the screen's moments in which handler and screener were both observed.
    """

    name = SCREEN
    needs: tuple[str, ...] = ("tracks", "ball", "touches", "possessions")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """On-ball screens of one possession; ``earlier`` is not used."""
        del earlier
        rule = settings.on_ball_screen
        found: list[Event] = []
        attackers = np.flatnonzero(view.attackers)
        defenders = np.flatnonzero(view.defenders)
        if not len(defenders):
            return found
        distance = view.ring_distance_ft()
        inside = _in_attacked_paint(view)
        for handler, first, last in view.holds():
            span = slice(first, last)
            t = view.t_s[span]
            if len(t) < 2 or t[-1] - t[0] < rule.handler_for_s:
                continue
            guard_gap = _gaps(view, span, handler, defenders).min(axis=1)
            ball = view.ball_uv_ft[span]
            ball = np.where(np.isfinite(ball), ball, view.uv_ft[span, handler])
            ball_out = ~in_paint(to_court(ball, view.book, view.end), view.book, view.end)
            for mate in attackers[attackers != handler]:
                gap = np.hypot(*(view.uv_ft[span, mate] - view.uv_ft[span, handler]).T)
                fits = (
                    (gap <= rule.screener_within_ft)
                    & ~inside[span, mate]
                    & (distance[span, mate] - distance[span, handler] <= rule.farther_from_ring_ft)
                    & (guard_gap <= rule.defender_within_ft)
                    & ball_out
                )
                for a, b in stretches(bridged(fits, t, rule.again_after_s)):
                    closest = a + int(np.nanargmin(np.where(fits[a:b], gap[a:b], np.inf)))
                    speed = float(np.hypot(*view.velocity_ft_s[first + closest, mate]))
                    if gap[closest] > rule.closest_within_ft or speed > rule.screener_speed_ft_s:
                        continue
                    found.append(_screen(view, handler, int(mate), first + a, first + b, first + closest, settings))
        return found


class CornersTurned:
    """Finds the moment when the handler comes off a screen and his way points at the ring.

    He has passed the screener when the screener is no longer ahead of him on his way. The score is the
    screen's, times the share of the turn's moments in which the handler was observed.
    """

    name = CORNER
    needs: tuple[str, ...] = ("tracks", "touches", "possessions")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Corners turned after the on-ball screens in ``earlier``."""
        rule = settings.corner
        columns = {int(track): n for n, track in enumerate(view.tracks)}
        distance = view.ring_distance_ft()
        found: list[Event] = []
        for screen in earlier:
            if screen.kind != SCREEN:
                continue
            handler, screener = columns[screen.actors[0][1]], columns[screen.actors[1][1]]
            span = np.flatnonzero((view.t_s >= screen.t_s) & (view.t_s <= screen.t_s + rule.within_s))
            held = view.handler[span] == handler
            span = span[: len(held) if held.all() else int(np.argmin(held))]
            if len(span) < 2:
                continue
            t = view.t_s[span]
            velocity = view.velocity_ft_s[span, handler]
            speed = np.hypot(*velocity.T)
            to_ring = -view.uv_ft[span, handler]
            off_deg = _angle_deg(velocity, to_ring)
            ahead = np.einsum("td,td->t", view.uv_ft[span, screener] - view.uv_ft[span, handler], velocity) > 0
            turned = (off_deg <= rule.points_within_deg) & (speed > rule.speed_ft_s) & ~ahead
            for a, b in stretches(turned):
                if t[b - 1] - t[a] < rule.for_s and b < len(t):
                    continue
                found.append(
                    Event(
                        kind=CORNER,
                        shot=view.shot,
                        possession=view.possession,
                        start_s=screen.t_s,
                        end_s=float(t[b - 1]),
                        t_s=float(t[a]),
                        actors=screen.actors,
                        place_ft=view.court_place_ft(int(span[a]), handler),
                        attacked_end=view.end,
                        measures={
                            "off_ring_deg": float(off_deg[a]),
                            "speed_ft_s": float(speed[a]),
                            "after_screen_s": float(t[a] - screen.t_s),
                            "ring_distance_ft": float(distance[span[a], handler]),
                        },
                        score=screen.score * float(view.observed[span[a:b], handler].mean()),
                    )
                )
                break
        return found


def _screen(
    view: PossessionView, handler: int, mate: int, first: int, last: int, moment: int, settings: ActionSettings
) -> Event:
    rule = settings.on_ball_screen
    defenders = np.flatnonzero(view.defenders)
    around = slice(first, last)
    guards = _gaps(view, slice(moment, moment + 1), handler, defenders)[0]
    guard = int(defenders[np.nanargmin(guards)])
    contact = np.hypot(*(view.uv_ft[around, mate] - view.uv_ft[around, guard]).T)
    least_contact = float(np.nanmin(contact)) if np.isfinite(contact).any() else float("nan")
    v = float(view.uv_ft[moment, mate, 1])
    return Event(
        kind=SCREEN,
        shot=view.shot,
        possession=view.possession,
        start_s=float(view.t_s[first]),
        end_s=float(view.t_s[last - 1]),
        t_s=float(view.t_s[moment]),
        actors=(
            ("handler", int(view.tracks[handler])),
            ("screener", int(view.tracks[mate])),
            ("on_ball_defender", int(view.tracks[guard])),
        ),
        place_ft=view.court_place_ft(moment, mate),
        attacked_end=view.end,
        measures={
            "closest_ft": float(np.hypot(*(view.uv_ft[moment, mate] - view.uv_ft[moment, handler]))),
            "contact_ft": least_contact,
            "contact": float(least_contact <= rule.contact_ft),
            "side": float(abs(v) > rule.side_v_ft),
            "handler_ring_distance_ft": float(view.ring_distance_ft()[moment, handler]),
            "screener_speed_ft_s": float(np.hypot(*view.velocity_ft_s[moment, mate])),
        },
        score=float((view.observed[around, handler] & view.observed[around, mate]).mean()),
    )


def _gaps(view: PossessionView, span: slice, column: int, others: np.ndarray) -> np.ndarray:
    """Distance from one player to each of the others, (T, len(others)); infinite where not known."""
    gap = np.hypot(*np.moveaxis(view.uv_ft[span][:, others] - view.uv_ft[span, column][:, None], -1, 0))
    return np.where(np.isfinite(gap), gap, np.inf)


def _in_attacked_paint(view: PossessionView) -> np.ndarray:
    places = to_court(view.uv_ft.reshape(-1, 2), view.book, view.end)
    return in_paint(places, view.book, view.end).reshape(view.uv_ft.shape[:2])


def _angle_deg(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Angle between rows of two (T, 2) arrays, degrees; NaN where one of them has no length."""
    lengths = np.hypot(*a.T) * np.hypot(*b.T)
    cosine = np.einsum("td,td->t", a, b) / np.where(lengths > 0, lengths, np.nan)
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))
