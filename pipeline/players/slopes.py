"""Velocities, smoothing and shake of places that come at any rate and with gaps."""

from __future__ import annotations

import numpy as np


def velocities(t_s: np.ndarray, values: np.ndarray, within_s: float) -> np.ndarray:
    """Slopes of straight lines fitted to each moment's surroundings.

    Parameters
    ----------
    t_s : (T,) ndarray
        Rising.
    values : (T, C) ndarray
        NaN where not known.
    within_s : float
        Moments up to this much earlier and later count, and at least the next ones on either side.

    Returns
    -------
    (T, C) ndarray
        Change a second; NaN where fewer than two moments are known.
    """
    if not len(t_s):
        return np.zeros(values.shape)
    here = np.arange(len(t_s))
    low, high = _within(t_s, within_s)
    low, high = np.minimum(low, np.maximum(here - 1, 0)), np.maximum(high, np.minimum(here + 2, len(t_s)))
    return _lines(t_s, values, low, high)[1]


def smoothed(t_s: np.ndarray, values: np.ndarray, within_s: float) -> np.ndarray:
    """Values (T, C) on straight lines fitted to the moments within ``within_s``; unchanged where there is no other."""
    if not len(t_s):
        return np.zeros(values.shape)
    level, _ = _lines(t_s, values, *_within(t_s, within_s))
    return np.where(np.isfinite(level), level, values)


def shake_of(t_s: np.ndarray, values: np.ndarray) -> float:
    """One-sigma error of single values (T, C), told from how they jump about from moment to moment.

    A third difference is nothing for what moves with even acceleration; of values with independent errors its variance
    is 20 times theirs. Half of all values decide (median), so that a few jumps do not. 0 for fewer than four moments.
    """
    if len(t_s) < 4:
        return 0.0
    jumps = np.abs(np.diff(values, n=3, axis=0))
    jumps = jumps[np.isfinite(jumps)]
    return float(np.median(jumps) / (0.6745 * np.sqrt(20.0))) if len(jumps) else 0.0


def _within(t_s: np.ndarray, within_s: float) -> tuple[np.ndarray, np.ndarray]:
    """First and past-last moment within a time of each."""
    return np.searchsorted(t_s, t_s - within_s - 1e-9), np.searchsorted(t_s, t_s + within_s + 1e-9)


def _lines(t_s: np.ndarray, values: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Level at each moment and slope of the straight lines through the known values from ``low`` to ``high``."""
    known = np.isfinite(values)
    filled = np.where(known, values, 0.0)
    time = (t_s - t_s[0])[:, None]

    def total(part: np.ndarray) -> np.ndarray:
        summed = np.concatenate([np.zeros((1, part.shape[1])), np.cumsum(part, axis=0)])
        return summed[high] - summed[low]

    number = total(known.astype(float))
    mean_t = total(known * time) / np.maximum(number, 1)
    mean_v = total(filled) / np.maximum(number, 1)
    spread = total(known * time**2) - number * mean_t**2
    together = total(filled * time) - number * mean_t * mean_v
    usable = known & (number >= 2) & (spread > 1e-9)
    slope = np.where(usable, together / np.where(usable, spread, 1.0), np.nan)
    return mean_v + slope * (time - mean_t), slope
