"""Who stands in the attacked paint."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from pipeline.actions.view import NOBODY, PossessionView
from pipeline.court.attack_frame import to_court
from pipeline.court.geometry import in_paint


def others_in_paint(view: PossessionView, foot_ft: float) -> np.ndarray:
    """Which players have a foot in the attacked paint, the handler never counted.

    Parameters
    ----------
    view : PossessionView
        T moments, N players.
    foot_ft : float
        How far a foot reaches from where its player is placed.

    Returns
    -------
    ndarray of shape (T, N), bool
        False where a place is not known. The lane's lines belong to the paint.
    """
    places = to_court(view.uv_ft.reshape(-1, 2), view.book, view.end)
    inside = in_paint(places, view.book, view.end, foot_ft).reshape(view.uv_ft.shape[:2])
    with_ball = np.flatnonzero(view.handler != NOBODY)
    inside[with_ball, view.handler[with_ball]] = False
    return inside


def paint_probability(view: PossessionView, moment: int, least_sigma_ft: float, foot_ft: float) -> np.ndarray:
    """How likely each player has a foot in the attacked paint at a moment, shape (N,).

    The place is taken as normal around its estimate with ``sigma_ft`` in each direction, no surer than
    ``least_sigma_ft``; 0 where the place is not known.
    """
    uv = view.uv_ft[moment]
    sigma = np.fmax(view.sigma_ft[moment], least_sigma_ft)
    low_u = -view.book.ring_to_baseline_ft - foot_ft
    high_u = low_u + view.book.lane_length_ft + 2 * foot_ft
    half = view.book.lane_width_ft / 2 + foot_ft
    along = ndtr((high_u - uv[:, 0]) / sigma) - ndtr((low_u - uv[:, 0]) / sigma)
    across = ndtr((half - uv[:, 1]) / sigma) - ndtr((-half - uv[:, 1]) / sigma)
    return np.nan_to_num(along * across, nan=0.0)


def probability_of_at_least(count: int, chances: np.ndarray) -> float:
    """Probability that at least ``count`` of independent events with the given chances (N,) happen.

    The distribution of the number is Poisson's binomial, built up one event at a time.
    """
    distribution = np.zeros(len(chances) + 1)
    distribution[0] = 1.0
    for chance in chances:
        distribution[1:] = distribution[1:] * (1 - chance) + distribution[:-1] * chance
        distribution[0] *= 1 - chance
    return float(np.clip(distribution[count:].sum(), 0.0, 1.0))
