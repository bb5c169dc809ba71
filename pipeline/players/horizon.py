"""The horizon of each frame, from nothing but the boxes of standing bodies: it says how tall a body should look.

Under a level camera the height of a body in the picture is its feet's distance below the horizon times the body's
height over the camera's height over the floor (Criminisi, Reid & Zisserman 2000, *Single View Metrology*, IJCV 40). The
horizon moves with the camera's tilt, the bodies' own statures do not: both are fitted in turns.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d

ROUNDS = 8
"""Turns of fitting horizon and statures."""

SLACK = 0.1
"""Log height beyond which a body's stance no longer tells the horizon: bent or jumping."""


def horizons(
    boxes: np.ndarray,
    moment: np.ndarray,
    path: np.ndarray,
    frames: int,
    *,
    height_share: float,
    smooth_frames: float,
    stature_sigma: float,
) -> np.ndarray:
    """Height of the horizon in every frame, (frames,), pixels down the picture; usually negative.

    Parameters
    ----------
    boxes : (N, 4) ndarray
        Whole bodies only; x1, y1, x2, y2 in pixels.
    moment : (N,) int ndarray
        Frame of each.
    path : (N,) int ndarray
        Which boxes are one body's: 0, 1, ...
    frames : int
    height_share : float
        A body's height over the camera's.
    smooth_frames : float
        Standard deviation of the Gaussian over time.
    stature_sigma : float
        Spread of log stature over bodies; short paths are drawn to the mean by it.
    """
    if not len(boxes):
        return np.zeros(frames)
    height, feet = boxes[:, 3] - boxes[:, 1], boxes[:, 3]
    count = int(path.max()) + 1
    stature = np.zeros(count)
    robust = np.ones(len(boxes))
    # some belief in the median frame carries frames without bodies
    overall = float(np.median(feet - height / height_share))
    weak = 1e-3 / float(np.median(height)) ** 2
    horizon = np.full(frames, overall)
    for _ in range(ROUNDS):
        weight = robust / height**2
        guess = feet - height / (height_share * np.exp(stature[path]))
        total = np.bincount(moment, weight * guess, frames) + weak * overall
        mass = np.bincount(moment, weight, frames) + weak
        horizon = gaussian_filter1d(total, smooth_frames, mode="nearest") / gaussian_filter1d(
            mass, smooth_frames, mode="nearest"
        )
        miss = log_statures(boxes, horizon[moment], height_share)
        # stances last about a second: that many sightings tell no more than one
        readings = np.bincount(path, robust, count) / 25.0
        mean = np.bincount(path, robust * miss, count) / np.maximum(np.bincount(path, robust, count), 1e-9)
        stature = mean * readings / (readings + (SLACK / stature_sigma) ** 2 / 4)
        robust = 1 / (1 + ((miss - stature[path]) / SLACK) ** 2)
    return horizon


def log_statures(boxes: np.ndarray, horizon: np.ndarray, height_share: float) -> np.ndarray:
    """Log of each box's height over what a body of middling stature has at its feet, (N,); horizon is (N,)."""
    return np.log((boxes[:, 3] - boxes[:, 1]) / expected_heights(boxes, horizon, height_share))


def expected_heights(boxes: np.ndarray, horizon: np.ndarray, height_share: float) -> np.ndarray:
    """Height in pixels of a body of middling stature that stands where each box does, (N,)."""
    return height_share * np.maximum(boxes[:, 3] - horizon, 10.0)
