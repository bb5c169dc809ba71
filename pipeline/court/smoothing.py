"""Fixed-interval smoothing of the cameras of one shot, from fits to marks and from the picture's motion.

The unknowns are the parameter vectors of all analysed frames of a shot. Three kinds of evidence bear on them: each
frame's own fit with its information and the film's shared camera as prior; the measured motion between neighbouring
frames, which ties pan, tilt, roll and zoom of the two together; and the operator, who cannot turn or zoom with more
than some acceleration (second differences, Whittaker 1923, with unequal steps). The sum of squares is solved exactly by
block elimination forwards and backwards, which is the fixed-interval smoother of Rauch, Tung & Striebel (1965) in
information form, and gives every frame's covariance too. Motion is not linear in the angles, and single fits and
motions are wrong now and then: the solution is repeated with new slopes and new robust weights (Geman & McClure 1985).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.court.camera import Lens, rotation_matrices
from pipeline.court.film_camera import play_of
from pipeline.court.fitting import PARAMETERS
from pipeline.court.image_motion import map_design, motion_at
from pipeline.court.settings import RegistrationSettings

Array = NDArray[np.float64]

_SIZE = len(PARAMETERS)
_TURNING = tuple(PARAMETERS.index(n) for n in ("pan", "tilt", "roll", "log_focal"))
_LENS = PARAMETERS.index("k1")
_STEPS = np.array([1e-3, 1e-3, 1e-3, 1e-5])
_NARROWING = 5.0
"""What is most wrong goes first: the robust widths begin as wide as the worst miss and shrink by this factor a round
(graduated non-convexity, Blake & Zisserman 1987; Yang et al. 2020). The first round weighs all alike."""
_STEADINESS = 4.0
_SLOWNESS = 0.2  # what a film shares strays by this part of its play in a second
_RIDGE = 1e-8
# A square grid with a root mean square distance of one from its middle.
_GRID = np.stack(np.meshgrid([-1.0, 0.0, 1.0], [-1.0, 0.0, 1.0]), axis=-1).reshape(-1, 2) * np.sqrt(0.75)


@dataclass(frozen=True, slots=True, eq=False)
class Links:
    """Measured motion between neighbouring frames of a shot.

    Attributes
    ----------
    first : ndarray of int, shape (M,)
        Place of the earlier frame; the later is the next one.
    place : ndarray of shape (M, 2)
        Middle of the followed points in the earlier frame, from the picture's centre, in picture widths.
    spread : ndarray of shape (M,)
        Their root mean square distance from it, in picture widths.
    moved : ndarray of shape (M, 4)
        Shift x and y there in picture widths, log of the growth, turn in radians.
    sigma : ndarray of shape (M, 4)
        Spread of each.
    """

    first: NDArray[np.intp]
    place: Array
    spread: Array
    moved: Array
    sigma: Array


NO_LINKS = Links(np.zeros(0, np.intp), np.zeros((0, 2)), np.zeros(0), np.zeros((0, 4)), np.zeros((0, 4)))


@dataclass(frozen=True, slots=True, eq=False)
class Smoothed:
    """What the evidence comes to.

    Attributes
    ----------
    parameters : ndarray of shape (N, 9)
        A camera for every frame, see ``fitting.PARAMETERS``.
    covariance : ndarray of shape (N, 9, 9)
    trust : ndarray of shape (N,)
        Weight that each frame's own fit got, 0..1; NaN for frames without one.
    link_trust : ndarray of shape (M,)
        Weight that each motion got.
    """

    parameters: Array
    covariance: Array
    trust: Array
    link_trust: Array


def smooth(
    times_s: Array,
    mean: Array,
    information: Array,
    own: Array,
    links: Links,
    settings: RegistrationSettings,
) -> Smoothed:
    """Smooth the cameras of one shot.

    Parameters
    ----------
    times_s : ndarray of shape (N,)
        Increasing.
    mean : ndarray of shape (N, 9)
        Per frame its fit, or for frames without one a guess that the motion's slopes are first taken at; parameters
        with a prior hold the prior's mean there.
    information : ndarray of shape (N, 9, 9)
        Weight of ``mean``: the fit's information with the prior's; the prior's alone where there is no fit.
    own : ndarray of shape (N, 9, 9)
        The fit's information alone, zero where there is none: what robust weights may take away.
    links : Links
    settings : RegistrationSettings
    """
    fitted = np.einsum("nii->n", own) > 0
    trust, link_trust = np.where(fitted, 1.0, np.nan), np.ones(len(links.first))
    state = mean.copy()
    dynamics = _dynamics(times_s, settings)
    wider, converged = 0.0, 0
    while converged < 2:
        predicted, slopes = _predict(state, links)
        miss = (links.moved - predicted) / links.sigma
        if wider:
            # Nine numbers miss by nine on the average when all is well, four by four.
            fit_miss = np.einsum("ni,nij,nj->n", state - mean, own, state - mean) / 40.0
            link_miss = np.sum(miss**2, axis=1) / 30.0
            if wider == np.inf:
                wider = max(1.0, float(fit_miss.max(initial=0.0)), float(link_miss.max(initial=0.0)))
            else:
                wider = max(1.0, wider / _NARROWING)
            converged += wider == 1.0
            trust = np.where(fitted, _geman(fit_miss, wider), np.nan)
            # Motion is seldom wrong, and then between two frames only: of two that disagree it is the last to go.
            link_trust = _geman(link_miss, wider * (_STEADINESS if wider > 1 else 1.0))
        else:
            wider = np.inf
        diagonal, beside, beyond = (part.copy() for part in dynamics)
        kept = information - np.where(fitted, 1 - trust, 0.0)[:, None, None] * own
        diagonal += kept + _RIDGE * np.eye(_SIZE)
        right = np.einsum("nij,nj->ni", kept, mean) + _RIDGE * mean
        slope = slopes / links.sigma[:, :, None]
        weighted = slope * link_trust[:, None, None]
        both = np.concatenate([state[links.first][:, _TURNING], state[links.first + 1][:, _TURNING]], axis=1)
        normal = np.einsum("mki,mkj->mij", weighted, slope)
        pull = np.einsum("mki,mk->mi", weighted, miss + np.einsum("mij,mj->mi", slope, both))
        four = np.array(_TURNING)
        for part, place in ((slice(0, 4), links.first), (slice(4, 8), links.first + 1)):
            np.add.at(diagonal, (place[:, None, None], four[:, None], four), normal[:, part, part])
            np.add.at(right, (place[:, None], four), pull[:, part])
        np.add.at(beside, (links.first[:, None, None], four[:, None], four), normal[:, :4, 4:])
        state, covariance = _solve(diagonal, beside, beyond, right)
    return Smoothed(state, covariance, trust, link_trust)


def _geman(squared: Array, width2: float) -> Array:
    return (width2 / (width2 + squared)) ** 2


def _dynamics(times_s: Array, settings: RegistrationSettings) -> tuple[Array, Array, Array]:
    """Normal matrix of what may change how fast: blocks on the diagonal, one and two beside it, (N, 9, 9) each.

    Pan, tilt and zoom keep their rate up to an acceleration; centre, lens, roll and circle are a slow random walk.
    """
    count = len(times_s)
    blocks = [np.zeros((count, _SIZE, _SIZE)) for _ in range(3)]
    steps = np.maximum(np.diff(times_s), 1e-4)
    play, acceleration = play_of(settings), np.full(_SIZE, np.inf)
    acceleration[[PARAMETERS.index("pan"), PARAMETERS.index("tilt")]] = settings.pan_acceleration_deg_s2
    acceleration[PARAMETERS.index("log_focal")] = settings.zoom_acceleration_s2
    walk = np.diag(1 / (_SLOWNESS * play) ** 2) / steps[:, None, None]
    if count == 2:  # two frames only: the rate itself is bounded, by a second of acceleration
        walk = walk + np.diag(1 / acceleration**2) / steps[:, None, None] ** 2
    blocks[0][:-1] += walk
    blocks[0][1:] += walk
    blocks[1][:-1] -= walk
    if count >= 3:
        a, b = steps[:-1], steps[1:]
        middle = (a + b) / 2
        row = np.stack([1 / (a * middle), -(1 / a + 1 / b) / middle, 1 / (b * middle)])
        # Held over a step at random, the acceleration's variance counts once per step.
        precision = np.diag(1 / acceleration**2)
        for i in range(3):
            for j in range(i, 3):
                blocks[j - i][i : count - 2 + i] += (row[i] * row[j])[:, None, None] * precision
    return blocks[0], blocks[1], blocks[2]


def _predict(state: Array, links: Links) -> tuple[Array, Array]:
    """Motion (M, 4) that the cameras would show, and its slopes by both frames' turning parameters, (M, 4, 8)."""
    if not len(links.first):
        return np.zeros((0, 4)), np.zeros((0, 4, 8))
    first, second = state[links.first], state[links.first + 1]
    base = _shown(first, second, links)
    slopes = np.empty((len(base), 4, 8))
    for column, (index, step) in enumerate(zip(_TURNING, _STEPS, strict=True)):
        for side in (0, 1):
            moved = [first.copy(), second.copy()]
            moved[side][:, index] += step
            slopes[:, :, column + 4 * side] = (_shown(moved[0], moved[1], links) - base) / step
    return base, slopes


