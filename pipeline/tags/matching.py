"""Which candidate of a new run is which tag of an earlier one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.tags.records import Candidate

LEAST_OVERLAP = 0.2
"""Intervals that share less of their union are different things."""

NEAR_S = 0.5
"""Moments nearer than this are the same thing, however long the intervals are."""

ACTORS_WEIGHT = 0.3
"""How much the same players count beside the overlap. Tracks are numbered anew by every run, so players decide
between rivals in time and never alone."""

FAVOUR = 0.2
"""How much better a tag matches that somebody has decided, and how much worse one that was withdrawn: of two old tags
for one new candidate the one that staff know gets it, unless the other fits plainly better."""


def match_candidates(
    earlier: Sequence[Candidate], later: Sequence[Candidate], favours: Sequence[float] | None = None
) -> dict[int, int]:
    """Pair candidates of two runs over one game.

    Pairs must be of one kind and overlap in time (intersection over union of the intervals at least
    ``LEAST_OVERLAP``, or moments within ``NEAR_S``). Among those the pairing with the greatest sum of overlap and
    agreement in players is taken, each candidate at most once. Roles may be called otherwise by the later run.

    Parameters
    ----------
    earlier, later : sequence of Candidate
    favours : sequence of float, optional
        Added to the worth of every pair of each earlier candidate.

    Returns
    -------
    dict of int to int
        Index in ``later`` -> index in ``earlier``.
    """
    from scipy.optimize import linear_sum_assignment  # a second of start-up that reading tags need not wait for

    pairs: dict[int, int] = {}
    for kind in {candidate.kind for candidate in later}:
        old = [n for n, candidate in enumerate(earlier) if candidate.kind == kind]
        new = [n for n, candidate in enumerate(later) if candidate.kind == kind]
        if not old:
            continue
        worth = np.array([[_worth(earlier[a], later[b]) for b in new] for a in old])
        favour = np.array([0.0 if favours is None else favours[a] for a in old])[:, None]
        rows, columns = linear_sum_assignment(np.where(worth > 0, -(1 + worth + favour), 0.0))
        pairs |= {new[c]: old[r] for r, c in zip(rows, columns, strict=True) if worth[r, c] > 0}
    return pairs


def _worth(a: Candidate, b: Candidate) -> float:
    """What a pair of one kind is worth; 0 where it cannot be one thing."""
    shared = min(a.end_s, b.end_s) - max(a.start_s, b.start_s)
    union = max(a.end_s, b.end_s) - min(a.start_s, b.start_s)
    overlap = max(shared, 0.0) / union if union > 0 else float(a.t_s == b.t_s)
    near = abs(a.t_s - b.t_s) <= NEAR_S
    if overlap < LEAST_OVERLAP and not near:
        return 0.0
    return 0.01 + overlap + near + ACTORS_WEIGHT * _same_players(a, b)


def _same_players(a: Candidate, b: Candidate) -> float:
    """0..1: half for the same main actor, half for the share of players in common."""
    first, second = [track for _, track in a.actors], [track for _, track in b.actors]
    if not first or not second:
        return 0.0
    in_common = len({*first} & {*second}) / len({*first} | {*second})
    return 0.5 * (first[0] == second[0]) + 0.5 * in_common
