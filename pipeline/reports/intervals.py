"""Numbers with the interval that they may lie in: shares, medians, means, rates.

An interval says what the sample leaves open if runs like these were run again; it knows nothing of runs that the
recognisers missed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy import stats

from pipeline.tags.ranking import wilson


class Method(StrEnum):
    """Where an interval comes from, as it is told under a table."""

    WILSON = "shares: Wilson's score interval (Wilson 1927, J. Am. Stat. Assoc. 22:209)"
    BOOTSTRAP = "medians and means: percentile bootstrap (Efron 1979, Ann. Statist. 7:1)"
    GARWOOD = "rates: exact Poisson interval (Garwood 1936, Biometrika 28:437)"
    NEWCOMBE = "differences of shares: hybrid score interval (Newcombe 1998, Stat. Med. 17:873, method 10)"
    BOOTSTRAP_OF_TWO = (
        "differences of medians: percentile bootstrap, each side drawn again by itself (Efron 1979), whole games from "
        "four on (Field & Welsh 2007, J. R. Stat. Soc. B 69:369)"
    )


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number and its interval.

    Attributes
    ----------
    value, low, high : float
        NaN where nothing is known.
    count : int
        What it rests on.
    """

    value: float
    low: float
    high: float
    count: int

    @property
    def known(self) -> bool:
        """Whether there is a value."""
        return math.isfinite(self.value)


UNKNOWN = Estimate(math.nan, math.nan, math.nan, 0)
"""Nothing was seen."""


def share(successes: int, count: int, confidence: float) -> Estimate:
    """A share with Wilson's score interval; unknown where ``count`` is 0.

    Wilson 1927, "Probable inference, the law of succession, and statistical inference", J. Am. Stat. Assoc. 22:209.
    Chosen because it keeps its promise for small counts and never leaves 0..1 (Brown, Cai & DasGupta 2001, Stat.
    Sci. 16:101).
    """
    if count == 0:
        return UNKNOWN
    told = wilson(successes, count, z=float(stats.norm.ppf((1 + confidence) / 2)))
    return Estimate(told.share, told.low, told.high, count)


def median(values: np.ndarray, confidence: float, resamples: int, rng: np.random.Generator) -> Estimate:
    """A median with its percentile bootstrap interval (Efron 1979, Ann. Statist. 7:1).

    Parameters
    ----------
    values : ndarray of shape (N,)
        NaN for unknown, which is left out. One value alone has no interval: it is NaN.
    """
    return _bootstrapped(values, medians, confidence, resamples, rng)


def mean(values: np.ndarray, confidence: float, resamples: int, rng: np.random.Generator) -> Estimate:
    """The same for the mean."""
    return _bootstrapped(values, means, confidence, resamples, rng)


def rate(events: int, exposure: float, confidence: float, per: float = 1.0) -> Estimate:
    """Events per unit of exposure with Garwood's exact Poisson interval (Biometrika 28:437, 1936).

    Parameters
    ----------
    events : int
    exposure : float
        E.g. possessions; unknown where 0.
    per : float
        The unit, e.g. 100 possessions.
    """
    if exposure <= 0:
        return UNKNOWN
    out = (1 - confidence) / 2
    low = float(stats.chi2.ppf(out, 2 * events)) / 2 if events else 0.0
    high = float(stats.chi2.ppf(1 - out, 2 * events + 2)) / 2
    scale = per / exposure
    return Estimate(events * scale, low * scale, high * scale, events)


FEWEST_DRAWS = 999
MOST_DRAWN = 8_000_000
"""Values drawn for one interval or one comparison, in all samples together."""

AT_A_TIME = 2_000_000
"""Values held at a time."""

Statistic = Callable[[np.ndarray], np.ndarray]
"""From samples (R, N) to a number each (R,)."""


def medians(samples: np.ndarray) -> np.ndarray:
    """The median of every row."""
    return np.asarray(np.median(samples, axis=1))


def means(samples: np.ndarray) -> np.ndarray:
    """The mean of every row."""
    return np.asarray(samples.mean(axis=1))


def draws(asked: int, size: int) -> int:
    """How often samples of a size are drawn: as asked, less often where they are so large that it would take long.

    A season's ball screens are some 18,000; 999 draws of them say as much as is needed, and 10,000 would take a minute.
    """
    return min(asked, max(FEWEST_DRAWS, MOST_DRAWN // max(size, 1)))


def drawn_again(values: np.ndarray, statistic: Statistic, resamples: int, rng: np.random.Generator) -> np.ndarray:
    """A statistic (R,) of samples drawn from N known values with replacement, some rows at a time to save memory."""
    rows = max(1, AT_A_TIME // len(values))
    left = draws(resamples, len(values))
    found = []
    while left > 0:
        part = min(rows, left)
        found.append(statistic(values[rng.integers(0, len(values), (part, len(values)))]))
        left -= part
    return np.concatenate(found)


def known_of(values: np.ndarray) -> np.ndarray:
    """The values that are known, in order of size, so that the order of runs never matters."""
    values = np.asarray(values, dtype=float)
    return np.sort(values[np.isfinite(values)])


def _bootstrapped(
    values: np.ndarray, statistic: Statistic, confidence: float, resamples: int, rng: np.random.Generator
) -> Estimate:
    known = known_of(values)
    if not len(known):
        return UNKNOWN
    value = float(statistic(known[None])[0])
    if len(known) == 1:
        return Estimate(value, math.nan, math.nan, 1)
    low, high = percentiles(drawn_again(known, statistic, resamples, rng), confidence)
    return Estimate(value, low, high, len(known))


def percentiles(drawn: np.ndarray, confidence: float) -> tuple[float, float]:
    """The middle share of what was drawn."""
    out = (1 - confidence) / 2
    low, high = np.quantile(drawn, [out, 1 - out])
    return float(low), float(high)
