"""Two tracks at one spot: where a tracker has one body twice, how far the two were apart is not known.

Two people cannot stand at one place; tracks that stay within a few inches of each other for a while are one body told
twice, or two whose places were merged. Their distance to each other is then not known, and neither's place is sure.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.actions.settings import ViewSettings
from pipeline.actions.stretches import stretches


def coinciding(gap_ft: NDArray[np.float64], step_s: float, rules: ViewSettings) -> NDArray[np.bool_]:
    """Moments at which two players are told to be at one place.

    Parameters
    ----------
    gap_ft : ndarray (T, N, N)
        Distances between players, NaN where not known.
    step_s : float
        Time from one moment to the next.
    rules : ViewSettings

    Returns
    -------
    ndarray (T, N, N) of bool
        True from when a pair gets nearer than ``merging_ft`` until it parts, if meanwhile it is nearer than
        ``one_place_ft`` for ``one_place_s`` on end; False on the diagonal.
    """
    count = gap_ft.shape[1]
    found = np.zeros(gap_ft.shape, bool)
    with np.errstate(invalid="ignore"):
        same, near = gap_ft <= rules.one_place_ft, gap_ft <= rules.merging_ft
    for one in range(count):
        for other in range(one):
            long_enough = [a for a, b in stretches(same[:, one, other]) if (b - a) * step_s >= rules.one_place_s - 1e-9]
            if long_enough:
                for a, b in stretches(near[:, one, other]):
                    if any(a <= start < b for start in long_enough):
                        found[a:b, one, other] = found[a:b, other, one] = True
    return found
