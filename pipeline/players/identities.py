"""Identities: which pieces of paths are one body, judged by everything each body shows over a whole shot.

Neighbouring pieces of a path are weighed by motion (:mod:`pipeline.players.stitching`); whether all pieces of one body
look alike is a matter of the whole chain. A piece shows features (kit, learnt look, stature), each its body's own value
and an error. The body's own value is integrated out (two-covariance model: Brümmer & de Villiers 2010, *The speaker
partitioning problem*, Odyssey), so the evidence of a chain is a sum over features of a function of two sums over its
pieces, and every exchange of futures between two bodies can be judged at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linear_sum_assignment

from pipeline.players.settings import IdentitySettings, StitchSettings

LONGEST_STRETCH = 40
"""Places of possible exchange between the two ends of one exchanged stretch: about ten seconds of a crowd."""


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """What pieces show, ready to be summed over a chain.

    Attributes
    ----------
    precision : (T, D) ndarray
        1 / variance of each reading's error, in units where a body's own value has variance 1 over bodies; 0 unread.
    weighted : (T, D) ndarray
        Reading, from the mean over bodies, times precision.
    odds : (T,) ndarray
        Log odds of its being team 1's against team 0's; 0 where nothing is known.
    numbers : (T, K) ndarray
        How much likelier what was read on it is where each of some jersey numbers is worn than at large, in logarithms;
        0 where nothing was read, K 0 where nothing was read at all.
    """

    precision: np.ndarray
    weighted: np.ndarray
    odds: np.ndarray
    numbers: np.ndarray

    def join(self, other: Features) -> Features:
        """Both kinds of features of the same pieces."""
        return Features(
            np.concatenate([self.precision, other.precision], axis=1),
            np.concatenate([self.weighted, other.weighted], axis=1),
            self.odds + other.odds,
            np.concatenate([self.numbers, other.numbers], axis=1),
        )

    def of(self, members: np.ndarray) -> Features:
        """Only some of the pieces."""
        return Features(*(v[members] for v in self.sums()))

    def sums(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """All as (T, ...) arrays that are summed over a chain."""
        return self.precision, self.weighted, self.odds, self.numbers


def evidence(precision: np.ndarray, weighted: np.ndarray, odds: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    """Logarithm of how much likelier pieces are one body's than each another's, up to what pieces alone say.

    Parameters
    ----------
    precision, weighted : (..., D) ndarray
    odds : (...) ndarray
    numbers : (..., K) ndarray
        Sums over the pieces of a chain. An empty chain gives 0.

    Returns
    -------
    (...) ndarray
    """
    traits = np.sum(0.5 * weighted**2 / (1 + precision) - 0.5 * np.log1p(precision), axis=-1)
    half = 0.5 * np.abs(odds)  # a body is of either team, and stays so: log cosh(odds / 2)
    team = half + np.log1p(np.exp(-2 * half)) - np.log(2)
    if not numbers.shape[-1]:
        return traits + team
    top = numbers.max(axis=-1)  # and it wears one number, whichever: log mean exp
    return traits + team + top + np.log(np.mean(np.exp(numbers - top[..., None]), axis=-1))


def pair_ratios(features: Features) -> np.ndarray:
    """Log-likelihood ratio of every two pieces being one body's against two bodies', (T, T); numbers are left out."""
    features = replace(features, numbers=features.numbers[:, :0])
    alone = evidence(*features.sums())
    together = evidence(*(v[:, None] + v[None] for v in features.sums()))
    return together - alone[:, None] - alone[None]


@dataclass(frozen=True, slots=True, eq=False)
class LookSpace:
    """Directions in which bodies of one film look different, scaled so that bodies have variance 1.

    Attributes
    ----------
    mean : (F,) ndarray
    axes : (F, D) ndarray
    noise : (D,) ndarray
        Variance of one part's look about its body's.
    part : float
        Sightings of one part.
    """

    mean: np.ndarray
    axes: np.ndarray
    noise: np.ndarray
    part: float

    def features(self, looks: np.ndarray, counts: np.ndarray, settings: IdentitySettings) -> Features:
        """Features of pieces with mean looks (T, F), NaN where unread, each of ``counts`` (T,) sightings."""
        known = np.isfinite(looks).all(axis=1) & (counts > 0)
        reading = np.where(known[:, None], looks - self.mean, 0.0) @ self.axes
        reading = np.clip(reading, -settings.look_bound, settings.look_bound)
        error = self.noise * (settings.look_shared + self.part / np.maximum(counts, 1)[:, None])
        precision = np.where(known[:, None], settings.look_weight / error, 0.0)
        return Features(precision, precision * reading, np.zeros(len(looks)), np.zeros((len(looks), 0)))


def fit_looks(stretches: Sequence[np.ndarray], part: float, settings: IdentitySettings) -> LookSpace | None:
    """Learn from a film's own unbroken paths how one body's look varies and how bodies differ.

    The parts of a stretch are one body; stretches at large are bodies drawn at random. Directions are those of Fisher's
    discriminant with a shrunk within-covariance (Friedman 1989, *JASA* 84).

    Parameters
    ----------
    stretches : sequence of (n_i, F) ndarray
        Mean looks of the parts of each stretch, n_i at least 2.
    part : float
        Sightings of one part.

    Returns
    -------
    LookSpace or None
        None where there are too few parts, or bodies differ in no direction.
    """
    count = sum(len(s) for s in stretches)
    if count < settings.fewest_parts:
        return None
    every = np.concatenate(list(stretches))
    away = np.concatenate([s - s.mean(axis=0) for s in stretches])
    within = away.T @ away / max(count - len(stretches), 1)
    mean = every.mean(axis=0)
    spread = (every - mean).T @ (every - mean) / count
    size = len(mean)
    within = (1 - settings.shrinkage) * within + settings.shrinkage * np.eye(size) * np.trace(within) / size
    root = np.linalg.cholesky(within + 1e-9 * np.eye(size) * max(np.trace(within), 1e-9))
    inverse = np.linalg.inv(root)
    values, vectors = np.linalg.eigh(inverse @ (spread - within) @ inverse.T)
    kept = values > settings.least_gain
    if not kept.any():
        return None
    values, vectors = values[kept][::-1], vectors[:, kept][:, ::-1]
    axes = inverse.T @ vectors / np.sqrt(values)
    return LookSpace(mean, axes, 1 / values, part)


def stature_features(stature: np.ndarray, counts: np.ndarray, settings: StitchSettings) -> Features:
    """Features of log statures (T,), NaN where unknown: one reading for every ``stature_block`` sightings."""
    known = np.isfinite(stature) & (counts >= settings.stature_from)
    readings = np.maximum(counts / settings.stature_block, 0.5)
    precision = np.where(known, readings * (settings.stature_between / settings.stature_within) ** 2, 0.0)
    value = np.where(known, stature, 0.0) / settings.stature_between
    return Features(
        precision[:, None], (precision * value)[:, None], np.zeros(len(stature)), np.zeros((len(stature), 0))
    )


def _exchanges(a: Sequence[int], b: Sequence[int], first: np.ndarray, last: np.ndarray) -> list[tuple[int, int]]:
    """Places (i, j) at which two chains may exchange their futures: neither goes back in time."""
    start_a, end_a = first[list(a)], last[list(a)]
    start_b, end_b = first[list(b)], last[list(b)]
    places: list[tuple[int, int]] = []
    for i in range(len(a) + 1):
        # b[j] begins after a[i-1] ends, b[j-1] ends before a[i] begins
        low = 0 if i == 0 else int(np.searchsorted(start_b, end_a[i - 1], side="right"))
        high = len(b) if i == len(a) else int(np.searchsorted(end_b, start_a[i], side="left"))
        places.extend((i, j) for j in range(low, high + 1))
    return places


def _stretches(places: int) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of places between which two chains may exchange: near ones, and every one with the last (all that follows).

    Two bodies that exchanged long ago exchange again by two exchanges of all that follows.
    """
    begin = np.arange(places)[:, None]
    near = begin + 1 + np.arange(LONGEST_STRETCH)[None]
    p, q = np.nonzero(near < places - 1)
    p, q = p, near[p, q]
    whole = np.arange(places - 1)
    return np.concatenate([p, whole]), np.concatenate([q, np.full(places - 1, places - 1)])


