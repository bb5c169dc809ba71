"""Who guards whom, moment by moment.

A defender's mean place is 0.62 man + 0.11 ball + 0.27 ring (Franks et al. 2015, arXiv:1405.0231). Each moment's
defenders are given to the attackers so that their distances from those places, averaged over a while, are least in
sum (Hungarian method); who guarded a man a moment ago keeps him unless another fits clearly better, and who is his man
in most of the time around is believed to be so where bodies are close together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.optimize import linear_sum_assignment

from pipeline.actions.settings import GuardSettings

NOBODY = -1
"""Index where nobody is meant, or it is not known who."""


def guards(
    grid_s: NDArray[np.float64],
    uv_ft: NDArray[np.float64],
    attackers: NDArray[np.bool_],
    defenders: NDArray[np.bool_],
    ball_uv_ft: NDArray[np.float64],
    settings: GuardSettings,
) -> NDArray[np.int64]:
    """Column of the defender matched to each attacker.

    Parameters
    ----------
    grid_s : ndarray (T,)
        Even times.
    uv_ft : ndarray (T, N, 2)
        Attack frame, NaN where not known.
    attackers, defenders : ndarray (N,) of bool
    ball_uv_ft : ndarray (T, 2)
        NaN where not known: then the man and the ring say where a defender should be.

    Returns
    -------
    ndarray (T, N) of int
        -1 for defenders, and where nobody is matched.
    """
    result = np.full(uv_ft.shape[:2], NOBODY)
    men, others = np.flatnonzero(attackers), np.flatnonzero(defenders)
    if not len(men) or not len(others):
        return result
    step = grid_s[1] - grid_s[0] if len(grid_s) > 1 else settings.over_s
    stride = max(round(settings.every_s / step), 1)
    coarse = slice(0, None, stride)
    ball_known = np.isfinite(ball_uv_ft[coarse, 0])[:, None, None]
    ball = np.nan_to_num(ball_uv_ft[coarse])[:, None, :]
    man = uv_ft[coarse][:, men]
    without = settings.man + settings.ring
    wanted = np.where(ball_known, settings.man * man + settings.ball * ball, settings.man / without * man)
    miss = np.linalg.norm(uv_ft[coarse][:, None, others] - wanted[:, :, None], axis=-1)  # (T, men, others)
    known = np.isfinite(miss)
    width = max(round(settings.over_s / (step * stride)), 1)
    total = uniform_filter1d(np.where(known, miss, 0.0), width, axis=0, mode="nearest")
    share = uniform_filter1d(known.astype(float), width, axis=0, mode="nearest")
    mean = np.where(share > 1e-9, total / np.maximum(share, 1e-9), settings.unknown_ft)
    matched = _matched(mean, np.zeros_like(mean), settings)
    width = 2 * max(round(settings.usual_over_s / (step * stride)), 1) + 1
    usual = uniform_filter1d(matched.astype(float), width, axis=0, mode="constant")
    weight = uniform_filter1d(np.ones(len(matched)), width, mode="constant")
    matched = _matched(mean, usual / weight[:, None, None], settings)
    for number, pairs in enumerate(matched & (mean < settings.unknown_ft)):
        rows, columns = np.nonzero(pairs)
        result[number * stride : (number + 1) * stride, men[rows]] = others[columns]
    return result


def _matched(mean_ft: NDArray[np.float64], usual: NDArray[np.float64], settings: GuardSettings) -> NDArray[np.bool_]:
    """The cheapest matching at each moment, (T, men, others) bool.

    Who guarded a man a moment ago keeps him unless another fits better by ``stays_ft``, and by as much more of
    ``usual_ft`` as he has been his man for more of the time around (``usual``, 0..1, shaped as ``mean_ft``).
    """
    matched = np.zeros(mean_ft.shape, bool)
    before = np.zeros(mean_ft.shape[1:], bool)
    for number, cost in enumerate(mean_ft - settings.usual_ft * usual):
        rows, columns = linear_sum_assignment(cost - settings.stays_ft * before)
        before = np.zeros_like(before)
        before[rows, columns] = True
        matched[number] = before
    return matched
