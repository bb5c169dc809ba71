"""How the picture moves from one analysed frame to the next, measured on small grey pictures.

A main camera stands still and turns, so everything that does not move by itself, floor, boards, seats, moves in the
picture by one map whatever its distance. Corners outside the people (Shi & Tomasi, "Good features to track", CVPR
1994) are followed by pyramidal Lucas-Kanade (Bouguet 2000), and the map of a turning, zooming camera is fitted to them
robustly. The result is a few numbers per pair of frames, so that frames whose floor was not looked at get their camera
from frames whose floor was.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.court.settings import MotionSettings
from pipeline.court.tables import MOTION
from pipeline.errors import ShapeError

Array = NDArray[np.float64]

SQUARED_FOCAL = 1.5**2
"""Nominal squared focal length in picture widths, for the bending of the map towards the picture's edges only: between
1 and 3 widths it changes what is measured at the points' middle by less than two per cent."""

_SAMPLES = 60
_WINDOW_PX = 15
_LEVELS = 3


@dataclass(frozen=True, slots=True)
class ImageMotion:
    """The picture's motion between two frames, lengths as shares of the picture's width.

    Attributes
    ----------
    x, y : float
        Middle of the points that agree, in the earlier frame, from the picture's centre.
    dx, dy : float
        How far the picture moved there.
    scale : float
        How much it grew there.
    turn_rad : float
        How it turned, clockwise positive.
    inliers : int
        Points that agree.
    spread : float
        Root mean square distance of the agreeing points from their middle.
    residual : float
        Root mean square miss of the agreeing points.
    """

    x: float
    y: float
    dx: float
    dy: float
    scale: float
    turn_rad: float
    inliers: int
    spread: float
    residual: float


def map_design(start: Array, end: Array) -> Array:
    """Linear design of the map's four numbers (shift x, y at the centre, growth, turn).

    With points p -> p' about the picture's centre, a turning and zooming camera of focal length f gives
    x' (1 - (a x + b y) / f²) = x + a + s x - r y, and y likewise.

    Parameters
    ----------
    start, end : ndarray of shape (..., N, 2)

    Returns
    -------
    ndarray of shape (..., 2 N, 4)
        Rows x and y in turn; right-hand side is ``end - start``.
    """
    x, y = start[..., 0], start[..., 1]
    one, bend_x, bend_y = np.ones_like(x), end[..., 0] / SQUARED_FOCAL, end[..., 1] / SQUARED_FOCAL
    rows = np.stack(
        [
            np.stack([one + bend_x * x, bend_x * y, x, -y], axis=-1),
            np.stack([bend_y * x, one + bend_y * y, y, x], axis=-1),
        ],
        axis=-2,
    )
    return rows.reshape(*start.shape[:-2], -1, 4)


def fit_motion(
    start: Array, end: Array, rng: np.random.Generator, *, most_miss: float = 0.003, least_points: int = 8
) -> ImageMotion | None:
    """Fit the map to followed points.

    Two-point samples, the best by bounded squared miss (MSAC, Torr & Zisserman 2000), then reweighted least squares.

    Parameters
    ----------
    start, end : ndarray of shape (N, 2)
        Points in both frames, from the picture's centre, as shares of its width.
    most_miss : float
        Farther off than this a point does not agree; 0.003 is one pixel of 320.
    least_points : int
        With fewer agreeing points there is no motion.
    """
    count = len(start)
    if count < least_points:
        return None
    design = map_design(start, end).reshape(count, 2, 4)
    moved = end - start
    picks = rng.integers(0, count, size=(_SAMPLES, 2))
    systems = design[picks].reshape(_SAMPLES, 4, 4) + 1e-9 * np.eye(4)
    trials = np.linalg.solve(systems, moved[picks].reshape(_SAMPLES, 4, 1))[..., 0]
    # Standing still and the middle of all motions are worth a try as well.
    middle = np.median(moved, axis=0)
    trials = np.vstack([trials, [[0, 0, 0, 0], [middle[0], middle[1], 0, 0]]])
    misses = np.einsum("ncp,kp->knc", design, trials) - moved
    squared = np.sum(misses**2, axis=2)
    best = trials[int(np.argmin(np.minimum(squared, most_miss**2).sum(axis=1)))]
    width2 = (most_miss / 2) ** 2
    for _ in range(5):
        away = np.sum((design @ best - moved) ** 2, axis=1)
        weight = (width2 / (away + width2)) ** 2
        left = np.einsum("ncp,n,ncq->pq", design, weight, design) + 1e-12 * np.eye(4)
        best = np.linalg.solve(left, np.einsum("ncp,n,nc->p", design, weight, moved))
    away = np.sum((design @ best - moved) ** 2, axis=1)
    agree = away < most_miss**2
    if agree.sum() < least_points:
        return None
    centre = start[agree].mean(axis=0)
    shift, scale = motion_at(best, centre)
    return ImageMotion(
        float(centre[0]),
        float(centre[1]),
        float(shift[0]),
        float(shift[1]),
        float(scale),
        float(best[3]),
        int(agree.sum()),
        float(np.sqrt(np.mean(np.sum((start[agree] - centre) ** 2, axis=1)))),
        float(np.sqrt(np.mean(away[agree]))),
    )


