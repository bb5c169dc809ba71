"""What a body's past says about its future: filters in both directions of time and how well the two join.

A body's box has four measurements: where its middle is across and down a plane, the logarithm of its height and that
of its width. Each is the sum of up to three independent parts with Gaussian noise, so a path's past up to any
moment is a Gaussian state (Kalman's filter), its future a quadratic in that state (the information filter run
backwards, Fraser & Potter 1969, *IEEE Trans. Automatic Control* 14, 387), and the evidence that a past and a
future are one body's is the integral of their product, in closed form. Comparing these over bodies says where two
of them are likelier to have exchanged identities.

Across and down: a place and a velocity that is slowly forgotten. Height and width: a
quick and a slow stance that come and go, and the body's own build that stays: a body that is taller than its place says
is the same body an hour later.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import ShapeError

PARTS = 3
"""Parts of the state per measurement: place, velocity, limbs; or quick stance, slow stance, build."""

READS = np.array([[1.0, 0, 1], [1, 0, 1], [1, 1, 1], [1, 1, 1]])
"""Which parts each of the four measurements sums: across, down, log height, log width."""


@dataclass(frozen=True, slots=True)
class StanceModel:
    """How the logarithm of a box's height or width varies about what its place says.

    Attributes
    ----------
    quick, slow : tuple of float
        Standard deviation, and time constant in seconds, of what comes and goes (Ornstein-Uhlenbeck).
    build : float
        Standard deviation over bodies of what stays.
    """

    quick: tuple[float, float]
    slow: tuple[float, float]
    build: float


@dataclass(frozen=True, slots=True)
class PlaceModel:
    """How a body's place along one axis changes: a velocity that is forgotten, and a place that stays near the play.

    The place is driven by a velocity (Ornstein-Uhlenbeck) and drawn to the middle of where all bodies are. The
    process is stationary: however long nobody sees a body, it is where bodies are.

    Attributes
    ----------
    speed : float
        Standard deviation of the velocity, plane units per second.
    keeps_s : float
        Time constant with which the velocity is forgotten.
    returns_s : float
        Time constant with which a body is drawn back to the middle.
    wander : float
        What the plane itself wanders under a body, plane units per root second.
    limbs : tuple of float
        How far limbs move the middle of the box: standard deviation in plane units, and time constant in seconds.
    """

    speed: float
    keeps_s: float
    returns_s: float
    wander: float
    limbs: tuple[float, float]

    def stationary(self) -> np.ndarray:
        """Covariance of place and velocity of a body of which nothing is known, (2, 2)."""
        both = self.speed**2 / (1 / self.returns_s + 1 / self.keeps_s)
        place = self.returns_s * (both + self.wander**2 / 2)
        return np.array([[place, both], [both, self.speed**2]])

    def transition(self, dt_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Transition and noise over steps (T,): two (T, 2, 2) ndarrays."""
        step = np.zeros((len(dt_s), 2, 2))
        step[:, 0, 0] = np.exp(-dt_s / self.returns_s)
        step[:, 1, 1] = np.exp(-dt_s / self.keeps_s)
        apart = 1 / self.returns_s - 1 / self.keeps_s
        step[:, 0, 1] = step[:, 0, 0] * (np.expm1(dt_s * apart) / apart if abs(apart) > 1e-9 else dt_s)
        still = self.stationary()
        return step, still - step @ still @ np.swapaxes(step, 1, 2)