def _best_exchange(
    a: list[int], b: list[int], first: np.ndarray, last: np.ndarray, links: np.ndarray, features: Features
) -> tuple[float, list[int], list[int]]:
    """Greatest gain by exchanging one stretch of two chains, and the chains after it.

    ``links`` is (T + 1, T + 1) with a last row and column of zeros for a chain's ends.
    """
    nobody = len(links) - 1
    places = np.array(_exchanges(a, b, first, last), dtype=np.int64)
    if len(places) < 2:
        return 0.0, a, b
    p, q = _stretches(len(places))
    i1, j1, i2, j2 = places[p, 0], places[p, 1], places[q, 0], places[q, 1]
    ordered = (i1 <= i2) & (j1 <= j2) & ~((i1 == i2) & (j1 == j2))
    whole = (i1 == 0) & (j1 == 0) & (i2 == len(a)) & (j2 == len(b))
    i1, j1, i2, j2 = (v[ordered & ~whole] for v in (i1, j1, i2, j2))
    if not len(i1):
        return 0.0, a, b
    ea, eb = np.array([nobody, *a, nobody]), np.array([nobody, *b, nobody])

    def link_sum(
        before: np.ndarray, inner: np.ndarray, start: np.ndarray, stop: np.ndarray, after: np.ndarray
    ) -> np.ndarray:
        """Links around a stretch inner[start:stop] put between two pieces."""
        empty = start == stop
        head, tail = inner[start + 1], inner[stop]
        return np.where(empty, links[before, after], links[before, head] + links[tail, after])

    before_a, after_a = ea[i1], ea[i2 + 1]
    before_b, after_b = eb[j1], eb[j2 + 1]
    gain = link_sum(before_a, eb, j1, j2, after_a) + link_sum(before_b, ea, i1, i2, after_b)
    now = link_sum(before_a, ea, i1, i2, after_a) + link_sum(before_b, eb, j1, j2, after_b)
    gain = gain - now
    of_a, of_b, moved = [], [], []
    for values in features.sums():
        ca, cb = (np.concatenate([np.zeros_like(values[:1]), np.cumsum(values[c], axis=0)]) for c in (a, b))
        moved.append((cb[j2] - cb[j1]) - (ca[i2] - ca[i1]))
        of_a.append(ca[-1])
        of_b.append(cb[-1])
    old = evidence(*of_a) + evidence(*of_b)
    gain = gain + evidence(*(x + d for x, d in zip(of_a, moved, strict=True))) - old
    gain = gain + evidence(*(x - d for x, d in zip(of_b, moved, strict=True)))
    best = int(np.argmax(np.where(np.isfinite(gain), gain, -np.inf)))
    if not gain[best] > 1e-6:
        return 0.0, a, b
    s, t, u, v = int(i1[best]), int(i2[best]), int(j1[best]), int(j2[best])
    return float(gain[best]), a[:s] + b[u:v] + a[t:], b[:u] + a[s:t] + b[v:]


