"""A possession on an even clock, so that 5 Hz and 60 Hz tracking give the same closest approaches and speeds.

Places between samples lie on the cubic through them; a gap between samples that is too long stays unknown. Speeds
are the way over a fixed time and so do not depend on the frame rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from pipeline.actions.settings import SteadySettings
from pipeline.actions.view import NOBODY, PossessionView


@dataclass(frozen=True, slots=True, eq=False)
class Steady:
    """T even moments and N players of one possession.

    Attributes
    ----------
    view : PossessionView
        What it was made from; columns are the same.
    step_s : float
        Time from one moment to the next.
    t_s : ndarray (T,)
        Film time.
    uv_ft, velocity_ft_s : ndarray (T, N, 2)
        Attack frame; NaN where not known.
    speed_ft_s : ndarray (T, N)
        Length of the velocity.
    gap_ft : ndarray (T, N, N)
        Distance between every two players.
    ring_ft : ndarray (T, N)
        Distance to the point under the attacked ring.
    sigma_ft : ndarray (T, N)
        One-sigma uncertainty of the place.
    observed : ndarray (T, N) of bool
        Seen at the nearest sample, not filled in.
    handler : ndarray (T,) of int
        Column of the handler at the nearest sample, or ``NOBODY``.
    ball_uv_ft : ndarray (T, 2)
        Floor point under the ball; NaN where not known.
    """

    view: PossessionView
    step_s: float
    t_s: np.ndarray
    uv_ft: np.ndarray
    velocity_ft_s: np.ndarray
    speed_ft_s: np.ndarray
    gap_ft: np.ndarray
    ring_ft: np.ndarray
    sigma_ft: np.ndarray
    observed: np.ndarray
    handler: np.ndarray
    ball_uv_ft: np.ndarray

    def __post_init__(self) -> None:
        for array in (self.t_s, self.uv_ft, self.velocity_ft_s, self.speed_ft_s, self.gap_ft, self.ring_ft):
            array.flags.writeable = False
        for array in (self.sigma_ft, self.observed, self.handler, self.ball_uv_ft):
            array.flags.writeable = False

    def at(self, t_s: float) -> int:
        """The moment nearest to a time."""
        return int(np.clip(round((t_s - self.t_s[0]) / self.step_s), 0, len(self.t_s) - 1))

    def span(self, start_s: float, end_s: float) -> slice:
        """Moments from start to end, both included; at least one."""
        return slice(self.at(start_s), self.at(end_s) + 1)

    def steps(self, seconds: float) -> int:
        """How many moments a time is."""
        return round(seconds / self.step_s)

    def place(self, moment: int, column: int) -> np.ndarray:
        """Attack-frame place of a player, (2,)."""
        return self.uv_ft[moment, column]


def steady(view: PossessionView, settings: SteadySettings) -> Steady:
    """Put a possession on an even clock.

    Parameters
    ----------
    view : PossessionView
        Samples at any rising times.
    settings : SteadySettings

    Returns
    -------
    Steady
        From the first to the last sample; one moment where there is one sample.
    """
    count = 1 + int(np.floor((view.t_s[-1] - view.t_s[0]) / settings.step_s + 1e-6))
    t = view.t_s[0] + np.arange(count) * settings.step_s
    players = len(view.tracks)
    uv = np.stack([_between(view.t_s, view.uv_ft[:, n], t, settings) for n in range(players)], axis=1)
    nearest = _nearest(view.t_s, t)
    half = max(1, round(settings.speed_over_s / 2 / settings.step_s))
    velocity = _over(uv, half, settings.step_s)
    gap = np.linalg.norm(uv[:, :, None] - uv[:, None], axis=-1)
    return Steady(
        view=view,
        step_s=settings.step_s,
        t_s=t,
        uv_ft=uv,
        velocity_ft_s=velocity,
        speed_ft_s=np.linalg.norm(velocity, axis=-1),
        gap_ft=gap,
        ring_ft=np.linalg.norm(uv, axis=-1),
        sigma_ft=view.sigma_ft[nearest],
        observed=view.observed[nearest],
        handler=_handlers(view, t),
        ball_uv_ft=_between(view.t_s, view.ball_uv_ft, t, settings),
    )


def _between(t_known: np.ndarray, uv: np.ndarray, t: np.ndarray, settings: SteadySettings) -> np.ndarray:
    """Places (T, 2) at times ``t`` on the cubic through the known ones; NaN in gaps that are too long and outside."""
    out = np.full((len(t), 2), np.nan)
    known = np.flatnonzero(np.isfinite(uv).all(axis=1))
    if not len(known):
        return out
    times, places = t_known[known], uv[known]
    breaks = np.flatnonzero(np.diff(times) > settings.longest_gap_s) + 1
    for part in np.split(np.arange(len(times)), breaks):
        own = (t >= times[part[0]] - 1e-6) & (t <= times[part[-1]] + 1e-6)
        if len(part) == 1:
            out[own] = places[part]
        elif own.any():
            slope = np.gradient(places[part], times[part], axis=0)
            out[own] = CubicHermiteSpline(times[part], places[part], slope)(t[own])
    return out


def _over(uv: np.ndarray, half: int, step_s: float) -> np.ndarray:
    """Velocity as the way from ``half`` steps before to ``half`` after, or as much of it as is known."""
    velocity = np.full(uv.shape, np.nan)
    for reach in range(1, half + 1):  # wider ones overwrite narrower ones
        if len(uv) <= 2 * reach:
            break
        way = (uv[2 * reach :] - uv[: -2 * reach]) / (2 * reach * step_s)
        inner = velocity[reach:-reach]
        velocity[reach:-reach] = np.where(np.isfinite(way), way, inner)
    for reach in range(1, half + 1):  # at the ends of what is known, to one side
        if len(uv) <= reach:
            break
        way = (uv[reach:] - uv[:-reach]) / (reach * step_s)
        ahead, behind = velocity[:-reach], velocity[reach:]
        velocity[:-reach] = np.where(np.isfinite(ahead), ahead, way)
        velocity[reach:] = np.where(np.isfinite(behind), behind, way)
    return velocity


def _nearest(t_known: np.ndarray, t: np.ndarray) -> np.ndarray:
    after = np.clip(np.searchsorted(t_known, t), 0, len(t_known) - 1)
    before = np.maximum(after - 1, 0)
    return np.where(t - t_known[before] <= t_known[after] - t, before, after)


def _handlers(view: PossessionView, t: np.ndarray) -> np.ndarray:
    """The handler between two samples that agree on him is theirs; where they differ, the nearer one's."""
    handler = view.handler[_nearest(view.t_s, t)]
    return np.where(np.isfinite(t), handler, NOBODY)
