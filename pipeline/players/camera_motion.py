"""The camera's own motion, estimated from nothing but the boxes of the bodies in view.

Between two frames all boxes shift together when the camera pans and tilts, and spread when it zooms, while
each body adds its own small motion. The shift is voted for by all pairs of boxes of like size, then a
similarity (zoom and shift) is fitted to the pairs that agree, robustly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, eq=False)
class CameraPath:
    """Where each frame lies in one large stabilised picture, measured in feet.

    Attributes
    ----------
    scale : (F,) ndarray
        Feet per pixel of each frame.
    shift : (F, 2) ndarray
        Where the middle of each frame lies, feet.
    middle_px : (2,) ndarray
    """

    scale: np.ndarray
    shift: np.ndarray
    middle_px: np.ndarray

    def scale_at(self, moments: np.ndarray) -> np.ndarray:
        """Feet per pixel at moments, (N,)."""
        return self.scale[moments]

    def to_plane(self, moments: np.ndarray, points_px: np.ndarray) -> np.ndarray:
        """Pixels of frames to the stabilised picture: (N,), (N, 2) to (N, 2)."""
        return (points_px - self.middle_px) * self.scale[moments][:, None] + self.shift[moments]

    def to_picture(self, moments: np.ndarray, points: np.ndarray) -> np.ndarray:
        """Inverse of :meth:`to_plane`."""
        return (points - self.shift[moments]) / self.scale[moments][:, None] + self.middle_px


def common_motion(
    before: np.ndarray, after: np.ndarray, middle_px: np.ndarray, expected: tuple[float, float, float]
) -> tuple[float, float, float]:
    """Zoom and shift of the picture between two frames.

    Parameters
    ----------
    before, after : (n, 4) and (m, 4) ndarray
        Boxes.
    expected : tuple
        log zoom and shift of the last pair: a camera does not jump.

    Returns
    -------
    log_zoom, shift x, shift y
        A point p about the middle goes to ``exp(log_zoom) * p + shift``. The expected motion where too few boxes
        agree.
    """
    if len(before) < 2 or len(after) < 2:
        return expected
    a = (before[:, :2] + before[:, 2:]) / 2 - middle_px
    b = (after[:, :2] + after[:, 2:]) / 2 - middle_px
    size_a, size_b = before[:, 2:] - before[:, :2], after[:, 2:] - after[:, :2]
    unlike = np.abs(np.log(size_b[None] / size_a[:, None]))
    alike = (unlike[..., 1] < 0.2) & (unlike[..., 0] < 0.5)
    if alike.sum() < 2:
        return expected
    tall = float(np.median(size_a[:, 1]))
    zoomed = a * np.exp(expected[0])
    moves = b[None] - zoomed[:, None]  # (n, m, 2)
    candidates = np.vstack([moves[alike], [expected[1:]]])
    off = np.linalg.norm((moves[None] - candidates[:, None, None]) * [1.0, 0.7], axis=3)
    near = np.where(alike[None], np.exp(-0.5 * (off / (0.07 * tall)) ** 2), 0.0)
    votes = near.max(axis=2).sum(axis=1)
    jump = np.linalg.norm(candidates - expected[1:], axis=1)
    votes = votes - 0.5 * (jump / (0.15 * tall)) ** 2 / (1 + (jump / (0.6 * tall)) ** 2)
    shift = candidates[np.argmax(votes)]
    log_zoom = expected[0]
    for _ in range(4):
        off = np.linalg.norm(b[None] - (a * np.exp(log_zoom) + shift)[:, None], axis=2)
        off = np.where(alike, off, np.inf)
        partner = np.argmin(off, axis=1)
        mutual = np.argmin(off, axis=0)[partner] == np.arange(len(a))
        pairs = np.flatnonzero(mutual & (off[np.arange(len(a)), partner] < 0.25 * tall))
        if len(pairs) < 2:
            return expected
        p, q = a[pairs], b[partner[pairs]]
        width = 0.02 * tall
        for _ in range(5):
            residual = np.linalg.norm(q - (p * np.exp(log_zoom) + shift), axis=1)
            weight = 1 / (1 + (residual / width) ** 2)
            total = weight.sum()
            mean_p, mean_q = weight @ p / total, weight @ q / total
            spread = weight @ np.sum((p - mean_p) ** 2, axis=1)
            both = weight @ np.sum((p - mean_p) * (q - mean_q), axis=1)
            # the zoom of the last pair counts like bodies one picture's tenth apart from each other
            inertia = 4 * (0.5 * float(np.max(middle_px))) ** 2
            zoom = (both + inertia * np.exp(expected[0])) / (spread + inertia)
            log_zoom = float(np.clip(np.log(max(zoom, 0.5)), -0.1, 0.1))
            shift = mean_q - np.exp(log_zoom) * mean_p
    return log_zoom, float(shift[0]), float(shift[1])


def camera_path(
    boxes: np.ndarray, moment: np.ndarray, frames: int, size_px: tuple[int, int], body_ft: float
) -> CameraPath:
    """The camera's path over a shot.

    Parameters
    ----------
    boxes : (N, 4) ndarray
        Finite, with positive sizes.
    moment : (N,) ndarray of int
        Frame of each, non-decreasing, below ``frames``.
    size_px : tuple of int
    body_ft : float
        Height of a body, which turns the median box height into feet.
    """
    middle = np.asarray(size_px, dtype=np.float64) / 2
    bounds = np.searchsorted(moment, np.arange(frames + 1))
    log_zoom = np.zeros(frames)
    shift = np.zeros((frames, 2))
    last: np.ndarray | None = None
    motion = (0.0, 0.0, 0.0)
    for k in range(frames):
        here = boxes[bounds[k] : bounds[k + 1]]
        if last is not None and k:
            motion = common_motion(last, here, middle, motion) if len(here) else (0.0, 0.0, 0.0)
        log_zoom[k] = motion[0] if k else 0.0
        shift[k] = motion[1:] if k else 0.0
        if len(here):
            last = here
    # point p of frame k sits at S_k p + T_k of the first; p_k = z p_{k-1} + s  =>  S_k = S_{k-1} / z
    heights = boxes[:, 3] - boxes[:, 1]
    per_pixel = body_ft / float(np.median(heights))
    log_scale = _steadied(-log_zoom, heights, bounds)
    scale = np.exp(log_scale) * per_pixel
    place = np.zeros((frames, 2))
    for k in range(1, frames):
        place[k] = place[k - 1] - scale[k] * shift[k]
    return CameraPath(scale, place, middle)


def _steadied(steps: np.ndarray, heights: np.ndarray, bounds: np.ndarray) -> np.ndarray:
    """Sum log-scale steps, held near the scale that the frames' median box heights say.

    A sum of many small steps drifts; box heights do not, but depend on who is near the camera. The sum is
    trusted over short times, the heights over long ones (a first-order complementary filter, run both ways).
    """
    frames = len(steps)
    middle = np.log(np.median(heights))
    absolute = np.full(frames, np.nan)
    for k in range(frames):
        here = heights[bounds[k] : bounds[k + 1]]
        if len(here) >= 3:
            absolute[k] = middle - np.log(np.median(here))
    known = np.isfinite(absolute)
    if not known.any():
        return np.cumsum(steps)
    absolute = np.interp(np.arange(frames), np.flatnonzero(known), absolute[known])
    summed = np.cumsum(steps)
    gap = absolute - summed
    rate = 1 / 125.0
    forwards, backwards = np.empty(frames), np.empty(frames)
    level = float(np.mean(gap[: min(frames, 125)]))
    for k in range(frames):
        level += rate * (gap[k] - level)
        forwards[k] = level
    level = float(np.mean(gap[-min(frames, 125) :]))
    for k in range(frames - 1, -1, -1):
        level += rate * (gap[k] - level)
        backwards[k] = level
    return summed + 0.5 * (forwards + backwards)


def refined(camera: CameraPath, steps: list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]) -> CameraPath:
    """The camera's path made steadier by bodies that were followed.

    Bodies do not all turn at once: what all of them seem to do together beyond their own smooth motion from one
    frame to the next is the camera.

    Parameters
    ----------
    camera : CameraPath
    steps : list of (moment, places, surprises, errors)
        For a moment k > 0: where the bodies were found on the plane, (n, 2); by how much they missed the smooth motion
        from the moment before, (n, 2); and the standard error of that, (n,).

    Returns
    -------
    CameraPath
    """
    frames = len(camera.scale)
    zoom = np.zeros(frames)
    move = np.zeros((frames, 2))
    for moment, places, surprises, errors in steps:
        if len(places) < 3:
            continue
        about = places - camera.shift[moment]
        spread = np.sqrt(np.mean(np.sum(about**2, axis=1))) + 1e-9
        design = np.zeros((2 * len(places), 3))
        design[0::2, 0] = design[1::2, 1] = 1.0
        design[0::2, 2], design[1::2, 2] = (about / spread).T
        target = surprises.reshape(-1)
        scale = np.repeat(errors, 2)
        weight = 1 / scale**2
        # one more body's worth of belief that nothing happened
        prior = np.diag([1.0, 1.0, 2.0]) / np.median(errors) ** 2
        for _ in range(6):
            inner = design.T * weight
            solution = np.linalg.solve(inner @ design + prior, inner @ target)
            residual = (target - design @ solution) / scale
            weight = 1 / scale**2 / (1 + (residual / 2) ** 2)
        move[moment], zoom[moment] = solution[:2], solution[2] / spread
    # a point q about the frame's middle that was put at S q + T belongs at (S q + T) - move - zoom * S q
    factor = np.exp(-np.cumsum(zoom))
    return CameraPath(camera.scale * factor, camera.shift - np.cumsum(move, axis=0), camera.middle_px)
