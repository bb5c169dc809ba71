"""Pins: landmarks that staff pointed at in a frame, and the camera that they give.

Pins are hard evidence. A pinned frame's camera is fitted to them alone (with what is known of main cameras, or of this
film's, as prior), and no other evidence may take its weight away.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pipeline.court.camera import NoCourt, camera_from_homography
from pipeline.court.fitting import (
    PARAMETERS,
    REFERENCE_WIDTH_PX,
    Fit,
    Prior,
    camera_of,
    default_prior,
    parameters_of,
)
from pipeline.court.landmarks import landmark
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.court.settings import RegistrationSettings
from pipeline.errors import SettingsError

Array = NDArray[np.float64]

LEAST_PINS = 4
"""Four points give a floor's homography."""

_FITTED = len(PARAMETERS) - 1
_LEAST_WIDTH = 0.02
_BEHIND_PX = 2000.0


@dataclass(frozen=True, slots=True)
class PinnedFrame:
    """The pins of one frame.

    Attributes
    ----------
    frame : int
        Index of the analysed frame.
    t_s : float
        Its time.
    points : mapping of str to (float, float)
        Landmark's name to pixel x, y.
    """

    frame: int
    t_s: float
    points: Mapping[str, tuple[float, float]]

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", MappingProxyType(dict(self.points)))

    def px(self) -> Array:
        """Pixels, (N, 2)."""
        return np.array(list(self.points.values()), dtype=np.float64).reshape(-1, 2)

    def floor_ft(self, book: RuleBook) -> Array:
        """Their places on a rule book's floor, (N, 2)."""
        found = [landmark(name, book) for name in self.points]
        return np.array([(one.x_ft, one.y_ft) for one in found], dtype=np.float64).reshape(-1, 2)


def check_pins(pinned: PinnedFrame, size_px: tuple[int, int]) -> None:
    """Refuse pins that cannot give a camera.

    Raises
    ------
    SettingsError
        Fewer than four, an unknown landmark, a point outside the picture, or all points on one line.
    """
    any_book = next(iter(RULE_BOOKS.values()))
    floor = pinned.floor_ft(any_book)
    for name, (x, y) in pinned.points.items():
        if not (0 <= x <= size_px[0] - 1 and 0 <= y <= size_px[1] - 1):
            raise SettingsError(
                f"The pin {x:g},{y:g}={name} lies outside the picture, which is {size_px[0]}x{size_px[1]} pixels; "
                "give pixels of the film's own picture."
            )
    if len(pinned.points) < LEAST_PINS:
        raise SettingsError(
            f"{len(pinned.points)} landmark(s) are pinned at {pinned.t_s:.2f} s, {LEAST_PINS} on one frame are needed; "
            "pin more of them."
        )
    for points, where in ((pinned.px(), "in the picture"), (floor, "on the floor")):
        spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
        if spread[1] < _LEAST_WIDTH * spread[0]:
            raise SettingsError(
                f"The landmarks pinned at {pinned.t_s:.2f} s lie on one line {where}, which leaves the camera open; "
                "pin at least one that is off that line."
            )


def fit_pins(
    pinned: PinnedFrame,
    size_px: tuple[int, int],
    book: RuleBook,
    settings: RegistrationSettings,
    prior: Prior | None = None,
) -> Fit:
    """The camera that fits a frame's pins best: least squares of their misses in the picture, with a prior.

    Parameters
    ----------
    pinned : PinnedFrame
        At least four pins.
    size_px : tuple of int
    book : RuleBook
    settings : RegistrationSettings
    prior : Prior, optional
        What is known of the film's camera; of main cameras in general if left out.
    """
    known = prior or default_prior(book, settings)
    px, floor = pinned.px(), pinned.floor_ft(book)
    scale = REFERENCE_WIDTH_PX / size_px[0] / settings.pin_sigma_px
    informed = np.isfinite(known.sigma[:_FITTED])

    def misses(free: Array) -> Array:
        camera = camera_of(np.append(free, known.mean[_FITTED]), size_px)
        away = (np.nan_to_num(camera.project_floor(floor), nan=_BEHIND_PX * size_px[0]) - px) * scale
        pull = (free - known.mean[:_FITTED])[informed] / known.sigma[:_FITTED][informed]
        return np.concatenate([np.clip(away, -1e6, 1e6).ravel(), pull])

    tried = [
        least_squares(misses, start[:_FITTED], x_scale=np.array([5, 5, 5, 2, 2, 0.5, 0.1, 0.05]), max_nfev=60)
        for start in _starts(px, floor, size_px, known)
    ]
    best = min(tried, key=lambda found: float(found.cost))
    parameters = np.append(best.x, known.mean[_FITTED])
    slopes = best.jac[: 2 * len(px)]
    information = np.zeros((len(PARAMETERS), len(PARAMETERS)))
    information[:_FITTED, :_FITTED] = slopes.T @ slopes
    camera = camera_of(parameters, size_px)
    away_px = np.linalg.norm(camera.project_floor(floor) - px, axis=1) * REFERENCE_WIDTH_PX / size_px[0]
    away_ft = np.linalg.norm(camera.to_floor(px) - floor, axis=1)
    count = len(px)
    return Fit(
        parameters,
        2 * float(best.cost),
        np.nan_to_num(away_px, nan=np.inf),
        np.nan_to_num(away_ft, nan=np.inf),
        np.ones(count, dtype=bool),
        np.zeros(count, dtype=np.intp),
        np.array(list(pinned.points)),
        information,
    )


