"""Kit colours: what a body in a box wears, as the CIELAB colour of its jersey and of its shorts.

The two regions are the torso and the hips, by the proportions of a standing adult (shoulders at 0.82, crotch at
0.47 of the stature: Drillis & Contini 1966, body segment lengths as printed in Winter, *Biomechanics and Motor
Control of Human Movement*, fig. 4.1). A player who leans or reaches leaves half of such a region to the floor, so a
region's colour is not its median but its commonest colour (the mode of a kernel density, Comaniciu & Meer 2002,
*IEEE TPAMI* 24) among pixels that differ from what is seen just beside the box, the middle counting more.
"""

from __future__ import annotations

import cv2
import numpy as np

from pipeline.errors import ShapeError
from pipeline.players.tables import KIT_LENGTH

JERSEY_REGION = (0.14, 0.17, 0.86, 0.44)
"""x1, y1, x2, y2 of the jersey as shares of the box's width and height, from its top left."""

SHORTS_REGION = (0.16, 0.47, 0.84, 0.63)
"""The same for the shorts."""

STRIP = 0.14
"""Width of the strips on both sides of the box that show what is behind, as a share of its width."""

LARGEST_SIDE_PX = 10
"""Regions are shrunk (area average) to at most this many pixels a side."""

BEHIND_DELTA = 12.0
"""A pixel that differs less from a strip's median is what is behind (CIELAB distance)."""

LEAST_SHARE = 0.3
"""Where fewer pixels than this share differ from what is behind, all are kept: a like-coloured body stands beside."""

BANDWIDTH = 8.0
"""Width of the density's kernel, CIELAB units: about the spread of folds and shade in one cloth."""

CENTRE_SHARE = 0.3
"""Standard deviation of the weight about the box's middle, as a share of its width."""


def _lab(frame_bgr: np.ndarray, x1: float, y1: float, x2: float, y2: float) -> np.ndarray | None:
    """A part of the picture, shrunk, in CIELAB, (h, w, 3); None where it has no pixel in the picture."""
    height, width = frame_bgr.shape[:2]
    left, top = int(np.floor(x1)), int(np.floor(y1))
    right, bottom = max(int(np.ceil(x2)), left + 1), max(int(np.ceil(y2)), top + 1)
    left, right = max(left, 0), min(right, width)
    top, bottom = max(top, 0), min(bottom, height)
    if right <= left or bottom <= top:
        return None
    crop = frame_bgr[top:bottom, left:right]
    size = (min(crop.shape[1], LARGEST_SIDE_PX), min(crop.shape[0], LARGEST_SIDE_PX))
    if size != (crop.shape[1], crop.shape[0]):
        crop = cv2.resize(crop, size, interpolation=cv2.INTER_AREA)
    return cv2.cvtColor(crop.astype(np.float32) / 255.0, cv2.COLOR_BGR2LAB)


def _region_lab(frame_bgr: np.ndarray, box: np.ndarray, region: tuple[float, float, float, float]) -> np.ndarray:
    """Colour of one region of a box: shape (3,), NaN where no pixel of it is in the picture."""
    x1, y1, x2, y2 = box
    wide, tall = x2 - x1, y2 - y1
    top, bottom = y1 + region[1] * tall, y1 + region[3] * tall
    inner = _lab(frame_bgr, x1 + region[0] * wide, top, x1 + region[2] * wide, bottom)
    if inner is None:
        return np.full(3, np.nan)
    places = np.linspace(region[0], region[2], 2 * inner.shape[1] + 1)[1::2] - 0.5
    weight = np.tile(np.exp(-0.5 * (places / CENTRE_SHARE) ** 2), inner.shape[0])
    pixels = inner.reshape(-1, 3).astype(np.float64)
    other = np.ones(len(pixels), dtype=bool)
    for side in (
        _lab(frame_bgr, x1 - STRIP * wide, top, x1, bottom),
        _lab(frame_bgr, x2, top, x2 + STRIP * wide, bottom),
    ):
        if side is not None:
            behind = np.median(side.reshape(-1, 3), axis=0)
            other &= np.linalg.norm(pixels - behind, axis=1) > BEHIND_DELTA
    if other.mean() >= LEAST_SHARE:
        pixels, weight = pixels[other], weight[other]
    square = np.sum(pixels**2, axis=1)
    apart = square[:, None] + square[None] - 2 * pixels @ pixels.T
    density = np.exp(-0.5 * apart / BANDWIDTH**2) @ weight
    near = apart[int(np.argmax(density))] <= (2 * BANDWIDTH) ** 2
    return np.median(pixels[near], axis=0)


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
