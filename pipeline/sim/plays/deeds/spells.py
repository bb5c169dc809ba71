"""Spells: stretches of steps over which something holds."""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.stage import DT_S


def spells(holds: np.ndarray, at_least_s: float, *, bridge_s: float = 0.0) -> list[tuple[int, int]]:
    """Half-open step ranges in which ``holds`` (T,) is true for so long; breaks up to ``bridge_s`` do not end one."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holds.astype(bool), [False]])))
    found: list[tuple[int, int]] = []
    for a, b in edges.reshape(-1, 2).tolist():
        if found and (a - found[-1][1]) * DT_S <= bridge_s:
            found[-1] = (found[-1][0], b)
        else:
            found.append((a, b))
    return [(a, b) for a, b in found if (b - a) * DT_S >= at_least_s - 1e-9]


def angle_deg(one: np.ndarray, other: np.ndarray) -> float:
    """Angle between two directions, 0..180; NaN when one has no length."""
    size = float(np.hypot(*one) * np.hypot(*other))
    return float(np.rad2deg(np.arccos(np.clip(float(one @ other) / size, -1, 1)))) if size > 1e-6 else float("nan")
