"""What stays in place in the small pictures of a film: the score graphic's edges, the line of a split screen."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pipeline.errors import ShapeError
from pipeline.film.evidence import sideways

SPLIT_LEVELS = 6.0
"""Sideways gradient from which on a pixel belongs to the line between two pictures, grey levels per pixel."""

SPLIT_HEIGHT = 0.85
"""Such a line runs through at least this share of the height."""


@dataclass(frozen=True, slots=True, eq=False)
class Overlay:
    """Upright edges that stay in place while the camera moves: the score graphic, a station's mark.

    Only upright edges (of boxes, letters and figures) count: a camera that pans leaves the level ones
    of the floor and the stands where they are.

    Attributes
    ----------
    mask : ndarray of shape (h, w), bool
        Where they are.
    gradient : ndarray of shape (h, w), float32
        Mean sideways gradient.
    """

    mask: np.ndarray
    gradient: np.ndarray

    def presence(self, grey: np.ndarray) -> float:
        """How much of the overlay is in a picture, about 0 (not there) to 1 (there)."""
        share = sideways(grey)[self.mask] / self.gradient[self.mask]
        return float(np.clip(share, -1, 1).mean())


def find_overlay(greys: np.ndarray) -> Overlay | None:
    """Find the overlay of a film.

    Parameters
    ----------
    greys : ndarray of shape (N, h, w), uint8
        Small grey pictures of court views, well apart in time.

    Returns
    -------
    Overlay or None
        None with fewer than eight pictures, or if no edges or too many stay in place (a camera that
        does not move).
    """
    if len(greys) < 8:
        return None
    gradients = np.stack([sideways(g) for g in greys])
    mean = gradients.mean(axis=0)
    # Replays among the pictures lack it, so it need not be in every one.
    there = (gradients * np.sign(mean) > 0.5 * np.abs(mean)).mean(axis=0)
    mask = (np.abs(mean) > 4.0) & (there >= 0.8)
    # A lone pixel is chance, an outline is many.
    mask &= cv2.boxFilter(mask.astype(np.float32), -1, (5, 5), normalize=False) >= 3
    return Overlay(mask, mean.astype(np.float32)) if 0.001 <= mask.mean() <= 0.06 else None


def split_columns(greys: np.ndarray) -> np.ndarray:
    """Columns in which an upright line runs through all pictures of a shot, as between the halves of a split screen.

    Parameters
    ----------
    greys : ndarray of shape (N, h, w), uint8
        Small grey pictures of one shot.

    Returns
    -------
    ndarray of shape (w,), bool
        None near the picture's sides, and none from fewer than two pictures.
    """
    width = greys.shape[2]
    if len(greys) < 2:
        return np.zeros(width, dtype=bool)
    there = np.stack([np.abs(sideways(g)) >= SPLIT_LEVELS for g in greys]).mean(axis=1).min(axis=0) >= SPLIT_HEIGHT
    margin = round(0.08 * width)
    there[:margin] = there[width - margin :] = False
    return there


def decode_thumb(data: bytes) -> np.ndarray:
    grey = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_GRAYSCALE)
    if grey is None:
        raise ShapeError("A thumb in the evidence table is no JPEG picture; run the film again.")
    return np.asarray(grey)
