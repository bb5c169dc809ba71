"""Slow tracking brought to a rate at which a ball's flight from hand to hand has moments of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from pipeline.ball.place_states import Places

LEAST_SAMPLES = 4


def denser(places: Places, longest_s: float, fills_s: float) -> Places:
    """Places with moments in between, where two are farther apart in time than ``longest_s``.

    A handoff takes a third of a second: of that, data at five hertz has one moment or two, and which of them falls
    within it is chance. Between moments everything is on the monotone cubic through them (Fritsch and Carlson 1980),
    so that nothing overshoots; what is not known on one side of a hole stays unknown within it, as does everything in
    a hole longer than ``fills_s``.

    Returns
    -------
    Places
        The same where no two moments are that far apart.
    """
    t_s = places.t_s
    step_s = np.diff(t_s)
    if len(t_s) < LEAST_SAMPLES or not (step_s > longest_s).any():
        return places
    parts = np.where(step_s > fills_s, 1, np.ceil(step_s / longest_s - 1e-6)).astype(int)
    at_s = np.concatenate(
        [*(np.linspace(a, b, n, endpoint=False) for a, b, n in zip(t_s, t_s[1:], parts, strict=False)), t_s[-1:]]
    )
    count, players = places.players_ft.shape[:2]
    return replace(
        places,
        t_s=at_s,
        ball_ft=_through(t_s, places.ball_ft, at_s),
        ball_z_ft=_through(t_s, places.ball_z_ft[:, None], at_s)[:, 0],
        players_ft=_through(t_s, places.players_ft.reshape(count, -1), at_s).reshape(len(at_s), players, 2),
    )


def _through(t_s: NDArray[np.float64], value: NDArray[np.float64], at_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Columns of ``value`` (T, K) at other times; NaN beside what is not known."""
    after = np.clip(np.searchsorted(t_s, at_s - 1e-9), 0, len(t_s) - 1)
    before = np.maximum(after - (np.abs(t_s[after] - at_s) > 1e-9), 0)
    found = np.full((len(at_s), value.shape[1]), np.nan)
    for column in range(value.shape[1]):
        known = np.isfinite(value[:, column])
        if known.sum() < LEAST_SAMPLES:
            found[:, column] = np.where(before == after, value[after, column], np.nan)
            continue
        there = known[before] & known[after]
        found[there, column] = PchipInterpolator(t_s[known], value[known, column])(at_s[there])
    return found