def _starts(px: Array, floor: Array, size_px: tuple[int, int], prior: Prior) -> list[Array]:
    """Cameras to start from: the one of the pins' homography, and a few main cameras aimed at the pinned part."""
    starts = []
    found = camera_from_homography(_homography(floor, px), size_px)
    if not isinstance(found, NoCourt) and 1 < found.centre_ft[2] < 150:
        starts.append(parameters_of(found, float(prior.mean[_FITTED])))
    target = floor.mean(axis=0)
    size = float(np.linalg.norm(px - px.mean(axis=0))) / size_px[0]
    for away, height in ((35.0, 14.0), (55.0, 25.0), (90.0, 42.0)):
        start = prior.mean.copy()
        start[1:3] = (-away, height)
        dx, dy = target[0] - start[0], target[1] + away
        start[3] = np.rad2deg(np.arctan2(dx, dy))
        start[4] = -np.rad2deg(np.arctan2(height, np.hypot(dx, dy)))
        extent = float(np.linalg.norm(floor - target)) / np.sqrt(dx**2 + dy**2 + height**2)
        start[6] = np.log(np.clip(size / max(extent, 1e-3), 0.4, 8.0))
        starts.append(start)
    return starts


def _homography(floor: Array, px: Array) -> Array:
    """Floor to pixels by the direct linear transform with normalised points (Hartley & Zisserman, 2nd ed., 4.4)."""
    normals = []
    for points in (floor, px):
        centre, scale = points.mean(axis=0), max(float(np.sqrt(points.var(axis=0).sum())), 1e-9)
        normals.append(np.array([[1 / scale, 0, -centre[0] / scale], [0, 1 / scale, -centre[1] / scale], [0, 0, 1]]))
    here, there = (np.column_stack([p, np.ones(len(p))]) @ n.T for p, n in zip((floor, px), normals, strict=True))
    rows = []
    for a, b in zip(here, there, strict=True):
        rows.append([*(a * 0), *(-a * b[2]), *(a * b[1])])
        rows.append([*(a * b[2]), *(a * 0), *(-a * b[0])])
    h = np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3)
    return np.asarray(np.linalg.inv(normals[1]) @ h @ normals[0], dtype=np.float64)


def miss_px(fit: Fit) -> float:
    """Root mean square miss of a fit's pins, in pixels of a picture 640 wide."""
    return float(np.sqrt(np.mean(np.minimum(fit.residual_px, 1e4) ** 2)))


def books_of_pins(
    pins: Sequence[PinnedFrame], size_px: tuple[int, int], settings: RegistrationSettings
) -> dict[str, float]:
    """Worst root mean square miss of the pinned frames under each rule book, pixels of a picture 640 wide."""
    return {
        name: max(miss_px(fit_pins(pinned, size_px, book, settings)) for pinned in pins)
        for name, book in RULE_BOOKS.items()
    }


def check_fit(
    pinned: PinnedFrame, size_px: tuple[int, int], books: Sequence[RuleBook], settings: RegistrationSettings
) -> Fit:
    """The best fit of a frame's pins under any of some rule books.

    Raises
    ------
    SettingsError
        If no camera fits them; the worst pin is named.
    """
    best = min((fit_pins(pinned, size_px, book, settings) for book in books), key=miss_px)
    if miss_px(best) > settings.most_pin_miss_px:
        worst = int(np.argmax(best.residual_px))
        off = min(float(best.residual_px[worst]) * size_px[0] / REFERENCE_WIDTH_PX, 9999.0)
        raise SettingsError(
            f"No camera sees the landmarks pinned at {pinned.t_s:.2f} s like that: '{best.piece[worst]}' is {off:.0f} "
            "px off at best; check places and names (left, right, near, far are as the main camera sees them)."
        )
    return best
