"""Where players are drawn: the points of places and zones, and room between players."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.sets.definition import AT_START, Side, Zone

Point = tuple[float, float]

SPOTS: dict[str, Point] = {
    "restricted_area": (2.0, 3.0),
    "paint": (7.0, 4.0),
    "block": (3.0, 9.5),
    "short_corner": (-0.5, 13.5),
    "corner": (0.0, 22.0),
    "elbow": (14.0, 8.5),
    "high_post": (16.0, 2.0),
    "wing": (15.0, 20.0),
    "slot": (23.5, 10.0),
    "top": (26.0, 0.0),
    "half_court": (35.0, 8.0),
}
"""Where a player is drawn in a place of the right side, (u, v) in feet."""

ROOM_FT = 4.2
"""Two players are drawn no nearer to each other than this."""

NEAR_FT = 7.5
"""A player this near to the point of a place is drawn as being there."""

_NUDGES = tuple(
    (radius * float(np.cos(turn)), radius * float(np.sin(turn)))
    for radius in (4.4, 6.5, 9.0)
    for turn in np.arange(8) * np.pi / 4
)


@dataclass
class Standing:
    """Where everybody stands.

    Attributes
    ----------
    places : dict of str to Point
        Of the players by name.
    holder : str or None
        Who has the ball.
    ends : dict of str to Point
        Where each phase so far ended.
    """

    places: dict[str, Point]
    holder: str | None
    ends: dict[str, Point]

    def at_zone(self, zone: Zone, at: Point) -> bool:
        """Whether a point is already where a zone wants it, as drawn."""
        for place in zone.places or ("",):
            spot = self.spot(replace(zone, places=(place,) if place else ()), at)
            if _apart(spot, at) < NEAR_FT:
                return True
        return False

    def spot(self, zone: Zone, now: Point | None) -> Point:
        """The point of a zone that is drawn: of several places the first, or the one where the player is."""
        sign = self._sign(zone, now)
        if not zone.places:
            u, v = now if now is not None else (20.0, 10.0)
            return (u, 0.0 if zone.side is Side.MIDDLE else sign * max(abs(v), 8.0))
        spots = [
            (SPOTS[place][0], 0.0 if zone.side is Side.MIDDLE else SPOTS[place][1] * sign) for place in zone.places
        ]
        if now is None:
            return spots[0]
        return next((spot for spot in spots if _apart(spot, now) < NEAR_FT), spots[0])

    def free(self, player: str, spot: Point, *, fixed: bool) -> Point:
        """The spot, or its mirror image where that is free and the side is not fixed, or a point beside it."""
        mirrored = (spot[0], -spot[1])
        if not fixed and self._crowded(player, spot) and not self._crowded(player, mirrored):
            return mirrored
        return self.clear(player, spot)

    def clear(self, player: str, spot: Point) -> Point:
        """The spot, or the nearest point beside it that nobody else stands on."""
        if not self._crowded(player, spot):
            return spot
        for du, dv in _NUDGES:
            moved = (spot[0] + du, spot[1] + dv)
            if -4.0 <= moved[0] <= 36.0 and abs(moved[1]) <= 23.5 and not self._crowded(player, moved):
                return moved
        return spot

    def _crowded(self, player: str, spot: Point) -> bool:
        return any(_apart(spot, place) < ROOM_FT for name, place in self.places.items() if name != player)

    def _sign(self, zone: Zone, now: Point | None) -> float:
        ball = self.places.get(self.holder or "", (0.0, 0.0))[1]
        ball_sign = -1.0 if ball < 0 else 1.0
        match zone.side:
            case Side.RIGHT | Side.MIDDLE:
                return 1.0
            case Side.LEFT:
                return -1.0
            case Side.BALL:
                return ball_sign
            case Side.WEAK:
                return -ball_sign
            case Side.SAME | Side.OPPOSITE:
                other = ball if zone.than in (None, AT_START) else self.ends.get(str(zone.than), (0.0, ball))[1]
                sign = -1.0 if other < 0 else 1.0
                return sign if zone.side is Side.SAME else -sign
        return -1.0 if now is not None and now[1] < 0 else 1.0


def _apart(a: Point, b: Point) -> float:
    return float(np.hypot(a[0] - b[0], a[1] - b[1]))