def _shown(first: Array, second: Array, links: Links) -> Array:
    """The motion that two cameras (M, 9) each show of things far away, measured as ``image_motion`` does, (M, 4)."""
    points = links.place[:, None] + _GRID * links.spread[:, None, None]
    # A shot has one lens; its small play while zooming does not matter here.
    lens = Lens(float(np.median(first[:, _LENS])), np.zeros(2), 1.0)
    ideal = lens.undistort(points.reshape(-1, 2)).reshape(points.shape)
    focal = np.exp(first[:, 6])[:, None, None]
    ray = np.concatenate([ideal / focal, np.ones((*ideal.shape[:2], 1))], axis=2)
    turn = rotation_matrices(second[:, 3:6]) @ rotation_matrices(first[:, 3:6]).transpose(0, 2, 1)
    there = np.einsum("mij,mpj->mpi", turn, ray)
    depth = np.maximum(there[..., 2:], 1e-3)
    pinhole = there[..., :2] / depth * np.exp(second[:, 6])[:, None, None]
    seen = lens.distort(pinhole.reshape(-1, 2)).reshape(points.shape)
    design = map_design(points, seen)
    moved = (seen - points).reshape(len(points), -1)
    numbers = np.linalg.solve(
        np.einsum("mki,mkj->mij", design, design), np.einsum("mki,mk->mi", design, moved)[..., None]
    )[..., 0]
    shift, growth = motion_at(numbers, links.place)
    return np.column_stack([shift, np.log(growth), numbers[:, 3]])


