"""The crowded-paint rule of the glossary on exact paths, for the truth.

Written on its own from the rule's text, apart from ``pipeline.spacing``: five or more others (both
teams, the handler not counted) with a foot in the paint at the moment the handler turns the corner
after a ball screen, or at the moment his foot enters the paint on a drive, for 0.2 s around it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipeline.sim.plays.places import Places

CROWD = 5
WINDOW_S = 0.2
DRIVE_LENGTH_FT, DRIVE_SPEED_FT_S, DRIVE_NEAR_FT = 8.0, 8.0, 14.0
CORNER_ANGLE_RAD = np.deg2rad(35.0)


@dataclass(frozen=True, slots=True)
class Drive:
    """One drive: step indices into the possession (half-open), who, and its judged moments."""

    handler: int
    start: int
    end: int
    entry: int | None
    """First step with the handler in the paint."""
    corner: int | None
    """First step after the ball screen with his path past the screener and pointing at the ring."""
    length_ft: float


@dataclass(frozen=True, slots=True)
class PaintCount:
    """Others in the paint round one moment of a drive."""

    drive: Drive
    moment: int
    kind: str
    """"entry" or "corner"."""
    count: int
    """Fewest others over the window: all of it must be crowded."""
    most: int
    """Most others over the window."""
    edge_ft: float
    """Nearest that any other comes to the paint's border in the window: how clear the count is."""
    others: tuple[int, ...]


def find_drives(
    uv_ft: np.ndarray, holder: np.ndarray, dt_s: float, floor: Places, screens: list[tuple[float, int, int]]
) -> list[Drive]:
    """Drives of attackers, from paths and holder.

    Parameters
    ----------
    uv_ft : ndarray of shape (T, N, 2)
        Paths in the attack frame; bodies 0-4 attack.
    holder : ndarray of int, shape (T,)
        Who holds the ball, -1 for nobody.
    dt_s : float
    floor : Places
    screens : list of (t_s, handler, screener)
        On-ball screens, for the corner.

    Returns
    -------
    list of Drive
    """
    drives: list[Drive] = []
    edges = np.flatnonzero(np.diff(np.concatenate([[-2], holder, [-2]])))
    for a, b in pairwise(edges.tolist()):
        h = int(holder[a])
        if not 0 <= h < 5 or b - a < 5:
            continue
        path = uv_ft[a:b, h]
        ring = np.hypot(path[:, 0], path[:, 1])
        velocity = np.gradient(path, dt_s, axis=0)
        speed = np.hypot(velocity[:, 0], velocity[:, 1])
        towards = -(velocity * path).sum(1) / np.maximum(ring, 1e-6)
        fast = (towards > 0.5 * DRIVE_SPEED_FT_S) & (speed > DRIVE_SPEED_FT_S)
        k = 0
        while k < len(path):
            if not fast[k]:
                k += 1
                continue
            s = k
            slow = 0
            while k < len(path) and slow * dt_s < 0.3:
                slow = 0 if fast[k] else slow + 1
                k += 1
            e = k - slow
            length = float(ring[s] - ring[s : max(e, s + 1)].min())
            if length >= DRIVE_LENGTH_FT and ring[s : max(e, s + 1)].min() <= DRIVE_NEAR_FT:
                inside = np.flatnonzero(floor.in_paint(path[s:k]))
                began_inside = bool(len(inside)) and inside[0] == 0
                entry = int(a + s + inside[0]) if len(inside) and not began_inside else None
                corner = _corner(uv_ft, a + s, a + max(e, s + 1), h, dt_s, velocity[s : max(e, s + 1)], screens)
                drives.append(Drive(h, int(a + s), int(a + max(e, s + 1)), entry, corner, length))
    return drives


def _corner(
    uv_ft: np.ndarray,
    a: int,
    b: int,
    handler: int,
    dt_s: float,
    velocity: np.ndarray,
    screens: list[tuple[float, int, int]],
) -> int | None:
    near = [s for s in screens if s[1] == handler and -0.8 <= s[0] / dt_s * dt_s - a * dt_s <= (b - a) * dt_s]
    near += [s for s in screens if s[1] == handler and 0.0 < a * dt_s - s[0] <= 2.0 and s not in near]
    if not near:
        return None
    t_screen, _, screener = near[-1]
    for k in range(max(a, int(t_screen / dt_s)), b):
        p, v = uv_ft[k, handler], velocity[k - a]
        s = uv_ft[k, screener]
        past = float((s - p) @ v) <= 0.0
        cos = float(-(p @ v)) / max(float(np.hypot(*p) * np.hypot(*v)), 1e-6)
        if past and cos >= np.cos(CORNER_ANGLE_RAD):
            return k
    return None


def count_paint(uv_ft: np.ndarray, drive: Drive, dt_s: float, floor: Places) -> list[PaintCount]:
    """Others (bodies 0-9 but the handler) in the paint round the drive's moments."""
    found = []
    half = round(WINDOW_S / 2 / dt_s)
    others = [k for k in range(10) if k != drive.handler]
    for kind, moment in (("corner", drive.corner), ("entry", drive.entry)):
        if moment is None:
            continue
        a, b = max(moment - half, 0), min(moment + half + 1, len(uv_ft))
        window = uv_ft[a:b][:, others]
        inside = floor.in_paint(window)
        counts = inside.sum(1)
        here = tuple(o for o, yes in zip(others, floor.in_paint(uv_ft[moment][others]), strict=True) if yes)
        found.append(
            PaintCount(
                drive,
                moment,
                kind,
                int(counts.min()),
                int(counts.max()),
                float(border_distance(window, floor).min()),
                here,
            )
        )
    return found


def border_distance(uv_ft: np.ndarray, floor: Places) -> np.ndarray:
    """Distance of points (..., 2) from the lane's border, in or out, feet."""
    du = np.maximum(floor.baseline_u_ft - uv_ft[..., 0], uv_ft[..., 0] - floor.line_u_ft)
    dv = np.abs(uv_ft[..., 1]) - floor.half_lane_ft
    outside = np.hypot(np.maximum(du, 0), np.maximum(dv, 0))
    return np.where((du > 0) | (dv > 0), outside, -np.maximum(du, dv))
