"""What is said of a screen when its script does not say it: type, route, read, coverage, by the paths and the orders.

What lies within a margin of a border is unknown.
"""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.deeds.run import Run
from pipeline.sim.plays.stage import DT_S

BEFORE_S, AFTER_S = 1.0, 1.2
SIDE_FT = 0.6


def _at(run: Run, k: int, seconds: float) -> int:
    return int(np.clip(k + round(seconds / DT_S), 0, len(run.uv) - 1))


def screen_type(run: Run, screener: int, cutter: int, k: int) -> str:
    """The type of an off-ball screen by the cutter's way past it and where the screener came from."""
    a, b = _at(run, k, -BEFORE_S), _at(run, k, AFTER_S)
    start, end, screen = run.uv[a, cutter], run.uv[b, cutter], run.uv[k, screener]
    came = run.uv[_at(run, k, -2.5), screener]
    rise, across = float(end[0] - start[0]), float(abs(end[1] - start[1]))
    nearer = float(np.hypot(*start) - np.hypot(*end))
    lane, line = run.floor.half_lane_ft, run.floor.line_u_ft
    through = start[1] * end[1] < 0 or min(abs(start[1]), abs(end[1])) < lane / 2
    if across > abs(rise) + 1.5 and screen[0] < line - 1 and abs(screen[1]) < lane + 2 and through:
        return "cross"
    if nearer > 7 and np.hypot(*end) < 10 and np.hypot(*came) < np.hypot(*start) - 2:
        return "back"
    if rise > 5 and screen[0] > start[0] - 0.5 and came[0] > screen[0] - 1.5:
        return "down"
    return "unknown"


def route(run: Run, screener: int, cutter: int, guard: int, k: int) -> str:
    """The way of the cutter's defender past the screener.

    Behind the cutter on his side he trails; else he went the high or the low side, by who is farther from the ring as
    he passes; well before the cutter he shot the gap.
    """
    if int(run.guard[_at(run, k, AFTER_S), cutter]) != guard:
        return "switches"
    passed = _passes(run, screener, guard, k)
    lateral = _side(run, screener, cutter, cutter, k) * _side(run, screener, guard, cutter, passed)
    late_s = (passed - k) * DT_S
    if abs(lateral) < SIDE_FT * SIDE_FT:
        return "unknown"
    if lateral > 0:
        return "trails" if late_s >= 0.2 else "unknown"
    if late_s <= -0.12:
        return "shoots_gap" if late_s <= -0.25 else "unknown"
    lead = float(run.ring(guard)[passed] - run.ring(screener)[passed])
    return "high_side" if lead > SIDE_FT else ("low_side" if lead < -SIDE_FT else "unknown")


def _passes(run: Run, screener: int, body: int, k: int) -> int:
    """When a body is nearest to the screener, from half a second before to a second after the cutter."""
    a, b = _at(run, k, -0.5), _at(run, k, 1.0)
    return a + int(np.argmin(run.gap(body, screener)[a : b + 1]))


def _side(run: Run, screener: int, body: int, cutter: int, k: int) -> float:
    """How far (feet, signed) a body is to one side of the screener, seen along the cutter's way there."""
    way = run.uv[_at(run, k, 0.12), cutter] - run.uv[_at(run, k, -0.12), cutter]
    size = max(float(np.hypot(*way)), 1e-6)
    off = run.uv[k, body] - run.uv[k, screener]
    return float(way[0] * off[1] - way[1] * off[0]) / size


def read(run: Run, screener: int, cutter: int, guard: int, k: int, taken: str) -> str:
    """Right when the cutter passed on the side that his defender did not, or left behind one who trailed."""
    if taken == "trails":
        gap = run.gap(cutter, guard)
        gain = float(gap[_at(run, k, 0.4)] - gap[_at(run, k, -0.4)])
        return "right" if gain > 0.5 else ("wrong" if gain < -0.5 else "unknown")
    if taken not in ("high_side", "low_side"):
        return "unknown"
    lead = float(run.ring(cutter)[k] - run.ring(screener)[k])
    if abs(lead) < SIDE_FT:
        return "unknown"
    return "right" if (lead > 0) != (taken == "high_side") else "wrong"


def coverage(run: Run, handler: int, screener: int, guard: int, k: int) -> str:
    """Switched, or over or under by the side of the screener on which the handler's defender passed."""
    after = _at(run, k, 1.5)
    if run.holder[_at(run, k, 0.3)] != handler:
        return "unknown"
    if int(run.guard[after, handler]) != guard:
        return "switch"
    a, b = _at(run, k, -0.2), _at(run, k, 1.2)
    gap = run.gap(guard, screener)[a : b + 1]
    near = a + int(np.argmin(gap))
    lead = float(run.ring(guard)[near] - run.ring(screener)[near])
    return "over" if lead > SIDE_FT else ("under" if lead < -SIDE_FT else "unknown")
