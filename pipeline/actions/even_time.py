"""Places at even times, whatever the rate of the film.

Rules that count moments, or take speeds from neighbouring ones, would say other things of the same play at 8 and at
60 pictures per second. So every place is put on one grid of times (multiples of a step, the same for every film) and
takes its speed from a fixed length of time: places lie on the cubic through the samples, and the velocity is the slope
of a straight line fitted around each moment, its neighbours weighted by a Gaussian of their distance in time (local
linear regression: Cleveland 1979, J. Am. Stat. Assoc. 74).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

REACH_SIGMAS = 3
"""Neighbours farther than this many sigmas in time weigh less than a hundredth and are left out."""


@dataclass(frozen=True, slots=True, eq=False)
class EvenPlaces:
    """K bodies at T even times.

    Attributes
    ----------
    place_ft, velocity_ft_s : ndarray (T, K, 2)
        NaN where not known.
    gap_s : ndarray (T, K)
        Time between the samples on both sides; 0 at a sample, NaN where the place is not known.
    """

    place_ft: NDArray[np.float64]
    velocity_ft_s: NDArray[np.float64]
    gap_s: NDArray[np.float64]


def even_times(first_s: float, last_s: float, step_s: float) -> NDArray[np.float64]:
    """Multiples of ``step_s`` from ``first_s`` to ``last_s``; at least one."""
    first = int(np.ceil(first_s / step_s - 1e-6))
    last = max(int(np.floor(last_s / step_s + 1e-6)), first)
    return np.arange(first, last + 1, dtype=np.float64) * step_s


def even_places(
    times_s: NDArray[np.float64],
    places_ft: NDArray[np.float64],
    grid_s: NDArray[np.float64],
    *,
    smooth_s: float,
    bridge_s: float,
) -> EvenPlaces:
    """Places and velocities on a grid of even times.

    Parameters
    ----------
    times_s : ndarray (M,)
        Times of the samples, rising.
    places_ft : ndarray (M, K, 2)
        NaN where not known.
    grid_s : ndarray (T,)
        Even times.
    smooth_s : float
        Sigma of the Gaussian that weighs the neighbours of a velocity.
    bridge_s : float
        Samples at most this far apart are joined; within longer gaps nothing is known.
    """
    shape = (len(grid_s), places_ft.shape[1])
    place, gap = np.full((*shape, 2), np.nan), np.full(shape, np.nan)
    for column in range(shape[1]):
        known = np.flatnonzero(np.isfinite(places_ft[:, column]).all(axis=1))
        if not len(known):
            continue
        at = times_s[known]
        after = np.clip(np.searchsorted(at, grid_s - 1e-9), 0, len(at) - 1)
        before = np.where(np.abs(at[after] - grid_s) <= 1e-9, after, np.maximum(after - 1, 0))
        width = at[after] - at[before]
        # half a step outside the first and last sample still counts as there, so that no rate loses its edges
        edge = 0.5 * (grid_s[1] - grid_s[0]) if len(grid_s) > 1 else 1e-6
        inside = (grid_s >= at[0] - edge - 1e-9) & (grid_s <= at[-1] + edge + 1e-9) & (width <= bridge_s + 1e-9)
        gap[inside, column] = width[inside]
        place[inside, column] = _cubic(at, places_ft[known, column], grid_s[inside], bridge_s)
    return EvenPlaces(place, _slopes(grid_s, place, smooth_s), gap)


def _cubic(
    at_s: NDArray[np.float64], places_ft: NDArray[np.float64], t_s: NDArray[np.float64], bridge_s: float
) -> NDArray[np.float64]:
    """Places (T, 2) on the cubic through those of each stretch without a long gap; outside it stays at the ends."""
    result = np.empty((len(t_s), 2))
    breaks = np.flatnonzero(np.diff(at_s) > bridge_s) + 1
    parts = np.split(np.arange(len(at_s)), breaks)
    middle = 0.5 * (at_s[breaks - 1] + at_s[breaks])
    which = np.searchsorted(middle, t_s)
    for number, part in enumerate(parts):
        own = which == number
        if not own.any():
            continue
        times, inside = at_s[part], np.clip(t_s[own], at_s[part[0]], at_s[part[-1]])
        if len(part) == 1:
            result[own] = places_ft[part]
        else:
            slope = np.gradient(places_ft[part], times, axis=0)
            result[own] = CubicHermiteSpline(times, places_ft[part], slope)(inside)
    return result


def _slopes(grid_s: NDArray[np.float64], place: NDArray[np.float64], smooth_s: float) -> NDArray[np.float64]:
    """Slope of the line fitted around each moment; arrays (T, K, 2)."""
    if len(grid_s) < 2:
        return np.where(np.isfinite(place), 0.0, np.nan)
    step = grid_s[1] - grid_s[0]
    reach = max(int(np.ceil(REACH_SIGMAS * smooth_s / step)), 1)
    sigma = max(smooth_s, 0.5 * step)
    known = np.isfinite(place)
    filled = np.where(known, place, 0.0)
    length = len(grid_s)
    count = min(reach, length - 1)
    sums = [np.zeros(place.shape) for _ in range(5)]
    for offset in range(-count, count + 1):
        to = slice(max(0, -offset), min(length, length - offset))
        source = slice(max(0, offset), min(length, length + offset))
        dt = offset * step
        weight = float(np.exp(-0.5 * (dt / sigma) ** 2))
        m, y = known[source], filled[source]
        sums[0][to] += weight * m
        sums[1][to] += weight * dt * m
        sums[2][to] += weight * dt * dt * m
        sums[3][to] += weight * y
        sums[4][to] += weight * dt * y
    s0, s1, s2, y0, y1 = sums
    spread = s0 * s2 - s1 * s1
    sound = spread > 1e-12
    slope = np.where(sound, (s0 * y1 - s1 * y0) / np.where(sound, spread, 1.0), 0.0)
    return np.where(known, slope, np.nan)
