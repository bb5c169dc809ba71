"""The published rules for holds, handoffs and on-ball screens, written straight from the papers as plain loops.

A second implementation that shares nothing with the product but numpy: possession and handoff after Hauri & Vucetic
2022 (arXiv:2209.00451, read in a summary) and Stephanos et al. 2022 (MIT Sloan Sports Analytics Conference), the
on-ball screen after McQueen, Wiens & Guttag 2014 (same conference). The courts are the NBA's.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np

LENGTH_FT, WIDTH_FT, RING_FT, LANE_FT, LANE_WIDTH_FT = 94.0, 50.0, 5.25, 19.0, 16.0

HOLD_FT, HOLD_FT_S, HOLD_S = 5.0, 25.0, 0.2
HANDOFF_FT, HANDOFF_S = 6.5, 0.32
HANDLER_S, SCREENER_FT, CLOSEST_FT, FARTHER_FT, DEFENDER_FT = 0.52, 10.0, 6.0, 2.0, 12.0

Hold = tuple[int, float, float]
Holders = Sequence[int | None]
"""Who holds the ball at each moment: what :func:`holders` gives."""


def holders(t_s: np.ndarray, ball: np.ndarray, players: Mapping[int, np.ndarray]) -> Holders:
    """The nearest player at each moment while the ball is within 5 ft of him and slower than 25 ft/s."""
    found: list[int | None] = []
    for k in range(len(t_s)):
        a, b = max(k - 1, 0), min(k + 1, len(t_s) - 1)
        speed = np.hypot(*(ball[b] - ball[a])) / (t_s[b] - t_s[a])
        gaps = {
            who: float(np.hypot(*(path[k] - ball[k]))) for who, path in players.items() if np.isfinite(path[k]).all()
        }
        nearest = min(gaps, key=lambda who: gaps[who]) if gaps and np.isfinite(ball[k]).all() else None
        held = nearest is not None and gaps[nearest] <= HOLD_FT and speed < HOLD_FT_S
        found.append(nearest if held else None)
    return found


def holds(t_s: np.ndarray, told: Holders) -> list[Hold]:
    """Holds of at least 0.2 s: who, from when, until when."""
    found: list[Hold] = []
    first = 0
    for k in range(1, len(t_s) + 1):
        if k < len(t_s) and told[k] == told[first]:
            continue
        if told[first] is not None and t_s[k - 1] - t_s[first] >= HOLD_S - 1e-9:
            found.append((int(told[first]), float(t_s[first]), float(t_s[k - 1])))
        first = k
    return found


def handoffs(
    t_s: np.ndarray, told: Holders, players: Mapping[int, np.ndarray], team: Mapping[int, int]
) -> list[tuple[int, int, float]]:
    """Giver, receiver, time: the hold goes to a teammate within 6.5 ft, the ball in nobody's hands at most 0.32 s."""
    found = []
    for (giver, _, end_s), (receiver, start_s, _) in itertools.pairwise(holds(t_s, told)):
        if giver == receiver or team[giver] != team[receiver] or start_s - end_s > HANDOFF_S:
            continue
        k = int(np.argmin(np.abs(t_s - start_s)))
        if np.hypot(*(players[giver][k] - players[receiver][k])) <= HANDOFF_FT:
            found.append((giver, receiver, start_s))
    return found


def _in_paint(place: np.ndarray, left: bool) -> bool:
    x = place[0] if left else LENGTH_FT - place[0]
    return 0 <= x <= LANE_FT and abs(place[1] - WIDTH_FT / 2) <= LANE_WIDTH_FT / 2


def on_ball_screens(
    t_s: np.ndarray,
    told: Holders,
    ball: np.ndarray,
    players: Mapping[int, np.ndarray],
    team: Mapping[int, int],
    attackers: int,
    left: bool,
) -> list[tuple[int, int, float]]:
    """Handler, screener, time of the closest approach."""
    ring = np.array([RING_FT if left else LENGTH_FT - RING_FT, WIDTH_FT / 2])
    found = []
    first = 0
    for k in range(1, len(t_s) + 1):
        if k < len(t_s) and told[k] == told[first]:
            continue
        handler, start, stop = told[first], first, k
        first = k
        if handler is None or team[handler] != attackers or t_s[stop - 1] - t_s[start] < HANDLER_S:
            continue
        for mate in [who for who, side in team.items() if side == attackers and who != handler]:
            inside: list[tuple[float, float]] = []
            for n in range(start, stop + 1):
                fits = n < stop
                if fits:
                    own, other = players[handler][n], players[mate][n]
                    gap = float(np.hypot(*(own - other)))
                    guards = [np.hypot(*(players[d][n] - own)) for d, side in team.items() if side != attackers]
                    fits = (
                        gap <= SCREENER_FT
                        and not _in_paint(other, left)
                        and np.hypot(*(other - ring)) - np.hypot(*(own - ring)) <= FARTHER_FT
                        and min(guards) <= DEFENDER_FT
                        and not _in_paint(ball[n], left)
                    )
                if fits:
                    inside.append((gap, float(t_s[n])))
                elif inside:
                    if min(inside)[0] <= CLOSEST_FT:
                        found.append((handler, mate, min(inside)[1]))
                    inside = []
    return found