def exchange(
    chains: list[list[int]], first: np.ndarray, last: np.ndarray, links: np.ndarray, features: Features
) -> list[list[int]]:
    """Let bodies exchange stretches of their paths wherever that is likelier on the whole, until nothing is.

    Parameters
    ----------
    chains : list of list of int
        Pieces of each body, in time.
    first, last : (T,) ndarray
        Moments of each piece's ends.
    links : (T, T) ndarray
        Log-likelihood ratio that one piece goes on where another ended; -inf is forbidden.
    features : Features
    """
    chains = [list(c) for c in chains]
    count = len(first)
    around = np.zeros((count + 1, count + 1))
    around[:count, :count] = links
    for _ in range(20):
        chains = _pairwise(chains, first, last, around, features)
        chains, gain = _at_moments(chains, first, around, features)
        if gain <= 0:
            break
    return [c for c in chains if c]


def _pairwise(
    chains: list[list[int]], first: np.ndarray, last: np.ndarray, around: np.ndarray, features: Features
) -> list[list[int]]:
    """The best exchange of two bodies' stretches, again and again until there is none."""
    chains = list(chains)
    found = {
        (x, y): _best_exchange(chains[x], chains[y], first, last, around, features)
        for x in range(len(chains))
        for y in range(x + 1, len(chains))
    }
    for _ in range(20 * max(1, len(chains))):
        if not found:
            break
        (x, y), (gain, new_x, new_y) = max(found.items(), key=lambda item: item[1][0])
        if gain <= 0:
            break
        chains[x], chains[y] = new_x, new_y
        for pair in found:
            if x in pair or y in pair:
                found[pair] = _best_exchange(chains[pair[0]], chains[pair[1]], first, last, around, features)
    return chains


def _at_moments(
    chains: list[list[int]], first: np.ndarray, around: np.ndarray, features: Features
) -> tuple[list[list[int]], float]:
    """At every moment at which a piece begins, give all bodies' pasts their likeliest futures; and the gain of it all.

    What a past and a future are worth together does not depend on the others, so the best giving is an assignment:
    three bodies that went round are found, which no exchange of two shows.
    """
    total = 0.0
    nobody = len(around) - 1
    for moment in np.unique(first):
        pasts, futures = [], []
        for chain in chains:
            split = int(np.searchsorted(first[chain], moment)) if chain else 0
            pasts.append(chain[:split])
            futures.append(chain[split:])
        ends = np.array([p[-1] if p else nobody for p in pasts])
        starts = np.array([f[0] if f else nobody for f in futures])
        past, future = (
            [np.array([v[c].sum(axis=0) for c in part]) for v in features.sums()] for part in (pasts, futures)
        )
        worth = around[np.ix_(ends, starts)] + evidence(*(p[:, None] + f for p, f in zip(past, future, strict=True)))
        now = float(np.trace(worth))
        _, chosen = linear_sum_assignment(-np.where(np.isfinite(worth), worth, -1e9))
        best = float(worth[np.arange(len(chains)), chosen].sum())
        if best > now + 1e-6:
            total += best - now
            chains = [p + futures[c] for p, c in zip(pasts, chosen.tolist(), strict=True)]
    return chains, total
