"""How bodies move: an integrated Ornstein-Uhlenbeck process, filtered and smoothed in batches.

The velocity of a body decays towards rest with a time constant and is driven by noise, so its spread
stays that of a running player however long nobody sees him, while over a tenth of a second the model is
the usual nearly constant velocity. Transition and noise are exact for any time step (Uhlenbeck & Ornstein
1930; the integrated form as in Bibbona, Panfilo & Tavella 2008, *Metrologia* 45, S117), the filter is
Kalman's and the smoother that of Rauch, Tung & Striebel 1965. The two axes move independently; only
measurements may tie them together.

States are ``(..., 4)``: x, y, vx, vy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import ShapeError


@dataclass(frozen=True, slots=True)
class MotionModel:
    """Spread of the speed of a body and how long it keeps it.

    Attributes
    ----------
    speed : tuple of float
        Standard deviation of the velocity along the two axes, plane units per second.
    keeps_s : float
        Time constant with which velocity decays, seconds.
    wander : float
        What the plane itself wanders under a body (errors of the camera's motion), plane units per root second.
    """

    speed: tuple[float, float]
    keeps_s: float
    wander: float = 0.0

    def transition(self, dt_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Exact transition and noise over steps of ``dt_s`` seconds (any shape, non-negative).

        Returns
        -------
        (..., 4, 4) and (..., 4, 4) ndarrays
        """
        dt = np.asarray(dt_s, dtype=np.float64)
        ratio = dt / self.keeps_s
        decay = np.exp(-ratio)
        step = np.zeros((*dt.shape, 4, 4))
        noise = np.zeros((*dt.shape, 4, 4))
        # 2r - 3 + 4e^-r - e^-2r loses all digits for small r; its series is 2r^3/3 - r^4/2 + 7r^5/30 ...
        small = ratio < 1e-2
        exact = 2 * ratio - 3 + 4 * decay - decay**2
        travel = np.where(small, ratio**3 * (2 / 3 - ratio / 2 + 7 * ratio**2 / 30), exact)
        for axis in (0, 1):
            variance = self.speed[axis] ** 2
            place, velocity = axis, axis + 2
            step[..., place, place] = 1.0
            step[..., place, velocity] = self.keeps_s * -np.expm1(-ratio)
            step[..., velocity, velocity] = decay
            noise[..., place, place] = variance * self.keeps_s**2 * travel + self.wander**2 * dt
            noise[..., place, velocity] = variance * self.keeps_s * np.expm1(-ratio) ** 2
            noise[..., velocity, place] = noise[..., place, velocity]
            noise[..., velocity, velocity] = -variance * np.expm1(-2 * ratio)
        return step, noise

    def first(self, position: np.ndarray, covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """State and covariance after one sighting: (..., 2) and (..., 2, 2) to (..., 4) and (..., 4, 4)."""
        state = np.zeros((*position.shape[:-1], 4))
        state[..., :2] = position
        spread = np.zeros((*position.shape[:-1], 4, 4))
        spread[..., :2, :2] = covariance
        spread[..., 2, 2] = self.speed[0] ** 2
        spread[..., 3, 3] = self.speed[1] ** 2
        return state, spread


def inverse_2x2(matrix: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Inverse and determinant of (..., 2, 2) symmetric matrices."""
    a, b, d = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 1]
    determinant = a * d - b * b
    inverse = np.empty_like(matrix)
    inverse[..., 0, 0] = d / determinant
    inverse[..., 1, 1] = a / determinant
    inverse[..., 0, 1] = inverse[..., 1, 0] = -b / determinant
    return inverse, determinant


def update(
    state: np.ndarray, spread: np.ndarray, position: np.ndarray, covariance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Kalman's update of (..., 4) states with (..., 2) positions of known covariance."""
    inverse, _ = inverse_2x2(spread[..., :2, :2] + covariance)
    gain = spread[..., :, :2] @ inverse
    updated = state + (gain @ (position - state[..., :2])[..., None])[..., 0]
    narrowed = spread - gain @ spread[..., :2, :]
    return updated, 0.5 * (narrowed + np.swapaxes(narrowed, -1, -2))


def robust_update(
    state: np.ndarray, spread: np.ndarray, position: np.ndarray, covariance: np.ndarray, freedom: float
) -> tuple[np.ndarray, np.ndarray]:
    """:func:`update` that believes a position the less the farther it is from where it was expected.

    The covariance of the position is multiplied by (freedom + m²) / (freedom + 2) where that is above 1, m the
    Mahalanobis length of the miss: one step of the fit of a Student distribution.
    """
    inverse, _ = inverse_2x2(spread[..., :2, :2] + covariance)
    miss = position - state[..., :2]
    squared = np.einsum("...i,...ij,...j->...", miss, inverse, miss)
    factor = np.maximum((freedom + squared) / (freedom + 2), 1.0)
    return update(state, spread, position, covariance * factor[..., None, None])


def smooth(
    model: MotionModel, times_s: np.ndarray, positions: np.ndarray, covariances: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Fixed-interval smoother over a batch of paths.

    Parameters
    ----------
    model : MotionModel
    times_s : ndarray of shape (B, L)
        Non-decreasing along each path. Short paths are padded at the end by repeating their last time.
    positions : ndarray of shape (B, L, 2)
        NaN where unseen; each path's first must be seen.
    covariances : ndarray of shape (B, L, 2, 2)
        Of the positions; ignored where unseen.

    Returns
    -------
    states : ndarray of shape (B, L, 4)
    spreads : ndarray of shape (B, L, 4, 4)
    """
    if positions.shape != (*times_s.shape, 2) or covariances.shape != (*times_s.shape, 2, 2):
        raise ShapeError(
            f"smooth: times {times_s.shape}, positions {positions.shape}, covariances {covariances.shape}; "
            "expected (B, L), (B, L, 2), (B, L, 2, 2)."
        )
    batch, length = times_s.shape
    states = np.zeros((batch, length, 4))
    spreads = np.zeros((batch, length, 4, 4))
    if not batch or not length:
        return states, spreads
    if not np.all(np.isfinite(positions[:, 0])):
        raise ShapeError("smooth: a path begins unseen; begin each at its first sighting.")
    seen = np.isfinite(positions).all(axis=2)
    steps, noises = model.transition(np.diff(times_s, axis=1))
    predicted = np.zeros_like(states)
    predicted_spreads = np.zeros_like(spreads)
    state, spread = model.first(positions[:, 0], covariances[:, 0])
    states[:, 0], spreads[:, 0] = state, spread
    for i in range(1, length):
        step = steps[:, i - 1]
        state = (step @ state[..., None])[..., 0]
        spread = step @ spread @ np.swapaxes(step, 1, 2) + noises[:, i - 1]
        predicted[:, i], predicted_spreads[:, i] = state, spread
        here = seen[:, i]
        if here.all():
            state, spread = update(state, spread, positions[:, i], covariances[:, i])
        elif here.any():
            state, spread = state.copy(), spread.copy()
            state[here], spread[here] = update(state[here], spread[here], positions[here, i], covariances[here, i])
        states[:, i], spreads[:, i] = state, spread
    # Everything that does not depend on what comes later is worked out for all times at once.
    moves = (np.diff(times_s, axis=1) > 0)[..., None]
    target = np.where(moves[..., None], predicted_spreads[:, 1:], np.eye(4))
    turned = np.linalg.solve(target, np.where(moves[..., None], steps @ spreads[:, :-1], np.eye(4)))
    gains = np.swapaxes(turned, 2, 3)
    rest = np.where(moves, states[:, :-1] - (gains @ predicted[:, 1:, :, None])[..., 0], 0)
    rest_spreads = np.where(moves[..., None], spreads[:, :-1] - gains @ target @ turned, 0)
    for i in range(length - 2, -1, -1):
        gain = gains[:, i]
        states[:, i] = rest[:, i] + (gain @ states[:, i + 1, :, None])[..., 0]
        spreads[:, i] = rest_spreads[:, i] + gain @ spreads[:, i + 1] @ turned[:, i]
    return states, 0.5 * (spreads + np.swapaxes(spreads, 2, 3))
