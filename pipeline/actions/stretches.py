"""Stretches of time in which something holds."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np


def stretches(mask: np.ndarray) -> Iterator[tuple[int, int]]:
    """First and past-last index of every run of True in ``mask`` (T,)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask.astype(bool), [False]]).astype(np.int8)))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def bridged(mask: np.ndarray, t_s: np.ndarray, gap_s: float) -> np.ndarray:
    """Fill runs of False that lie between two True and last at most ``gap_s`` from one to the other."""
    out = mask.astype(bool).copy()
    runs = list(stretches(out))
    for (_, end), (start, _) in itertools.pairwise(runs):
        if t_s[start] - t_s[end - 1] <= gap_s + 1e-9:
            out[end:start] = True
    return out
