"""Velocities of places that come at any rate and with gaps."""

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
    count = len(t_s)
    if not count:
        return np.zeros(values.shape)
    here = np.arange(count)
    low = np.minimum(np.searchsorted(t_s, t_s - within_s - 1e-9), np.maximum(here - 1, 0))
    high = np.maximum(np.searchsorted(t_s, t_s + within_s + 1e-9), np.minimum(here + 2, count))
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
    return np.where(usable, together / np.where(usable, spread, 1.0), np.nan)