@dataclass(frozen=True, slots=True)
class BodyModel:
    """All four measurements of a body: across, down, log height, log width."""

    across: PlaceModel
    down: PlaceModel
    height: StanceModel
    width: StanceModel

    def transition(self, dt_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Transition and noise of all parts over steps (T,): two (T, 4, 3, 3) ndarrays."""
        steps = np.zeros((len(dt_s), 4, PARTS, PARTS))
        noises = np.zeros_like(steps)
        for axis, place in ((0, self.across), (1, self.down)):
            steps[:, axis, :2, :2], noises[:, axis, :2, :2] = place.transition(dt_s)
            kept = np.exp(-dt_s / place.limbs[1])
            steps[:, axis, 2, 2], noises[:, axis, 2, 2] = kept, place.limbs[0] ** 2 * (1 - kept**2)
        for axis, stance in ((2, self.height), (3, self.width)):
            for part, (sigma, keeps_s) in enumerate((stance.quick, stance.slow)):
                kept = np.exp(-dt_s / keeps_s)
                steps[:, axis, part, part] = kept
                noises[:, axis, part, part] = sigma**2 * (1 - kept**2)
            steps[:, axis, 2, 2] = 1.0
        return steps, noises

    def anybody(self) -> np.ndarray:
        """Covariance of the state of a body not yet seen, (4, 3, 3); its mean is 0."""
        spread = np.zeros((4, PARTS, PARTS))
        for axis, place in ((0, self.across), (1, self.down)):
            spread[axis, :2, :2] = place.stationary()
            spread[axis, 2, 2] = place.limbs[0] ** 2
        for axis, stance in ((2, self.height), (3, self.width)):
            spread[axis] = np.diag([stance.quick[0] ** 2, stance.slow[0] ** 2, stance.build**2])
        return spread


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Measurements of paths on a grid of moments.

    Attributes
    ----------
    values : (T, P, 4) ndarray
        NaN in all four where a path is not seen.
    variances : (T, P, 4) ndarray
        Ignored where unseen.
    """

    values: np.ndarray
    variances: np.ndarray

    def __post_init__(self) -> None:
        if self.values.ndim != 3 or self.values.shape[2] != 4 or self.variances.shape != self.values.shape:
            raise ShapeError(
                f"Readings: values {self.values.shape}, variances {self.variances.shape}; both must be (T, P, 4)."
            )


def pasts(
    model: BodyModel,
    steps: np.ndarray,
    noises: np.ndarray,
    readings: Readings,
    begin: tuple[np.ndarray, np.ndarray] | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """State of every path given all it showed up to and with each moment.

    Parameters
    ----------
    model : BodyModel
    steps, noises : (T, 4, 3, 3) or (T, P, 4, 3, 3) ndarray
        From the moment before to each moment; the first is not used unless ``begin`` is given.
    readings : Readings
    begin : tuple of (P, 4, 3) and (P, 4, 3, 3) ndarray, optional
        State at the moment before the first; a body not yet seen where not given.

    Returns
    -------
    means : (T, P, 4, 3) ndarray
    spreads : (T, P, 4, 3, 3) ndarray
    """
    length, count = readings.values.shape[:2]
    means = np.zeros((length, count, 4, PARTS))
    spreads = np.zeros((length, count, 4, PARTS, PARTS))
    seen = np.isfinite(readings.values[..., 0])
    values = np.where(seen[..., None], readings.values, 0.0)
    variances = np.where(seen[..., None], readings.variances, 1.0)
    if begin is None:
        mean, spread = np.zeros((count, 4, PARTS)), np.tile(model.anybody(), (count, 1, 1, 1))
    else:
        mean, spread = begin
    for t in range(length):
        if t or begin is not None:
            mean = (steps[t] @ mean[..., None])[..., 0]
            spread = steps[t] @ spread @ np.swapaxes(steps[t], -1, -2) + noises[t]
        here = seen[t]
        if here.any():
            read = np.einsum("ad,nade->nae", READS, spread)
            total = np.einsum("nae,ae->na", read, READS) + variances[t]
            miss = values[t] - np.einsum("ad,nad->na", READS, mean)
            gain = np.where(here[:, None, None], read / total[..., None], 0.0)
            mean = mean + gain * miss[..., None]
            spread = spread - gain[..., :, None] * read[..., None, :]
        means[t], spreads[t] = mean, spread
    return means, spreads


def futures(steps: np.ndarray, noises: np.ndarray, readings: Readings) -> tuple[np.ndarray, np.ndarray]:
    """What all later moments say about the state at each moment, as an information vector and matrix.

    Returns
    -------
    vectors : (T, P, 4, 3) ndarray
    matrices : (T, P, 4, 3, 3) ndarray
        The likelihood of the future is proportional to exp(vector . x - x . matrix x / 2); 0 where there is none.
    """
    length, count = readings.values.shape[:2]
    vectors = np.zeros((length, count, 4, PARTS))
    matrices = np.zeros((length, count, 4, PARTS, PARTS))
    vector, matrix = vectors[0].copy(), matrices[0].copy()
    outer = READS[:, :, None] * READS[:, None, :]
    unit = np.eye(PARTS)
    seen = np.isfinite(readings.values[..., 0])[..., None]
    weights = np.where(seen, 1 / np.where(seen, readings.variances, 1.0), 0.0)
    weighted = np.where(seen, weights * np.where(seen, readings.values, 0.0), 0.0)
    for t in range(length - 1, 0, -1):
        matrix = matrix + weights[t][..., None, None] * outer
        vector = vector + weighted[t][..., None] * READS
        back = np.swapaxes(steps[t], -1, -2)
        carried = back @ _inverse_3x3(unit + matrix @ noises[t])[0]
        vector = (carried @ vector[..., None])[..., 0]
        matrix = carried @ matrix @ steps[t]
        matrix = 0.5 * (matrix + np.swapaxes(matrix, -1, -2))
        vectors[t - 1], matrices[t - 1] = vector, matrix
    return vectors, matrices


def joined_evidence(mean: np.ndarray, spread: np.ndarray, vector: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """Log-evidence that a past and a future are one body's, summed over the measurements.

    The integral of the past's density times the future's likelihood. It lacks a constant of the future's own, so
    only sums over the same pasts and futures compare.

    Parameters
    ----------
    mean, spread : (..., 4, 3) and (..., 4, 3, 3) ndarray
    vector, matrix : the same shapes, or such that broadcast
    """
    rest = vector - (matrix @ mean[..., None])[..., 0]
    both = np.eye(PARTS) + spread @ matrix
    inverse, determinant = _inverse_3x3(both)
    moved = (inverse @ (spread @ rest[..., None]))[..., 0]
    quadratic = np.sum((vector + rest) * mean + rest * moved, axis=-1)
    return np.sum(0.5 * quadratic - 0.5 * np.log(determinant), axis=-1)


def smoothed(
    model: BodyModel, steps: np.ndarray, noises: np.ndarray, readings: Readings
) -> tuple[np.ndarray, np.ndarray]:
    """What all of each path's readings together say of its measurements at every moment, and how surely.

    Returns
    -------
    means, variances : (T, P, 4) ndarray
    """
    means, spreads = pasts(model, steps, noises, readings)
    vectors, matrices = futures(steps, noises, readings)
    return joined_readings(means, spreads, vectors, matrices)


def joined_readings(
    mean: np.ndarray, spread: np.ndarray, vector: np.ndarray, matrix: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Measurements expected where a past and a future are one body's, and their variances, both (..., 4)."""
    both = _inverse_3x3(np.eye(PARTS) + spread @ matrix)[0] @ spread
    centre = mean + (both @ (vector - (matrix @ mean[..., None])[..., 0])[..., None])[..., 0]
    return np.einsum("ad,...ad->...a", READS, centre), np.einsum("ad,...ade,ae->...a", READS, both, READS)


def _inverse_3x3(matrix: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Inverse and determinant of (..., 3, 3) by cofactors: many small ones at once."""
    a, b, c = (matrix[..., 0, k] for k in range(3))
    d, e, f = (matrix[..., 1, k] for k in range(3))
    g, h, i = (matrix[..., 2, k] for k in range(3))
    inverse = np.empty_like(matrix)
    inverse[..., 0, 0], inverse[..., 0, 1], inverse[..., 0, 2] = e * i - f * h, c * h - b * i, b * f - c * e
    inverse[..., 1, 0], inverse[..., 1, 1], inverse[..., 1, 2] = f * g - d * i, a * i - c * g, c * d - a * f
    inverse[..., 2, 0], inverse[..., 2, 1], inverse[..., 2, 2] = d * h - e * g, b * g - a * h, a * e - b * d
    determinant = a * inverse[..., 0, 0] + b * inverse[..., 1, 0] + c * inverse[..., 2, 0]
    return inverse / determinant[..., None, None], determinant
