"""Kit colours: what a body in a box wears, as the CIELAB colour of its jersey and of its shorts.

The two regions are the torso and the hips, by the proportions of a standing adult (shoulders at 0.82, crotch at
0.47 of the stature: Drillis & Contini 1966, body segment lengths as printed in Winter, *Biomechanics and Motor
Control of Human Movement*, fig. 4.1). A player who leans or reaches leaves half of such a region to the floor, so a
region's colour is not its median but its commonest colour (the mode of a kernel density, Comaniciu & Meer 2002,
*IEEE TPAMI* 24) among pixels that differ from what is seen just beside the box, the middle counting more.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

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


def _crop(frame_bgr: np.ndarray, x1: float, y1: float, x2: float, y2: float) -> np.ndarray | None:
    """A part of the picture, shrunk, (h, w, 3); None where it has no pixel in the picture."""
    height, width = frame_bgr.shape[:2]
    left, top = math.floor(x1), math.floor(y1)
    right, bottom = max(math.ceil(x2), left + 1), max(math.ceil(y2), top + 1)
    left, right = max(left, 0), min(right, width)
    top, bottom = max(top, 0), min(bottom, height)
    if right <= left or bottom <= top:
        return None
    crop = frame_bgr[top:bottom, left:right]
    size = (min(crop.shape[1], LARGEST_SIDE_PX), min(crop.shape[0], LARGEST_SIDE_PX))
    if size != (crop.shape[1], crop.shape[0]):
        crop = cv2.resize(crop, size, interpolation=cv2.INTER_AREA)
    return crop


def _region_crops(
    frame_bgr: np.ndarray, box: np.ndarray, region: tuple[float, float, float, float]
) -> list[np.ndarray | None]:
    """A region of a box, and the strips to its left and right."""
    x1, y1, x2, y2 = (float(v) for v in box)
    wide, tall = x2 - x1, y2 - y1
    top, bottom = y1 + region[1] * tall, y1 + region[3] * tall
    return [
        _crop(frame_bgr, x1 + region[0] * wide, top, x1 + region[2] * wide, bottom),
        _crop(frame_bgr, x1 - STRIP * wide, top, x1, bottom),
        _crop(frame_bgr, x2, top, x2 + STRIP * wide, bottom),
    ]


def _in_lab(crops: list[np.ndarray | None]) -> list[np.ndarray | None]:
    """Crops in CIELAB, (h, w, 3) float32. All at once: the conversion's start costs more than its pixels."""
    there = [crop for crop in crops if crop is not None]
    if not there:
        return list(crops)
    pixels = np.concatenate([crop.reshape(-1, 1, 3) for crop in there])
    lab = cv2.cvtColor(pixels.astype(np.float32) / 255.0, cv2.COLOR_BGR2LAB)
    ends = np.cumsum([crop.shape[0] * crop.shape[1] for crop in there])
    parts = iter(np.split(lab, ends[:-1]))
    return [None if crop is None else next(parts).reshape(crop.shape) for crop in crops]


def _padded(parts: Sequence[np.ndarray | None]) -> tuple[np.ndarray, np.ndarray]:
    """Pixels of every part side by side: (N, most, 3) float32, infinite beyond its own count (N,)."""
    counts = np.array([0 if part is None else part.shape[0] * part.shape[1] for part in parts], dtype=np.intp)
    rows = np.full((len(parts), max(1, counts.max(initial=0)), 3), np.inf, dtype=np.float32)
    for row, part in zip(rows, parts, strict=True):
        if part is not None:
            pixels = part.reshape(-1, 3)
            row[: len(pixels)] = pixels
    return rows, counts


def _medians(rows: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Median of the first so many of each row, channel by channel: (N, most, 3) to (N, 3); infinite for none."""
    ordered, every = np.sort(rows, axis=1), np.arange(len(rows))
    return (
        ordered[every, np.maximum(counts - 1, 0) // 2] + ordered[every, np.minimum(counts // 2, rows.shape[1] - 1)]
    ) / 2


def _commonest(
    inners: Sequence[np.ndarray | None],
    sides: Sequence[Sequence[np.ndarray | None]],
    regions: Sequence[tuple[float, float, float, float]],
) -> np.ndarray:
    """Commonest colour of regions against what is beside them: (N, 3), NaN where no pixel is in the picture."""
    pixels, counts = _padded(inners)
    valid = np.arange(pixels.shape[1]) < counts[:, None]
    weight = np.zeros(valid.shape, dtype=np.float32)
    for row, inner, region in zip(weight, inners, regions, strict=True):
        if inner is not None:
            height, width = inner.shape[:2]
            places = region[0] - 0.5 + (np.arange(width) + 0.5) * ((region[2] - region[0]) / width)
            row[: height * width].reshape(height, width)[:] = np.exp(-0.5 * (places / CENTRE_SHARE) ** 2)
    other = valid.copy()
    for side in sides:
        there, known = _padded(side)
        with np.errstate(invalid="ignore"):
            apart = pixels - _medians(there, known)[:, None]
            square = np.einsum("npc,npc->np", apart, apart)
        other &= (square > BEHIND_DELTA**2) | (known == 0)[:, None]
    enough = other.sum(axis=1) >= LEAST_SHARE * counts
    kept = np.where(enough[:, None], other, valid)
    colours = np.where(valid[..., None], pixels, 0)
    square = np.einsum("npc,npc->np", colours, colours)
    away = square[:, :, None] + square[:, None] - 2 * colours @ colours.transpose(0, 2, 1)
    away *= np.float32(-0.5 / BANDWIDTH**2)
    density = (np.exp(away) @ (weight * kept)[..., None])[..., 0]
    best = np.where(kept, density, -1).argmax(axis=1)
    near = kept & (away[np.arange(len(away)), best] >= -2.0)  # two bandwidths
    found = _medians(np.where(near[..., None], pixels, np.inf), near.sum(axis=1))
    return np.where(counts[:, None] > 0, found, np.nan)


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
    corners = np.asarray(box, dtype=np.float64)
    if corners.shape != (4,):
        raise ShapeError(f"box must be (4,), got {corners.shape}; pass x1, y1, x2, y2.")
    return kits_lab(frame_bgr, corners[None])[0]


def kits_lab(frame_bgr: np.ndarray, boxes: np.ndarray) -> np.ndarray:
    """:func:`kit_lab` of every box: (N, 4) corners to (N, 6) colours. N may be 0."""
    if frame_bgr.ndim != 3 or frame_bgr.shape[2] != 3:
        raise ShapeError(f"frame_bgr must be (h, w, 3), got {frame_bgr.shape}; pass a colour picture.")
    if boxes.ndim != 2 or boxes.shape[1] != 4:
        raise ShapeError(f"boxes must be (N, 4), got {boxes.shape}; pass corners, not centre and size.")
    kits = np.full((len(boxes), KIT_LENGTH), np.nan, dtype=np.float32)
    rows = np.flatnonzero(np.isfinite(boxes).all(axis=1))
    regions = (JERSEY_REGION, SHORTS_REGION)
    crops = [crop for row in rows for region in regions for crop in _region_crops(frame_bgr, boxes[row], region)]
    if crops:
        lab = _in_lab(crops)
        found = _commonest(lab[::3], (lab[1::3], lab[2::3]), regions * len(rows))
        kits[rows] = found.reshape(len(rows), KIT_LENGTH)
    return kits
