"""Runs without the ball, and the legs they are made of."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.actions.settings import CutSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import PossessionView


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One attacker's way without the ball, or a part of it that begins and ends at a bend.

    Attributes
    ----------
    column : int
        Who.
    first, last : int
        First and last moment.
    start, end : ndarray (2,)
        Places there, attack frame.
    path : ndarray (n, 2)
        Places of its moments.
    bends : tuple of int
        Moments at which it changes its way, ends not counted.
    """

    column: int
    first: int
    last: int
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    path: NDArray[np.float64]
    bends: tuple[int, ...]

    @property
    def length_ft(self) -> float:
        """Along the path."""
        return float(np.hypot(*np.diff(self.path, axis=0).T).sum())

    @property
    def ring_ft(self) -> NDArray[np.float64]:
        """Distance to the ring along the path, (n,)."""
        return np.hypot(self.path[:, 0], self.path[:, 1])

    def legs(self) -> list[NDArray[np.float64]]:
        """Corner points of the path, (2,) each, from start to end."""
        inner = [self.path[b - self.first] for b in self.bends]
        return [self.start, *inner, self.end]


def runs_of(view: PossessionView, column: int, rule: CutSettings) -> Iterator[Run]:
    """Stretches in which an attacker runs without the ball in the half court, each whole.

    A short pause does not end a run; taking the ball does. Who is never fast only walks. Running up the floor is no
    cut: a run begins with the half-court phase (a little before it, since others are late) and inside ``out_u_ft``.
    """
    settled_s = np.inf if np.isnan(view.half_court_s) else view.half_court_s - rule.before_settled_s
    with np.errstate(invalid="ignore"):
        moves = (view.speed_ft_s[:, column] >= rule.moving_ft_s) & (view.handler != column)
        known = (view.uv_ft[:, column, 0] <= rule.out_u_ft) & (view.handler != column) & (view.t_s >= settled_s)
    for a, b in stretches(bridged(moves & known, view.t_s, rule.pause_s) & known):
        run = run_between(view, column, a, b - 1, rule)
        if run.length_ft >= rule.least_ft and np.nanmax(view.speed_ft_s[a:b, column]) >= rule.top_ft_s:
            yield run


def run_between(view: PossessionView, column: int, first: int, last: int, rule: CutSettings) -> Run:
    """The part of a player's way between two moments."""
    path = view.uv_ft[first : last + 1, column]
    bends = tuple(first + b for b in corners(path, rule.corner_ft))
    return Run(column, first, last, path[0], path[-1], path, bends)


def parts(run: Run, rule: CutSettings) -> Iterator[Run]:
    """The run, and every shorter one between two of its bends or ends, the longest first."""
    marks = [run.first, *run.bends, run.last]
    pairs = [(a, b) for n, a in enumerate(marks) for b in marks[n + 1 :]]
    for a, b in sorted(pairs, key=lambda p: (p[0] - p[1], p[0])):
        part = run if (a, b) == (run.first, run.last) else None
        if part is None:
            inside = tuple(m for m in run.bends if a < m < b)
            path = run.path[a - run.first : b - run.first + 1]
            part = Run(run.column, a, b, path[0], path[-1], path, inside)
        if part.length_ft >= rule.least_ft:
            yield part


def corners(path: NDArray[np.float64], tolerance_ft: float) -> list[int]:
    """Indices of a path's (n, 2) inner corners, by Douglas and Peucker's rule (1973)."""
    if len(path) < 3:
        return []
    chord = path[-1] - path[0]
    length = float(np.hypot(*chord))
    rel = path - path[0]
    if length > 1e-9:
        along = np.clip(rel @ chord / length**2, 0, 1)
        off = np.hypot(*(rel - along[:, None] * chord).T)
    else:
        off = np.hypot(*rel.T)
    worst = int(off.argmax())
    if off[worst] <= tolerance_ft or worst in (0, len(path) - 1):
        return []
    left = corners(path[: worst + 1], tolerance_ft)
    right = corners(path[worst:], tolerance_ft)
    return [*left, worst, *(worst + r for r in right)]