def motion_at(numbers: Array, place: Array) -> tuple[Array, Array]:
    """Shift and growth of the picture at places under the map's four numbers.

    Parameters
    ----------
    numbers : ndarray of shape (..., 4)
    place : ndarray of shape (..., 2)

    Returns
    -------
    shift : ndarray of shape (..., 2)
    growth : ndarray of shape (...)
    """
    a, b, s, r = np.moveaxis(numbers, -1, 0)
    x, y = place[..., 0], place[..., 1]
    depth = 1 - (a * x + b * y) / SQUARED_FOCAL
    there_x, there_y = (x + a + s * x - r * y) / depth, (y + b + r * x + s * y) / depth
    bend_x, bend_y = a / (SQUARED_FOCAL * depth), b / (SQUARED_FOCAL * depth)
    # The map's derivative, for the area that a small patch grows to.
    area = ((1 + s) / depth + there_x * bend_x) * ((1 + s) / depth + there_y * bend_y)
    area -= (-r / depth + there_x * bend_y) * (r / depth + there_y * bend_x)
    return np.stack([there_x - x, there_y - y], axis=-1), np.sqrt(np.maximum(area, 1e-6))


class MotionGatherer:
    """Measures the motion over a film's analysed frames and says for which of them the floor need be looked at.

    Call :meth:`look` once for each analysed frame in the order of time, then :meth:`wants_areas` for the same frame;
    after the court network ran on it, :meth:`note_floor`.
    """

    def __init__(self, settings: MotionSettings | None = None) -> None:
        self._settings = settings or MotionSettings()
        self._rows: list[dict[str, object]] = []
        self._earlier: _Look | None = None
        self._floor_share: float | None = None
        self._since = 0
        self._moved = self._grew = 0.0
        self._lost = True

    def look(
        self,
        small_grey: NDArray[np.uint8],
        index: int,
        t_s: float,
        *,
        size_px: tuple[int, int],
        people_px: Array | None = None,
    ) -> ImageMotion | None:
        """Measure the motion since the frame looked at before.

        Parameters
        ----------
        small_grey : ndarray of shape (h, w), uint8
            The whole picture, shrunk; about ``settings.width_px`` wide, all frames alike.
        index, t_s : int, float
            The frame and its time.
        size_px : tuple of int
            Width and height of the picture before it was shrunk; the table is in its pixels.
        people_px : ndarray of shape (N, 4), optional
            Boxes x1, y1, x2, y2 of bodies in this or a recent frame, pixels of the picture: no points are taken there.

        Returns
        -------
        ImageMotion or None
            None for the first frame, after a long pause, and where too few points agree (a cut, a blur).
        """
        if small_grey.ndim != 2 or small_grey.dtype != np.uint8:
            raise ShapeError(f"small_grey must be (h, w) uint8, got {small_grey.shape} {small_grey.dtype}.")
        look = _Look(index, t_s, small_grey, size_px)
        earlier, self._earlier = self._earlier, look
        motion = None
        if earlier is not None and look.follows(earlier, self._settings.longest_step_s):
            motion = self._measure(earlier, look)
        look.motion = motion
        # Points of this frame are needed by the next one.
        look.points = self._corners(small_grey, size_px, people_px)
        self._since += 1
        if motion is None:
            self._lost = True
        else:
            self._moved += float(np.hypot(motion.dx, motion.dy))
            self._grew += abs(float(np.log(motion.scale)))
            assert earlier is not None
            self._rows.append(_row(motion, look, earlier))
        return motion

    def wants_areas(self) -> bool:
        """Whether the court network should look at the frame last given to :meth:`look`; it is taken that it then does.

        It should at every ``areas_every``-th frame, earlier after the camera has moved far or was lost. Where no floor
        was seen last, only at every ``areas_every``-th.
        """
        chosen = self._settings
        floor = self._floor_share is None or self._floor_share >= chosen.least_floor_share
        unsure = self._lost or self._moved > chosen.farthest or self._grew > chosen.most_growth
        if self._since < chosen.areas_every and not (floor and unsure):
            return False
        self._since = 0
        self._moved = self._grew = 0.0
        self._lost = False
        return True

    def note_floor(self, share: float) -> None:
        """Say what share of the picture the court network found to be floor, when it has looked."""
        self._floor_share = share

    def table(self) -> pa.Table:
        """The ``motion`` rows so far; the shot of every row is 0. They are handed over once."""
        rows, self._rows = self._rows, []
        return MOTION.from_rows(rows)

    def _corners(self, grey: NDArray[np.uint8], size_px: tuple[int, int], people_px: Array | None) -> Array:
        height, width = grey.shape
        mask = np.full(grey.shape, 255, dtype=np.uint8)
        if people_px is not None:
            scale = np.array([width / size_px[0], height / size_px[1]] * 2)
            boxes = np.asarray(people_px, dtype=np.float64).reshape(-1, 4) * scale
            for x1, y1, x2, y2 in np.rint(boxes).astype(np.intp):
                mask[max(y1 - 2, 0) : max(y2 + 2, 0), max(x1 - 2, 0) : max(x2 + 2, 0)] = 0
        found = cv2.goodFeaturesToTrack(grey, self._settings.points, 0.01, 0.022 * width, mask=mask, blockSize=3)
        if found is None:
            return np.zeros((0, 2))
        return np.asarray(found, dtype=np.float64).reshape(-1, 2)

    def _measure(self, earlier: _Look, now: _Look) -> ImageMotion | None:
        if len(earlier.points) < self._settings.least_points:
            return None
        height, width = now.grey.shape
        centre = np.array([(width - 1) / 2, (height - 1) / 2])
        start = earlier.points
        guess = start + _predicted(earlier.motion, (start - centre) / width) * width
        end, found, _ = cv2.calcOpticalFlowPyrLK(
            earlier.grey,
            now.grey,
            np.ascontiguousarray(start, np.float32).reshape(-1, 1, 2),
            np.ascontiguousarray(guess, np.float32).reshape(-1, 1, 2),
            winSize=(_WINDOW_PX, _WINDOW_PX),
            maxLevel=_LEVELS,
            criteria=(cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 20, 0.02),
            flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
        )
        keep = found.ravel() == 1
        first, second = start[keep].astype(np.float64), end.reshape(-1, 2)[keep].astype(np.float64)
        inside = ((second > 2) & (second < np.array([width - 3, height - 3]))).all(axis=1)
        rng = np.random.default_rng(now.index)
        return fit_motion(
            (first[inside] - centre) / width,
            (second[inside] - centre) / width,
            rng,
            least_points=self._settings.least_points,
        )


