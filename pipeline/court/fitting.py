"""Fit one camera to the marks of one frame: robust Gauss-Newton on distances measured in the picture.

Each mark is carried to the floor through the camera, compared with the nearest line piece of its own border (whose
inner side must agree with the mark's), and the distance is brought back to pixels through the local scale (Sampson's
first-order distance, Hartley & Zisserman, 2nd ed., section 4.2.6). Damped Gauss-Newton (Levenberg-Marquardt) with
Geman-McClure weights whose width shrinks in steps, and Gaussian priors that keep views with few lines sane.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.court.camera import Camera, Lens, rotation_matrices, straight_lens
from pipeline.court.floor_lines import BORDER_NAMES, border_pieces
from pipeline.court.rule_books import RuleBook
from pipeline.court.settings import RegistrationSettings

Array = NDArray[np.float64]

REFERENCE_WIDTH_PX = 640.0
"""Residuals are measured as in a picture this wide, so that settings hold at any resolution."""

PARAMETERS = ("centre_x", "centre_y", "centre_z", "pan", "tilt", "roll", "log_focal", "k1", "circle_radius")
"""Order of a parameter vector: feet, feet, feet, degrees, degrees, degrees, log of focal length over picture width,
lens term, and the radius in feet of the centre circle as painted."""

_STEPS = np.array([1e-3, 1e-3, 1e-3, 1e-4, 1e-4, 1e-4, 1e-5, 1e-4, 1e-3])
_FAR_COS = 0.5  # a mark whose normal is more than 60 degrees off a line does not lie on it
_LEAST_SLOPE = 1e-9
_LEAST_GAIN = 1e-3  # a step that promises less than this share of the cost is not worth making


@dataclass(frozen=True, slots=True, eq=False)
class MarkSet:
    """The marks of one frame.

    Attributes
    ----------
    px : ndarray of shape (N, 2)
        Seen pixels.
    normal : ndarray of shape (N, 2)
        Unit normal in the picture, pointing to the inner area.
    border : ndarray of int, shape (N,)
        Index into ``BORDER_NAMES``.
    weight : ndarray of shape (N,)
        0..1.
    """

    px: Array
    normal: Array
    border: NDArray[np.intp]
    weight: Array

    def __len__(self) -> int:
        return len(self.px)

    def only(self, keep: NDArray[np.bool_]) -> MarkSet:
        """The marks where ``keep`` (N,) is true."""
        return MarkSet(self.px[keep], self.normal[keep], self.border[keep], self.weight[keep])


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """Gaussian prior on a parameter vector: mean and spread, both (9,); an infinite spread says nothing."""

    mean: Array
    sigma: Array

    def fixing(self, names: tuple[str, ...], values: Array) -> Prior:
        """The same prior with some parameters held at the given values of a vector (9,)."""
        mean, sigma = self.mean.copy(), self.sigma.copy()
        for name in names:
            i = PARAMETERS.index(name)
            mean[i], sigma[i] = values[i], 1e-6
        return Prior(mean, sigma)


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """One camera fitted to marks.

    Attributes
    ----------
    parameters : ndarray of shape (9,)
        See :data:`PARAMETERS`.
    cost : float
        Robust cost with priors; comparable between fits to the same marks.
    residual_px : ndarray of shape (N,)
        Signed miss of each mark, in pixels of a picture 640 wide; infinite where a mark lies on no line.
    residual_ft : ndarray of shape (N,)
        The same on the floor.
    inlier : ndarray of bool, shape (N,)
        Whether the miss is small against the marks' spread.
    border : ndarray of int, shape (N,)
        Index into ``BORDER_NAMES``, as in the marks.
    piece : ndarray of str, shape (N,)
        Name of the line piece each mark was compared with.
    information : ndarray of shape (9, 9)
        Inverse covariance of the parameters from the marks alone, robustly weighted, without the prior.
    """

    parameters: Array
    cost: float
    residual_px: Array
    residual_ft: Array
    inlier: NDArray[np.bool_]
    border: NDArray[np.intp]
    piece: NDArray[np.str_]
    information: Array


def default_prior(book: RuleBook, settings: RegistrationSettings) -> Prior:
    """What is known of a main camera before looking: near the middle of the sideline, level, a long lens."""
    mean = [book.length_ft / 2, -55.0, 25.0, 0.0, -15.0, 0.0, np.log(1.5), settings.lens_mean, book.circle_radius_ft]
    sigma = [
        settings.centre_sigma_ft,
        35.0,
        15.0,
        np.inf,
        np.inf,
        settings.roll_sigma_deg,
        0.5,
        settings.lens_sigma,
        1.0,
    ]
    return Prior(np.array(mean), np.array(sigma))


def camera_of(parameters: Array, size_px: tuple[int, int]) -> Camera:
    """The camera of a parameter vector (9,)."""
    width = float(size_px[0])
    lens = Lens(float(parameters[7]), straight_lens(size_px).centre_px, width)
    focal = float(np.exp(parameters[6]) * width)
    pan, tilt, roll = (float(v) for v in parameters[3:6])
    return Camera(parameters[:3], pan, tilt, roll, focal, lens, size_px)


def parameters_of(camera: Camera, circle_radius_ft: float) -> Array:
    """The parameter vector (9,) of a camera."""
    width = camera.size_px[0]
    angles = [camera.pan_deg, camera.tilt_deg, camera.roll_deg]
    return np.array([*camera.centre_ft, *angles, np.log(camera.focal_px / width), camera.lens.k1, circle_radius_ft])


class _Problem:
    """Marks, book and prior bound together; all the arrays that do not change during a fit."""

    def __init__(
        self, marks: MarkSet, book: RuleBook, size_px: tuple[int, int], prior: Prior, settings: RegistrationSettings
    ) -> None:
        order = np.argsort(marks.border, kind="stable")
        self.order = order
        self.marks = marks.only(order)  # type: ignore[arg-type]
        self.book, self.size_px, self.prior = book, size_px, prior
        self.lens = straight_lens(size_px)
        self.offset = self.marks.px - self.lens.centre_px
        self.lens_cache: dict[float, Array] = {}
        self.to_reference = REFERENCE_WIDTH_PX / size_px[0]
        weight = np.maximum(self.marks.weight, 1e-6)
        self.weight = weight * (settings.worth_of_marks / max(float(weight.sum()), 1e-9)) / settings.mark_sigma_px**2
        pieces = border_pieces(book)
        self.groups = []
        names: list[str] = []
        stacked = []
        for index, border in enumerate(BORDER_NAMES):
            rows = np.flatnonzero(self.marks.border == index)
            if len(rows):
                self.groups.append((slice(rows[0], rows[-1] + 1), pieces[border], len(names)))
            names.extend(pieces[border].names)
            stacked.append(pieces[border])
        self.names = np.array(names)
        self.curved = np.concatenate([p.curved for p in stacked])
        self.line = np.concatenate([p.line for p in stacked])
        self.circle = names.index("centre_circle")

    def floor(self, parameters: Array) -> tuple[Array, Array, Array, Array]:
        """Floor points for M parameter vectors (M, 9): x and y (M, N), -dz (M, N), rotations (M, 3, 3)."""
        k1 = parameters[:, 7]
        scale = np.empty((len(parameters), len(self.offset)))
        for value in set(k1.tolist()):
            scale[k1 == value] = self._straightened(value)
        rotation = rotation_matrices(parameters[:, 3:6])
        focal = np.exp(parameters[:, 6]) * self.size_px[0]
        a = (scale / focal[:, None])[..., None] * self.offset  # (M, N, 2)
        ray = a @ rotation[:, :2] + rotation[:, None, 2]
        down = -ray[..., 2]
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = parameters[:, 2, None] / np.where(down > 1e-4, down, np.nan)
        xy = parameters[:, None, :2] + ray[..., :2] * reach[..., None]
        return xy, down, rotation, scale

    def _straightened(self, k1: float) -> Array:
        """Ideal over seen distance from the principal point for every mark, (N,), for one lens term."""
        known = self.lens_cache.get(k1)
        if known is None:
            ideal = replace(self.lens, k1=k1).undistort(self.marks.px) - self.lens.centre_px
            squared = np.maximum(np.sum(self.offset**2, axis=1), 1e-12)
            known = np.sum(ideal * self.offset, axis=1) / squared
            self.lens_cache[k1] = known
        return known

    def assign(self, parameters: Array) -> tuple[Array, Array, NDArray[np.intp], Array]:
        """Compare every mark with its border's pieces.

        Returns
        -------
        residual_px, residual_ft : ndarray of shape (N,)
            Infinite where no piece fits.
        which : ndarray of int, shape (N,)
        px_per_ft : ndarray of shape (N,)
            Local scale across the line.
        """
        xy, down, rotation, scale = self.floor(parameters[None])
        xy, down, rotation, scale = xy[0], down[0], rotation[0], scale[0]
        focal = np.exp(parameters[6]) * self.size_px[0]
        count = len(xy)
        residual_px = np.full(count, np.inf)
        residual_ft = np.full(count, np.inf)
        which = np.zeros(count, dtype=np.intp)
        px_per_ft = np.ones(count)
        visible = np.isfinite(xy).all(axis=1)
        safe = np.where(visible, down, 1.0)
        ray_xy = (np.where(visible[:, None], xy, 0.0) - parameters[:2]) * (safe / parameters[2])[:, None]
        # Columns of the floor's derivative by seen pixel x and y, shape (N, 2) each.
        jacobian = [
            (parameters[2] * scale / focal / safe)[:, None]
            * (rotation[i, :2] + ray_xy * (rotation[i, 2] / safe)[:, None])
            for i in (0, 1)
        ]
        self._radius(parameters[8])
        for rows, pieces, first in self.groups:
            points = np.where(visible[rows, None], xy[rows], 0.0)
            distance, gradient, beyond = pieces.all_distances(points)
            if first <= self.circle < first + len(pieces.names):
                distance[:, self.circle - first] += parameters[8] - pieces.line[self.circle - first, 2]
            # The signed distance's gradient in the picture, x and y, each (N, P).
            by_x, by_y = ((gradient @ jacobian[i][rows, :, None])[..., 0] for i in (0, 1))
            slope = np.maximum(np.hypot(by_x, by_y), _LEAST_SLOPE)
            along = self.marks.normal[rows]
            cosine = (by_x * along[:, :1] + by_y * along[:, 1:]) / slope
            cosine = np.where(pieces.two_sided, np.abs(cosine), cosine)
            miss = np.hypot(distance, beyond) / slope
            miss = np.where((cosine > _FAR_COS) & (beyond < 4.0), miss, np.inf)
            best = np.argmin(miss, axis=1)
            row = np.arange(len(best))
            good = visible[rows] & np.isfinite(miss[row, best])
            ft = distance[row, best]
            gone = beyond[row, best] > 1.0
            residual_ft[rows] = np.where(good & ~gone, ft, np.inf)
            residual_px[rows] = np.where(good & ~gone, ft / slope[row, best] * self.to_reference, np.inf)
            which[rows] = first + best
            px_per_ft[rows] = self.to_reference / slope[row, best]
        return residual_px, residual_ft, which, px_per_ft

    def _radius(self, radius_ft: float) -> None:
        self.line[self.circle, 2] = radius_ft

    def jacobian(
        self, parameters: Array, which: NDArray[np.intp], px_per_ft: Array, free: NDArray[np.intp]
    ) -> tuple[Array, Array]:
        """Residuals (N,) and their derivatives (N, F) by the free parameters, pieces and scale held."""
        moved = np.repeat(parameters[None], len(free) + 1, axis=0)
        moved[np.arange(1, len(free) + 1), free] += _STEPS[free]
        xy = self.floor(moved)[0]
        line = self.line[which]
        curved = self.curved[which]
        straight = xy[..., 0] * line[:, 0] + xy[..., 1] * line[:, 1] + line[:, 2]
        radius = np.where((which == self.circle)[None], moved[:, 8, None], line[None, :, 2])
        from_centre = np.hypot(xy[..., 0] - line[:, 0], xy[..., 1] - line[:, 1])
        distance = np.where(curved, radius - from_centre, straight) * px_per_ft
        return distance[0], ((distance[1:] - distance[0]) / _STEPS[free, None]).T

    def information(
        self, parameters: Array, assigned: tuple[Array, Array, NDArray[np.intp], Array], width_px: float
    ) -> Array:
        """Normal matrix (9, 9) of all parameters, robustly weighted, without the prior."""
        residual_px, _, which, px_per_ft = assigned
        residual, slopes = self.jacobian(parameters, which, px_per_ft, np.arange(len(PARAMETERS)))
        known = np.isfinite(residual_px) & np.isfinite(residual) & np.isfinite(slopes).all(axis=1)
        residual, slopes = residual[known], slopes[known]
        weight = self.weight[known] * (width_px**2 / (residual**2 + width_px**2)) ** 2
        return (slopes * weight[:, None]).T @ slopes

    def cost(self, residual_px: Array, parameters: Array, width_px: float) -> float:
        """Bounded robust cost and prior."""
        squared = np.where(np.isfinite(residual_px), residual_px, 1e6) ** 2
        robust = width_px**2 * squared / (squared + width_px**2)
        informed = np.isfinite(self.prior.sigma)
        away = (parameters - self.prior.mean)[informed] / self.prior.sigma[informed]
        return float(np.sum(self.weight * robust) + np.sum(away**2))


def fit_camera(
    marks: MarkSet,
    start: Array,
    book: RuleBook,
    size_px: tuple[int, int],
    prior: Prior,
    settings: RegistrationSettings,
    *,
    widths_px: tuple[float, ...] = (12.0, 6.0, 3.0),
    iterations: int = 8,
) -> Fit:
    """Fit a camera to marks from a starting vector.

    Parameters
    ----------
    marks : MarkSet
        At least one mark.
    start : ndarray of shape (9,)
        See :data:`PARAMETERS`.
    prior : Prior
        Parameters with a spread of 1e-6 or less are held at their start.
    widths_px : tuple of float
        Widths of the robust weight, in turn, in pixels of a picture 640 wide.
    iterations : int
        Most steps per width.
    """
    problem = _Problem(marks, book, size_px, prior, settings)
    parameters = np.array(start, dtype=np.float64)
    free = np.flatnonzero(prior.sigma > 1e-6)
    informed = np.isfinite(prior.sigma[free])
    precision = np.zeros(len(free))
    precision[informed] = 1 / prior.sigma[free][informed] ** 2
    mean = prior.mean[free]
    held = assigned = problem.assign(parameters)
    for width in widths_px:
        cost = problem.cost(assigned[0], parameters, width)
        damping = 1e-3
        for _ in range(iterations):
            residual_px, _, which, px_per_ft = assigned
            known = np.isfinite(residual_px)
            residual, slopes = problem.jacobian(parameters, which, px_per_ft, free)
            known &= np.isfinite(residual) & np.isfinite(slopes).all(axis=1)
            residual, slopes = np.where(known, residual, 0.0), np.where(known[:, None], slopes, 0.0)
            weight = problem.weight * (width**2 / (residual**2 + width**2)) ** 2 * known
            pull = np.where(informed, precision * (np.where(informed, mean, 0) - parameters[free]), 0.0)
            normal = (slopes * weight[:, None]).T @ slopes + np.diag(precision)
            right = -(slopes * weight[:, None]).T @ residual + pull
            scale = np.diag(normal) + 1e-9
            improved = False
            for _ in range(4):
                step = np.linalg.solve(normal + np.diag(damping * scale + 1e-12), right)
                if step @ right < _LEAST_GAIN * cost:
                    break
                trial = parameters.copy()
                trial[free] += step
                if not _possible(trial):
                    damping *= 10
                    continue
                assigned = problem.assign(trial)
                new_cost = problem.cost(assigned[0], trial, width)
                if new_cost < cost:
                    improved = True
                    break
                damping *= 10
            if not improved:
                assigned = held
                break
            gain = cost - new_cost
            parameters, cost, held = trial, new_cost, assigned
            damping = max(damping / 10, 1e-6)
            if gain < _LEAST_GAIN * cost:
                break
    residual_px, residual_ft, which, _ = held
    information = problem.information(parameters, held, widths_px[-1])
    final = problem.cost(residual_px, parameters, widths_px[-1])
    inlier = np.abs(residual_px) < 3 * settings.mark_sigma_px
    back = np.argsort(problem.order)
    return Fit(
        parameters,
        final,
        residual_px[back],
        residual_ft[back],
        inlier[back],
        marks.border,
        problem.names[which][back],
        information,
    )


def fit_as_it_stands(
    marks: MarkSet, parameters: Array, book: RuleBook, size_px: tuple[int, int], settings: RegistrationSettings
) -> Fit:
    """Marks compared with a camera vector (9,) that is held."""
    held = Prior(parameters, np.full(len(PARAMETERS), 1e-6))
    return fit_camera(marks, parameters, book, size_px, held, settings, widths_px=(3.0,), iterations=0)


def start_costs(
    marks: MarkSet,
    starts: Array,
    book: RuleBook,
    size_px: tuple[int, int],
    prior: Prior,
    settings: RegistrationSettings,
    *,
    width_px: float,
) -> Array:
    """Robust cost of each of S starting vectors (S, 9) as it stands, shape (S,)."""
    problem = _Problem(marks, book, size_px, prior, settings)
    return np.array([problem.cost(problem.assign(start)[0], start, width_px) for start in starts])


def _possible(parameters: Array) -> bool:
    """Whether a parameter vector is a camera above the floor, looking at it, with a lens that exists."""
    return bool(
        parameters[2] > 1.0
        and -80 < parameters[4] < 10
        and -1.5 < parameters[6] < 3.5
        and -0.4 < parameters[7] < 0.8
        and 2.0 < parameters[8] < 15.0
        and np.all(np.isfinite(parameters))
    )
