"""Which candidate of a new run is which tag of an earlier one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import linear_sum_assignment

from pipeline.tags.records import Candidate

LEAST_OVERLAP = 0.2
"""Intervals that share less of their union are different things."""

NEAR_S = 0.5
"""Moments nearer than this are the same thing, however long the intervals are."""

ACTORS_WEIGHT = 0.3
"""How much the same main actor counts beside the overlap. Tracks are numbered anew by every run, so actors
decide between rivals in time and never alone."""


def match_candidates(earlier: Sequence[Candidate], later: Sequence[Candidate]) -> dict[int, int]:
    """Pair candidates of two runs over one game.

    Pairs must be of one kind and overlap in time (intersection over union of the intervals at least
    ``LEAST_OVERLAP``, or moments within ``NEAR_S``). Among those the pairing with the greatest sum of overlap and
    agreement in actors is taken, each candidate at most once.

    Returns
    -------
    dict of int to int
        Index in ``later`` -> index in ``earlier``.
    """
    if not earlier or not later:
        return {}
    worth = np.array([[_worth(a, b) for b in later] for a in earlier])
    rows, columns = linear_sum_assignment(-worth)
    return {int(c): int(r) for r, c in zip(rows, columns, strict=True) if worth[r, c] > 0}


def _worth(a: Candidate, b: Candidate) -> float:
    if a.kind != b.kind:
        return 0.0
    shared = min(a.end_s, b.end_s) - max(a.start_s, b.start_s)
    union = max(a.end_s, b.end_s) - min(a.start_s, b.start_s)
    overlap = max(shared, 0.0) / union if union > 0 else float(a.t_s == b.t_s)
    near = abs(a.t_s - b.t_s) <= NEAR_S
    if overlap < LEAST_OVERLAP and not near:
        return 0.0
    same = bool(a.actors and b.actors) and a.actors[0] == b.actors[0]
    return 0.01 + overlap + near + ACTORS_WEIGHT * same
