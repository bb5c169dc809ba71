"""How bodies move: steering under speed and acceleration limits, and keeping clear of one another.

All arrays are in feet and seconds; bodies are points on the floor (between the feet).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Limits:
    """What a body can do.

    Figures agree with optical tracking of real play (``data/possessions``): the 99.9th percentile of
    speed is about 20.5 ft/s and the 95th of acceleration about 15 ft/s².
    """

    sprint_ft_s: float = 21.5
    acceleration_ft_s2: float = 15.0
    braking_ft_s2: float = 13.0
    response_s: float = 0.22
    """Time constant with which a body takes up the speed it wants."""
    body_gap_ft: float = 1.75
    """Closest two bodies come."""
    comfort_gap_ft: float = 2.6
    """Bodies steer so as to pass each other at this distance."""
    look_ahead_s: float = 0.7


def arrival_velocity(
    position_ft: np.ndarray, goal_ft: np.ndarray, top_ft_s: np.ndarray, stops: np.ndarray, braking_ft_s2: float
) -> np.ndarray:
    """Velocity that heads for the goal and, where ``stops``, can still brake to stand on it.

    Parameters
    ----------
    position_ft, goal_ft : ndarray of shape (N, 2)
    top_ft_s : ndarray of shape (N,)
    stops : ndarray of bool, shape (N,)
        False for a point to be run through.
    braking_ft_s2 : float

    Returns
    -------
    ndarray of shape (N, 2)
    """
    to_goal = goal_ft - position_ft
    distance = np.hypot(to_goal[:, 0], to_goal[:, 1])
    brake = np.sqrt(2 * 0.55 * braking_ft_s2 * np.maximum(distance - 0.05, 0.0))
    brake = np.minimum(brake, distance * 3.2)
    speed = np.where(stops, np.minimum(top_ft_s, brake), top_ft_s)
    return to_goal * (speed / np.maximum(distance, 1e-6))[:, None]


def avoidance(position_ft: np.ndarray, velocity_ft_s: np.ndarray, comfort_ft: np.ndarray, limits: Limits) -> np.ndarray:
    """Acceleration away from bodies that are near or will be.

    Parameters
    ----------
    position_ft, velocity_ft_s : ndarray of shape (N, 2)
    comfort_ft : ndarray of shape (N, N)
        Distance each pair keeps; smaller for a screen or post defence.
    limits : Limits

    Returns
    -------
    ndarray of shape (N, 2), ft/s²
    """
    place, speed = position_ft.T, velocity_ft_s.T
    rel = place[:, :, None] - place[:, None, :]  # (axis, the other body, the body), as all that follows
    closing = speed[:, None, :] - speed[:, :, None]
    comfort = comfort_ft.T
    speed2 = np.maximum(_dot(closing, closing), 1e-6)
    dot = _dot(rel, closing)
    tca = np.minimum(np.maximum(dot / speed2, 0.0), limits.look_ahead_s)
    nearest = rel - closing * tca
    gap = np.sqrt(_dot(nearest, nearest))
    now = np.sqrt(_dot(rel, rel))
    # heading straight at each other: both step to their own right
    across = np.stack([-closing[1], closing[0]]) / np.sqrt(speed2)
    away = np.where(gap > 0.3, -nearest / np.maximum(gap, 1e-6), -across)
    short = np.maximum(comfort - gap, 0.0) / comfort
    strength = 16.0 * short / (0.35 + tca) * (dot > 0)
    push = (away * strength).sum(1)
    near = np.maximum(comfort - now, 0.0) / comfort
    np.fill_diagonal(near, 0.0)
    push -= (rel / np.maximum(now, 1e-6) * (16.0 * near)).sum(1)
    return np.ascontiguousarray(push.T)


def _dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return a[0] * b[0] + a[1] * b[1]


def keep_apart(
    position_ft: np.ndarray, velocity_ft_s: np.ndarray, gap_ft: float, yields: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Undo overlaps: bodies nearer than ``gap_ft`` are parted and lose their closing speed.

    Parameters
    ----------
    position_ft, velocity_ft_s : ndarray of shape (N, 2)
    gap_ft : float
    yields : ndarray of shape (N,)
        How much of the parting each takes; 0 is a set screen.

    Returns
    -------
    tuple of two ndarrays of shape (N, 2)
        Positions and velocities.
    """
    position, velocity = position_ft, velocity_ft_s
    for _ in range(2):
        rel = position[None] - position[:, None]
        now = np.hypot(rel[..., 0], rel[..., 1])
        pairs = [(i, j) for i, j in np.argwhere(now < gap_ft).tolist() if i < j]
        if not pairs:
            break
        position, velocity = position.copy(), velocity.copy()
        for i, j in pairs:
            d = now[i, j]
            n = rel[i, j] / d if d > 1e-6 else np.array([1.0, 0.0])
            total = max(yields[i] + yields[j], 1e-6)
            wi, wj = yields[i] / total, yields[j] / total
            lack = min(gap_ft - d, 0.12)
            position[i] -= n * lack * wi
            position[j] += n * lack * wj
            closing = float((velocity[i] - velocity[j]) @ n)
            if closing > 0:
                velocity[i] -= n * closing * wi
                velocity[j] += n * closing * wj
    return position, velocity


def smooth(values: np.ndarray, sigma_steps: float) -> np.ndarray:
    """Gaussian smoothing along the first axis, ends kept in place by odd reflection."""
    radius = int(np.ceil(3 * sigma_steps))
    if radius < 1 or len(values) < 3:
        return values.copy()
    radius = min(radius, len(values) - 1)
    kernel = np.exp(-0.5 * (np.arange(-radius, radius + 1) / sigma_steps) ** 2)
    kernel /= kernel.sum()
    head = 2 * values[:1] - values[radius:0:-1]
    tail = 2 * values[-1:] - values[-2 : -radius - 2 : -1]
    padded = np.concatenate([head, values, tail])
    flat = padded.reshape(len(padded), -1)
    out = np.empty((len(values), flat.shape[1]))
    for k in range(flat.shape[1]):
        out[:, k] = np.convolve(flat[:, k], kernel, mode="valid")
    return out.reshape(values.shape)


def turn_towards(facing_rad: np.ndarray, wanted_rad: np.ndarray, rate_rad_s: float, dt_s: float) -> np.ndarray:
    """Turn by the short way, eased, at most ``rate_rad_s``."""
    error = (wanted_rad - facing_rad + np.pi) % (2 * np.pi) - np.pi
    most = rate_rad_s * dt_s
    step = np.minimum(np.maximum(error * min(7.0 * dt_s, 1.0), -most), most)
    return facing_rad + step
