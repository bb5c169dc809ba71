"""Two sides of a comparison: how far apart they are, and whether the sample can tell.

The rule, and why:

1. *Too few.* A side with fewer than ``fewest_runs`` known runs is not compared. Below that the bootstrap interval of a
   median is little more than the range of the runs, and no shuffle can be rare enough to survive step 4.
2. *Each difference* is held against chance by shuffling the runs between the sides (a permutation test of the
   difference of medians; Fisher's exact test for shares). It assumes nothing of how the values are spread, and is exact
   where the sides do not differ at all.
3. *The games' own spread.* Runs of one game resemble each other: the same opponent, the same day. Where both sides have
   two games or more, the games' medians (or shares) must differ as well, by Welch's t test (1947), and the larger of
   the two chances counts. Without it, three games a side whose days differ as much as their runs do made two pages of
   three claim something. A side of one game is about that game; the page says so.
4. *All points together.* A set has many points of emphasis, and of nine that do not differ one in three reports would
   claim one. Holm's step-down (1979) keeps the chance of any false claim in a report at 1 - confidence.
5. *Different* is said when that holds and the interval of the difference leaves 0 out. *Alike* is said only when the
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

from pipeline.reports.intervals import (
    AT_A_TIME,
    UNKNOWN,
    Estimate,
    drawn_again,
    draws,
    known_of,
    medians,
    percentiles,
    share,
)


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


FEWEST_DRAWN_GAMES = 4
"""With fewer games on a side the bootstrap draws runs, not whole games."""


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
    times = draws(resamples, max(len(a), len(b)))
    drawn = drawn_again(a, medians, times, rng) - drawn_again(b, medians, times, rng)
    low, high = percentiles(drawn, confidence)
    return Estimate(value, low, high, len(a) + len(b))


def median_difference_of_games(
    one: Sequence[np.ndarray], other: Sequence[np.ndarray], confidence: float, resamples: int, rng: np.random.Generator
) -> Estimate:
    """The same where runs come in games: whole games are drawn again (Field & Welsh 2007, J. R. Stat. Soc. B 69:369).

    Parameters
    ----------
    one, other : sequence of ndarray
        Known and unknown values of each game. With fewer than ``FEWEST_DRAWN_GAMES`` games with a known value on a
        side single runs are drawn.
    """
    a, b = ([known for known in map(known_of, side) if len(known)] for side in (one, other))
    if min(len(a), len(b)) < FEWEST_DRAWN_GAMES:
        runs = [np.concatenate(side) if side else np.empty(0) for side in (a, b)]
        return median_difference(runs[0], runs[1], confidence, resamples, rng)
    value = float(np.median(np.concatenate(a)) - np.median(np.concatenate(b)))
    low, high = percentiles(_drawn_games(a, resamples, rng) - _drawn_games(b, resamples, rng), confidence)
    return Estimate(value, low, high, sum(map(len, a)) + sum(map(len, b)))


def _drawn_games(games: Sequence[np.ndarray], resamples: int, rng: np.random.Generator) -> np.ndarray:
    """Medians (R,) of samples of as many whole games, drawn with replacement."""
    chosen = rng.integers(0, len(games), (resamples, len(games)))
    times = np.stack([np.count_nonzero(chosen == n, axis=1) for n in range(len(games))], axis=1)
    values = np.concatenate(games)
    order = np.argsort(values, kind="stable")
    owner = np.repeat(np.arange(len(games)), [len(game) for game in games])[order]
    reached = np.cumsum(times[:, owner], axis=1)
    half = reached[:, -1:] / 2
    below, above = np.argmax(reached >= half, axis=1), np.argmax(reached > half, axis=1)
    return np.asarray((values[order][below] + values[order][above]) / 2)


def games_p(one: Sequence[float], other: Sequence[float]) -> float:
    """Welch's t test (1947, Biometrika 34:28) of the games' medians or shares; NaN with fewer than two games a side."""
    a, b = known_of(np.array(one)), known_of(np.array(other))
    if min(len(a), len(b)) < 2:
        return math.nan
    spread_a, spread_b = float(a.var(ddof=1)) / len(a), float(b.var(ddof=1)) / len(b)
    apart = abs(float(a.mean() - b.mean()))
    if spread_a + spread_b <= 1e-18:
        return float(apart < 1e-9)
    freedom = (spread_a + spread_b) ** 2 / (spread_a**2 / (len(a) - 1) + spread_b**2 / (len(b) - 1))
    return float(2 * stats.t.sf(apart / math.sqrt(spread_a + spread_b), freedom))


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
    times = draws(shuffles, len(both))
    rows = max(1, AT_A_TIME // len(both))
    as_far = 0
    for begin in range(0, times, rows):
        mixed = rng.permuted(np.broadcast_to(both, (min(rows, times - begin), len(both))), axis=1)
        apart = np.abs(np.median(mixed[:, : len(a)], axis=1) - np.median(mixed[:, len(a) :], axis=1))
        as_far += int(np.count_nonzero(apart >= seen - 1e-9))
    return float((1 + as_far) / (1 + times))


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
