"""Dribbles: stretches of a hold in which the ball is seen going up and down below the waist.

Only what is seen counts: where the ball is hidden for longer than a bounce takes, a dribble is not known.
"""

from __future__ import annotations

import numpy as np

from pipeline.ball.settings import DribbleSettings


def dribbles(times_s: np.ndarray, height_ft: np.ndarray, settings: DribbleSettings) -> list[tuple[int, int]]:
    """Stretches of a live dribble within one hold.

    A two-state chain (held, dribbled) by dynamic programming: a held ball is about the chest, a dribbled one anywhere
    from the floor to the waist.

    Parameters
    ----------
    times_s : (F,) ndarray
    height_ft : (F,) ndarray
        Ball's height in each frame; NaN where it is not seen.

    Returns
    -------
    list of (int, int)
        First and past-last frame of each.
    """
    seen = np.flatnonzero(np.isfinite(height_ft))
    if len(seen) < settings.least_seen:
        return []
    height = height_ft[seen]
    held = 0.5 * ((height - settings.hold_ft) / settings.hold_sigma_ft) ** 2 + np.log(settings.hold_sigma_ft * 2.5)
    low = np.log(settings.top_ft) + np.maximum(height - settings.top_ft, 0) / 0.3
    cost = np.column_stack([np.minimum(held, 5.0), np.minimum(low, 5.0)])
    best, came = cost[0], np.zeros((len(seen), 2), dtype=np.int64)
    for k in range(1, len(seen)):
        change = best[::-1] + settings.change_cost
        came[k] = np.where(change < best, [1, 0], [0, 1])
        best = np.minimum(best, change) + cost[k]
    state = np.zeros(len(seen), dtype=np.int64)
    state[-1] = int(best.argmin())
    for k in range(len(seen) - 1, 0, -1):
        state[k - 1] = came[k, state[k]]
    bounced = (state == 1).astype(int)
    apart = np.flatnonzero((np.diff(bounced) != 0) | (np.diff(times_s[seen]) > settings.longest_gap_s)) + 1
    found = []
    for part in np.split(np.arange(len(seen)), apart):
        first, last = seen[part[0]], seen[part[-1]]
        enough = len(part) >= settings.least_seen and times_s[last] - times_s[first] >= settings.least_s
        if bounced[part[0]] and enough and height[part].min() <= settings.bounce_ft:
            found.append((int(first), int(last) + 1))
    return found
