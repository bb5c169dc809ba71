"""Two sides of a comparison: how far apart they are, and whether the sample can tell.

The rule, and why:

1. *Too few.* A side with fewer than ``fewest_runs`` known runs is not compared. Below that the bootstrap interval of a
   median is little more than the range of the runs, and no shuffle can be rare enough to survive step 3.
2. *Each difference* is held against chance by shuffling the runs between the sides (a permutation test of the
   difference of medians; Fisher's exact test for shares). It assumes nothing of how the values are spread, and is exact
   where the sides do not differ at all.
3. *All points together.* A set has many points of emphasis, and of nine that do not differ one in three reports would
   claim one. Holm's step-down (1979) keeps the chance of any false claim in a report at 1 - confidence.
4. *Different* is said when that holds and the interval of the difference leaves 0 out. *Alike* is said only when the
   whole interval lies within what matters (the gap between the good and the poor range; a share of 0.2): the two
   one-sided tests of Schuirmann (1987). Anything else is *cannot tell*, and that is no "no difference".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy import stats

from pipeline.reports.intervals import UNKNOWN, Estimate, drawn_again, known_of, medians, percentiles, share


class Verdict(StrEnum):
    """What a sample says of a difference."""

    DIFFERENT = "different"
    ALIKE = "alike"
    CANNOT_TELL = "cannot tell"
    TOO_FEW = "too few"


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference before it is judged: its interval, its chance, and what matters (0 where nobody has said)."""

    estimate: Estimate
    p: float
    matters: float
    fewest: int


def median_difference(
    one: np.ndarray, other: np.ndarray, confidence: float, resamples: int, rng: np.random.Generator
) -> Estimate:
    """Median of one side less that of the other, with a percentile bootstrap interval.

    Each side is drawn again by itself (Efron 1979; Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 8).
    ``count`` is that of both. Unknown where a side has no known value.
    """
    a, b = known_of(one), known_of(other)
    if not len(a) or not len(b):
        return UNKNOWN
    value = float(np.median(a) - np.median(b))
    if len(a) == 1 or len(b) == 1:
        return Estimate(value, math.nan, math.nan, len(a) + len(b))
    drawn = medians(drawn_again(a, resamples, rng)) - medians(drawn_again(b, resamples, rng))
    low, high = percentiles(drawn, confidence)
    return Estimate(value, low, high, len(a) + len(b))


def share_difference(one: tuple[int, int], other: tuple[int, int], confidence: float) -> Estimate:
    """Share of one side less that of the other, with Newcombe's hybrid score interval (1998, method 10).

    Parameters
    ----------
    one, other : (successes, count)
    """
    a, b = share(*one, confidence), share(*other, confidence)
    if not a.known or not b.known:
        return UNKNOWN
    value = a.value - b.value
    below = math.hypot(a.value - a.low, b.high - b.value)
    above = math.hypot(a.high - a.value, b.value - b.low)
    return Estimate(value, value - below, value + above, a.count + b.count)


def shuffled_p(one: np.ndarray, other: np.ndarray, shuffles: int, rng: np.random.Generator) -> float:
    """How often shuffled sides lie as far apart in their medians as these do, two-sided.

    The share counts the sample itself among its shuffles, so that it is never 0 (Phipson & Smyth 2010, Stat. Appl.
    Genet. Mol. Biol. 9:39). NaN where a side has no known value.
    """
    a, b = known_of(one), known_of(other)
    if not len(a) or not len(b):
        return math.nan
    seen = abs(np.median(a) - np.median(b))
    both = np.sort(np.concatenate([a, b]))
    mixed = rng.permuted(np.broadcast_to(both, (shuffles, len(both))), axis=1)
    apart = np.abs(np.median(mixed[:, : len(a)], axis=1) - np.median(mixed[:, len(a) :], axis=1))
    return float((1 + np.count_nonzero(apart >= seen - 1e-9)) / (1 + shuffles))


def share_p(one: tuple[int, int], other: tuple[int, int]) -> float:
    """Fisher's exact test of two shares, two-sided; NaN where a side is empty."""
    if not one[1] or not other[1]:
        return math.nan
    table = [[one[0], one[1] - one[0]], [other[0], other[1] - other[0]]]
    return float(stats.fisher_exact(table).pvalue)


def holm(p: Sequence[float]) -> tuple[float, ...]:
    """P values adjusted for being looked at together (Holm 1979, Scand. J. Statist. 6:65).

    NaN stays NaN and does not count.
    """
    values = np.asarray(p, dtype=float)
    known = np.flatnonzero(np.isfinite(values))
    order = known[np.argsort(values[known], kind="stable")]
    adjusted = np.full(len(values), np.nan)
    reached = 0.0
    for rank, place in enumerate(order):
        reached = max(reached, min(1.0, (len(order) - rank) * values[place]))
        adjusted[place] = reached
    return tuple(float(value) for value in adjusted)


def judged(differences: Sequence[Difference], fewest_runs: int, confidence: float) -> tuple[Verdict, ...]:
    """The verdict on each of the differences of one comparison, by the rule of this module."""
    testable = [d.fewest >= fewest_runs and math.isfinite(d.estimate.low) for d in differences]
    adjusted = holm([d.p if able else math.nan for d, able in zip(differences, testable, strict=True)])
    verdicts = []
    for difference, able, p in zip(differences, testable, adjusted, strict=True):
        if not able:
            verdicts.append(Verdict.TOO_FEW)
            continue
        low, high = difference.estimate.low, difference.estimate.high
        if p <= 1 - confidence and (low > 0 or high < 0):
            verdicts.append(Verdict.DIFFERENT)
        elif difference.matters > 0 and -difference.matters < low and high < difference.matters:
            verdicts.append(Verdict.ALIKE)
        else:
            verdicts.append(Verdict.CANNOT_TELL)
    return tuple(verdicts)
