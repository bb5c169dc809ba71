"""Kit colours: what a body in a box wears, as CIELAB medians of its jersey and its shorts.

The two regions are the middle of the torso and of the hips, by the proportions of a standing adult
(shoulders at 0.82, crotch at 0.47 of the stature: Drillis & Contini 1966, body segment lengths as
printed in Winter, *Biomechanics and Motor Control of Human Movement*, fig. 4.1). Only the middle of
the box's width is read, and pixels far from the region's own median (floor, arms, numbers, a passing
opponent) are left out of a second and third median.
"""

from __future__ import annotations

import cv2
import numpy as np

from pipeline.errors import ShapeError
from pipeline.players.tables import KIT_LENGTH

JERSEY_REGION = (0.31, 0.20, 0.69, 0.44)
"""x1, y1, x2, y2 of the jersey as shares of the box's width and height, from its top left."""

SHORTS_REGION = (0.29, 0.48, 0.71, 0.62)
"""The same for the shorts."""

LARGEST_SIDE_PX = 24
"""Regions are shrunk (area average) to at most this many pixels a side before the medians."""

KEPT_SHARE = 0.6
"""Share of pixels, nearest to the last median, that enter the next one."""


def _region_lab(frame_bgr: np.ndarray, box: np.ndarray, region: tuple[float, float, float, float]) -> np.ndarray:
    """Trimmed CIELAB median of one region of a box: shape (3,), NaN where no pixel of it is in the picture."""
    height, width = frame_bgr.shape[:2]
    x1, y1, x2, y2 = box
    left = int(np.floor(x1 + region[0] * (x2 - x1)))
    top = int(np.floor(y1 + region[1] * (y2 - y1)))
    right = max(int(np.ceil(x1 + region[2] * (x2 - x1))), left + 1)
    bottom = max(int(np.ceil(y1 + region[3] * (y2 - y1))), top + 1)
    left, right = max(left, 0), min(right, width)
    top, bottom = max(top, 0), min(bottom, height)
    if right <= left or bottom <= top:
        return np.full(3, np.nan)
    crop = frame_bgr[top:bottom, left:right]
    shrink = max(crop.shape[0], crop.shape[1]) / LARGEST_SIDE_PX
    if shrink > 1:
        size = (max(1, round(crop.shape[1] / shrink)), max(1, round(crop.shape[0] / shrink)))
        crop = cv2.resize(crop, size, interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(crop.astype(np.float32) / 255.0, cv2.COLOR_BGR2LAB).reshape(-1, 3)
    median = np.median(lab, axis=0)
    kept = max(1, round(KEPT_SHARE * len(lab)))
    for _ in range(2):
        distance = np.sum((lab - median) ** 2, axis=1)
        median = np.median(lab[np.argpartition(distance, kept - 1)[:kept]], axis=0)
    return median


def kit_lab(frame_bgr: np.ndarray, box: np.ndarray) -> np.ndarray:
    """Jersey and shorts colour of the body in a box.

    Parameters
    ----------
    frame_bgr : ndarray of shape (h, w, 3), uint8
        The picture, blue-green-red.
    box : ndarray of shape (4,)
        x1, y1, x2, y2 in pixels; may reach beyond the picture.

    Returns
    -------
    ndarray of shape (6,), float32
        Jersey L, a, b then shorts L, a, b; L in 0..100, a and b about -128..127. NaN where the region
        has no pixel in the picture or the box is not finite.
    """
    if frame_bgr.ndim != 3 or frame_bgr.shape[2] != 3:
        raise ShapeError(f"frame_bgr must be (h, w, 3), got {frame_bgr.shape}; pass a colour picture.")
    corners = np.asarray(box, dtype=np.float64)
    if corners.shape != (4,):
        raise ShapeError(f"box must be (4,), got {corners.shape}; pass x1, y1, x2, y2.")
    if not np.all(np.isfinite(corners)):
        return np.full(KIT_LENGTH, np.nan, dtype=np.float32)
    jersey = _region_lab(frame_bgr, corners, JERSEY_REGION)
    shorts = _region_lab(frame_bgr, corners, SHORTS_REGION)
    return np.concatenate([jersey, shorts]).astype(np.float32)


def kits_lab(frame_bgr: np.ndarray, boxes: np.ndarray) -> np.ndarray:
    """:func:`kit_lab` of every box: (N, 4) corners to (N, 6) colours. N may be 0."""
    if boxes.ndim != 2 or boxes.shape[1] != 4:
        raise ShapeError(f"boxes must be (N, 4), got {boxes.shape}; pass corners, not centre and size.")
    kits = np.empty((len(boxes), KIT_LENGTH), dtype=np.float32)
    for row, box in enumerate(boxes):
        kits[row] = kit_lab(frame_bgr, box)
    return kits
