"""How a screener stands in the way of a defender who chases a cutter.

To stay with his man a defender goes straight to where that man will be a moment later. A screener who stands on that
way, no farther off it than half a body's width of each, a step or two before the defender, at the spot where the cutter
passes him, makes him go round or stop; one beside him, one whom he is past, one who only comes by does not, however
near. Common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from pipeline.actions.screen_settings import OffBallScreenSettings
from pipeline.actions.view import NOBODY, PossessionView

NAN = float("nan")


@dataclass(frozen=True, slots=True)
class InWay:
    """How surely a screener stood in a defender's way (0..1), and how far off it when he stood best, feet."""

    grade: float
    off_ft: float


def in_way(
    view: PossessionView, who: tuple[int, int, int], moment: int, rule: OffBallScreenSettings, speed_ft_s: float
) -> InWay:
    """The best ``way_for_s`` about a screen.

    Parameters
    ----------
    view : PossessionView
    who : tuple of int
        Columns of screener, cutter and the cutter's defender.
    moment : int
        At which the cutter passes the screener.
    rule : OffBallScreenSettings
    speed_ft_s : float
        About how fast the screener may be meanwhile.

    Returns
    -------
    InWay
        Half and NaN where nobody is known to guard the cutter or nothing was seen.
    """
    screener, cutter, guard = who
    if guard == NOBODY:
        return InWay(0.5, NAN)
    t = view.t_s[moment]
    span = view.span(t - rule.way_before_s, t + rule.way_after_s)
    here = np.arange(span.start, span.stop)
    later = np.minimum(here + view.steps(rule.way_to_s), len(view.t_s) - 1)
    own, screen = view.uv_ft[here, guard], view.uv_ft[here, screener]
    off = off_way_ft(screen, own, view.uv_ft[later, cutter], rule.body_ft)
    sigma = np.nan_to_num(view.sigma_ft[moment, [screener, guard]])
    grades = (
        _at_most(off, rule.way_off_ft, math.hypot(rule.way_soft_ft, *sigma)),
        _at_most(np.linalg.norm(screen - own, axis=1), rule.reach_ft, math.hypot(rule.reach_soft_ft, *sigma)),
        _at_most(view.speed_ft_s[here, screener], speed_ft_s, rule.screener_soft_ft_s),
        _at_most(
            np.linalg.norm(screen - view.uv_ft[moment, screener], axis=1), rule.same_spot_ft, rule.same_spot_soft_ft
        ),
    )
    grade = np.prod(grades, axis=0)
    if not np.isfinite(off).any():
        return InWay(0.5, NAN)
    width = min(max(view.steps(rule.way_for_s), 1), len(here))
    windows = np.lib.stride_tricks.sliding_window_view(np.nan_to_num(grade), width)
    best = int(windows.mean(axis=1).argmax())
    known = off[best : best + width]
    return InWay(float(windows[best].mean()), float(np.nanmean(known)) if np.isfinite(known).any() else NAN)


def runs_after_ft_s(view: PossessionView, who: tuple[int, int, int], moment: int, rule: OffBallScreenSettings) -> float:
    """How fast a defender gets at best towards where the cutter is a moment later, after the cutter passed the screen.

    Parameters and columns as for :func:`in_way`; NaN where nobody is known to guard the cutter or nothing was seen.
    """
    _, cutter, guard = who
    if guard == NOBODY:
        return NAN
    t = view.t_s[moment]
    span = view.span(t, t + rule.follows_within_s)
    here = np.arange(span.start, span.stop)
    later = np.minimum(here + view.steps(rule.before_s), len(view.t_s) - 1)
    way = view.uv_ft[later, cutter] - view.uv_ft[here, guard]
    length = np.maximum(np.linalg.norm(way, axis=1), rule.body_ft)
    speed = (view.velocity_ft_s[here, guard] * way).sum(axis=1) / length
    return float(np.nanmax(speed)) if np.isfinite(speed).any() else NAN


def off_way_ft(place: np.ndarray, start: np.ndarray, end: np.ndarray, body_ft: float) -> np.ndarray:
    """Distance of places (N, 2) from ways that begin ``body_ft`` after their start, (N,); NaN where not known."""
    way, to_place = end - start, place - start
    length = np.linalg.norm(way, axis=1)
    along = way / np.where(length > 0, length, 1.0)[:, None]
    share = np.clip((to_place * along).sum(axis=1), np.minimum(body_ft, length), length)
    return np.linalg.norm(to_place - along * share[:, None], axis=1)


def _at_most(value: np.ndarray, limit: float, spread: float) -> np.ndarray:
    """As ``grades.at_most``, for many; NaN where not known."""
    return ndtr((limit - value) / spread)
