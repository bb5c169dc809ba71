"""The attack frame: places as a coach names them, whichever end is attacked.

Origin on the floor under the centre of the attacked ring, u towards half court, v to the right of
someone who faces that ring from half court. The left ring hangs at x = ring_to_baseline, the right one
at x = length - ring_to_baseline, both at half the width.

Facing the left ring is looking along -x, so right is +y; facing the right ring it is -y. Both maps turn the
floor without mirroring it.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.court.rule_books import RuleBook
from pipeline.errors import ShapeError

End = Literal["left", "right"]
ENDS: tuple[End, End] = ("left", "right")


def ring_ft(book: RuleBook, end: End) -> NDArray[np.float64]:
    """Point on the floor under the ring's centre: court x, y in feet, shape (2,)."""
    x_ft = book.ring_to_baseline_ft if _checked(end) == "left" else book.length_ft - book.ring_to_baseline_ft
    return np.array([x_ft, book.width_ft / 2])


def to_attack(xy_ft: ArrayLike, book: RuleBook, end: End) -> NDArray[np.float64]:
    """Court frame to attack frame.

    Parameters
    ----------
    xy_ft : array_like of shape (N, 2)
        Court x, y in feet. N may be 0; NaN stays NaN.
    book : RuleBook
    end : {"left", "right"}
        The end that is attacked.

    Returns
    -------
    ndarray of shape (N, 2)
        u, v in feet.
    """
    offset = _points(xy_ft) - ring_ft(book, end)
    return offset if end == "left" else -offset


def to_court(uv_ft: ArrayLike, book: RuleBook, end: End) -> NDArray[np.float64]:
    """Attack frame to court frame, the inverse of :func:`to_attack`; shapes as there."""
    uv = _points(uv_ft)
    return ring_ft(book, end) + (uv if end == "left" else -uv)


def nearest_end(xy_ft: ArrayLike, book: RuleBook) -> NDArray[np.str_]:
    """The end whose half each court point lies in, shape (N,); the halfway line counts as left."""
    return np.where(_points(xy_ft)[:, 0] <= book.length_ft / 2, "left", "right")


def _points(xy: ArrayLike) -> NDArray[np.float64]:
    points = np.asarray(xy, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2:
        raise ShapeError(f"Floor points must be (N, 2), got {points.shape}; pass x and y as two columns.")
    return points


def _checked(end: End) -> End:
    if end not in ENDS:
        raise ShapeError(f"There is no end '{end}'; the ends are 'left' and 'right'.")
    return end