class _Look:
    """One frame as the gatherer remembers it."""

    __slots__ = ("grey", "index", "motion", "points", "size_px", "t_s")

    def __init__(self, index: int, t_s: float, grey: NDArray[np.uint8], size_px: tuple[int, int]) -> None:
        self.index, self.t_s, self.grey, self.size_px = index, t_s, grey, size_px
        self.points: Array = np.zeros((0, 2))
        self.motion: ImageMotion | None = None

    def follows(self, earlier: _Look, longest_s: float) -> bool:
        return (
            0 < self.t_s - earlier.t_s <= longest_s
            and earlier.grey.shape == self.grey.shape
            and earlier.size_px == self.size_px
        )


def _predicted(motion: ImageMotion | None, places: Array) -> Array:
    """Where points would move if the picture went on as before, (N, 2) shares of the width."""
    if motion is None:
        return np.zeros(places.shape)
    offset = places - np.array([motion.x, motion.y])
    return np.array([motion.dx, motion.dy]) + (motion.scale - 1) * offset


def _row(motion: ImageMotion, now: _Look, earlier: _Look) -> dict[str, object]:
    width, height = now.size_px
    return {
        "frame": now.index,
        "t_s": now.t_s,
        "shot": 0,
        "frame_before": earlier.index,
        "t_before_s": earlier.t_s,
        "x_px": motion.x * width + (width - 1) / 2,
        "y_px": motion.y * width + (height - 1) / 2,
        "dx_px": motion.dx * width,
        "dy_px": motion.dy * width,
        "scale": motion.scale,
        "turn_rad": motion.turn_rad,
        "inliers": motion.inliers,
        "spread_px": motion.spread * width,
        "residual_px": motion.residual * width,
    }
