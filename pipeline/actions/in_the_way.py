"""Whether a screener stands in the way of the defender whom he screens.

Near is not enough: a body beside the defender, behind him or on the side that the other man does not go to holds nobody
up. In the way he is when he stands on the ground that the defender has to cross to stay with his man: the triangle of
where the defender is, where his man will be a moment later, and the spot between that and the ring from which he is
guarded. A screener on that ground is 0 ft off the way; beside it, as far off as its nearest edge. Where the nearest is
the defender himself, the screener is beside or behind him and holds him up only if bodies touch: he counts as farther
off by as much as touching is less than being in the way. Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from pipeline.actions.screen_settings import InTheWaySettings
from pipeline.actions.view import NOBODY, PossessionView


def off_way_ft(
    view: PossessionView, who: tuple[int, int, int], moment: int, rule: InTheWaySettings
) -> tuple[np.ndarray, np.ndarray]:
    """How far off the defender's way the screener stands about a moment.

    Parameters
    ----------
    view : PossessionView
    who : tuple of int
        Columns of screener, the man whom he screens for, and that man's defender.
    moment : int
        Of the screen; ``rule.around_s`` before and after it are looked at.
    rule : InTheWaySettings

    Returns
    -------
    moments : ndarray (T,) of int
        Those looked at.
    off_ft : ndarray (T,)
        Feet; NaN where it is not known.
    """
    screener, man, guard = who
    t = view.t_s[moment]
    span = view.span(t - rule.around_s, t + rule.around_s)
    here = np.arange(span.start, span.stop)
    if guard == NOBODY:
        return here, np.full(len(here), np.nan)
    then = np.minimum(here + view.steps(rule.ahead_s), len(view.t_s) - 1)
    own, screen = view.uv_ft[here, guard], view.uv_ft[here, screener]
    goes_to = view.uv_ft[then, man]
    away = np.linalg.norm(goes_to, axis=1, keepdims=True)
    spot = goes_to * (1.0 - np.minimum(rule.guards_ft / np.maximum(away, 1e-9), 1.0))
    gap = np.linalg.norm(screen - own, axis=1)
    off = to_triangle_ft(screen, own, goes_to, spot)
    beside = ~(off < gap - 1e-6)
    return here, np.where(beside, gap + rule.off_ft - rule.touching_ft, off)


def to_triangle_ft(point: np.ndarray, *corners: np.ndarray) -> np.ndarray:
    """Distance of points (N, 2) to triangles of three corners (N, 2) each, 0 inside; NaN where not known."""
    edges = [(a, b - a) for a, b in zip(corners, (*corners[1:], corners[0]), strict=True)]
    turns = [edge[:, 0] * (point - a)[:, 1] - edge[:, 1] * (point - a)[:, 0] for a, edge in edges]
    inside = (np.min(turns, axis=0) >= 0.0) | (np.max(turns, axis=0) <= 0.0)
    off = []
    for a, edge in edges:
        square = (edge**2).sum(axis=1)
        share = np.clip(((point - a) * edge).sum(axis=1) / np.where(square > 0, square, 1.0), 0.0, 1.0)
        off.append(np.linalg.norm(point - a - share[:, None] * edge, axis=1))
    least = np.min(off, axis=0)
    return np.where(inside & np.isfinite(least), 0.0, least)