def _solve(diagonal: Array, beside: Array, beyond: Array, right: Array) -> tuple[Array, Array]:
    """Solve the banded system in blocks of two frames; solution (N, 9) and blocks of the inverse (N, 9, 9)."""
    count = len(diagonal)
    half = (count + 1) // 2
    wide = 2 * _SIZE
    padded = [
        np.concatenate([part, np.zeros((2 * half + 2 - count, *part.shape[1:]))])
        for part in (diagonal, beside, beyond, right)
    ]
    if count % 2:
        padded[0][count] = np.eye(_SIZE)
    blocks = np.zeros((half, wide, wide))
    across = np.zeros((half, wide, wide))
    even, odd = slice(0, 2 * half, 2), slice(1, 2 * half, 2)
    blocks[:, :_SIZE, :_SIZE], blocks[:, _SIZE:, _SIZE:] = padded[0][even], padded[0][odd]
    blocks[:, :_SIZE, _SIZE:] = padded[1][even]
    blocks[:, _SIZE:, :_SIZE] = padded[1][even].transpose(0, 2, 1)
    across[:, :_SIZE, :_SIZE], across[:, _SIZE:, _SIZE:] = padded[2][even], padded[2][odd]
    across[:, _SIZE:, :_SIZE] = padded[1][odd]
    value = padded[3][: 2 * half].reshape(half, wide).copy()
    inverse = np.empty_like(blocks)
    gain = np.empty_like(blocks)
    for j in range(half):
        inverse[j] = np.linalg.inv(blocks[j])
        if j + 1 < half:
            gain[j] = inverse[j] @ across[j]
            blocks[j + 1] -= across[j].T @ gain[j]
            value[j + 1] -= gain[j].T @ value[j]
    solution = np.empty((half, wide))
    solution[-1] = inverse[-1] @ value[-1]
    for j in range(half - 2, -1, -1):
        solution[j] = inverse[j] @ value[j] - gain[j] @ solution[j + 1]
        inverse[j] += gain[j] @ inverse[j + 1] @ gain[j].T
    covariance = np.empty((2 * half, _SIZE, _SIZE))
    covariance[even], covariance[odd] = inverse[:, :_SIZE, :_SIZE], inverse[:, _SIZE:, _SIZE:]
    return solution.reshape(2 * half, _SIZE)[:count], covariance[:count]
