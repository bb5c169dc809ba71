"""What a body looks like and where in its box it stands, read from the picture with the box.

The look is for telling bodies of one film apart, teammates too: which colours the body shows from head to shoes, as
histograms over a fixed set of colours in horizontal stripes (the part-based colour histograms of Gray & Tao 2008,
*Viewpoint Invariant Pedestrian Recognition with an Ensemble of Localized Features*, ECCV). Nothing is learnt
beforehand: which of these numbers tell bodies apart is learnt from each film (:mod:`pipeline.players.identities`).

The stance says where the middle of the body is on the floor, measured from the middle of the box's lower edge: a body
that leans or reaches pulls its box to one side. It is a linear function of the silhouette, fitted to rendered bodies
(``python -m pipeline.training.stance``).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

from pipeline.errors import ShapeError
from pipeline.players.tables import LOOK_LENGTH

WINDOW_PX = (32, 48)
"""Width and height of the window that a box is drawn into."""

WINDOW_HEIGHTS = 1.08
"""Height of the window in heights of the box."""

STRIPES = 8
"""Horizontal stripes from head to shoes."""

COLOURS_LAB = np.array(
    [(8, 0, 0), (32, 0, 0), (55, 0, 0), (78, 0, 0), (97, 0, 0), (30, 12, 14), (48, 16, 22), (68, 16, 22)]
    + [(50, 50 * np.cos(turn), 50 * np.sin(turn)) for turn in np.arange(8) * np.pi / 4]
)
"""Colours of the histograms in CIELAB: five greys, three tones of skin, eight hues."""

LIGHTNESS_WEIGHT = 0.5
"""Weight of L² against a² and b²: light changes, dye does not."""

COLOUR_SIGMA = 16.0
"""How far a pixel's colour spreads over the fixed colours, CIELAB units; about half their distance."""

MOST_CHROMA = 55.0
"""Stronger colours count as this strong: none of the fixed colours lies beyond."""

CENTRE_SIGMA = 0.17
"""Standard deviation of the weight about the window's middle, as a share of its width."""

EDGE_COLUMNS = 5
"""Columns on each side of the window that show what is behind the body."""

BEHIND_SCALE = 40.0
"""A pixel that differs this much from what is behind (RGB levels) is the body's."""

BEHIND_LEAST = 0.05
"""Weight of a pixel that looks just like what is behind."""

GRID = (12, 16)
"""Rows and columns of the silhouette."""

SILHOUETTE_SCALE = 45.0
"""RGB levels at which a pixel is 63 % body."""

STANCE_FILE = Path(__file__).with_name("stance.npz")


@dataclass(frozen=True, slots=True, eq=False)
class BodyLooks:
    """What boxes show.

    Attributes
    ----------
    look : (N, LOOK_LENGTH) ndarray of uint8
        Square roots of shares, times 255: stripe by stripe from the top.
    across : (N,) ndarray of float32
        Where the body stands, right of the middle of the box's lower edge, in heights of the box.
    away_ft : (N,) ndarray of float32
        How far behind the lowest seen point, along the floor away from the camera.
    """

    look: np.ndarray
    across: np.ndarray
    away_ft: np.ndarray


def windows(frame_bgr: np.ndarray, boxes: np.ndarray) -> np.ndarray:
    """Windows of one size around boxes: (N, 4) corners in pixels to (N, 48, 32, 3) uint8.

    The window is as high as the box and a little, keeps the picture's proportions, and repeats the picture's edge.
    """
    if boxes.ndim != 2 or boxes.shape[1] != 4:
        raise ShapeError(f"boxes must be (N, 4), got {boxes.shape}; pass corners, not centre and size.")
    wide, tall = WINDOW_PX
    drawn = np.zeros((len(boxes), tall, wide, 3), dtype=np.uint8)
    for row, (x1, y1, x2, y2) in enumerate(np.asarray(boxes, dtype=np.float64)):
        height = WINDOW_HEIGHTS * (y2 - y1)
        if not np.isfinite(height) or height <= 0:
            continue
        left, top = (x1 + x2 - height * wide / tall) / 2, (y1 + y2 - height) / 2
        # drawn finer where the picture is finer, then shrunk by area
        finer = max(1, min(8, round(height / tall)))
        step = height / tall / finer
        placing = np.array([[step, 0, left + step / 2 - 0.5], [0, step, top + step / 2 - 0.5]], dtype=np.float64)
        inner = cv2.warpAffine(
            frame_bgr,
            placing,
            (wide * finer, tall * finer),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        drawn[row] = inner if finer == 1 else cv2.resize(inner, (wide, tall), interpolation=cv2.INTER_AREA)
    return drawn


@lru_cache(maxsize=1)
def _shares_of_colours() -> np.ndarray:
    """Share of each fixed colour in every colour of 5 bits a channel, blue-green-red: (32768, C)."""
    levels = (np.arange(32) * 8 + 4).astype(np.float32) / 255
    blue, green, red = np.meshgrid(levels, levels, levels, indexing="ij")
    lab = cv2.cvtColor(np.stack([blue, green, red], axis=-1).reshape(-1, 1, 3), cv2.COLOR_BGR2LAB)[:, 0].astype(float)
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    lab[:, 1:] *= np.minimum(1.0, MOST_CHROMA / np.maximum(chroma, 1e-6))[:, None]
    away = (lab[:, None] - COLOURS_LAB[None]) ** 2 @ np.array([LIGHTNESS_WEIGHT, 1, 1])
    near = np.exp(-0.5 * away / COLOUR_SIGMA**2) + 1e-9
    return (near / near.sum(axis=1, keepdims=True)).astype(np.float32)


def _apart_from_behind(drawn: np.ndarray) -> np.ndarray:
    """How much every pixel of windows differs from what is seen at the nearer-coloured side, RGB levels: (N, h, w)."""
    pixels = drawn.astype(np.float32)
    median = EDGE_COLUMNS // 2
    squares = []
    for side in (drawn[:, :, :EDGE_COLUMNS], drawn[:, :, -EDGE_COLUMNS:]):
        apart = pixels - np.sort(side, axis=2)[:, :, median : median + 1].astype(np.float32)
        squares.append(np.einsum("nhwc,nhwc->nhw", apart, apart))  # whole numbers below 2**24: exact in any order
    return np.sqrt(np.minimum(*squares))


def stripe_colours(drawn: np.ndarray, apart: np.ndarray) -> np.ndarray:
    """Looks of windows (N, 48, 32, 3), of which ``apart`` (N, 48, 32) says what is the body: (N, LOOK_LENGTH) uint8."""
    wide, tall = WINDOW_PX
    coarse = (drawn >> 3).astype(np.int32)
    shares = _shares_of_colours()[coarse[..., 0] * 1024 + coarse[..., 1] * 32 + coarse[..., 2]]
    middle = np.exp(-0.5 * (((np.arange(wide) - (wide - 1) / 2) / wide) / CENTRE_SIGMA) ** 2)
    weight = (middle * np.clip(apart / BEHIND_SCALE, BEHIND_LEAST, 1)).astype(np.float32)
    margin = tall * (1 - 1 / WINDOW_HEIGHTS) / 2
    edges = np.rint(np.linspace(margin, tall - margin, STRIPES + 1)).astype(np.int64)
    result = np.zeros((len(drawn), STRIPES, len(COLOURS_LAB)), dtype=np.float32)
    for stripe, (low, high) in enumerate(pairwise(edges)):
        own = weight[:, low:high]
        total = np.einsum("nhwc,nhw->nc", shares[:, low:high], own)
        result[:, stripe] = total / own.sum(axis=(1, 2))[:, None]
    return np.rint(255 * np.sqrt(result)).astype(np.uint8).reshape(len(drawn), LOOK_LENGTH)


def silhouettes_of(drawn: np.ndarray) -> np.ndarray:
    """Silhouettes of windows (N, 48, 32, 3): (N, 12, 16)."""
    return silhouettes(_apart_from_behind(drawn))


def silhouettes(apart: np.ndarray) -> np.ndarray:
    """Share of body in each field of a coarse grid: (N, 48, 32) differences to (N, 12, 16)."""
    rows, columns = GRID
    body = 1 - np.exp(-((apart / SILHOUETTE_SCALE) ** 2))
    return body.reshape(len(apart), rows, apart.shape[1] // rows, columns, apart.shape[2] // columns).mean(axis=(2, 4))


def silhouette_features(body: np.ndarray) -> np.ndarray:
    """What the stance is a linear function of: the silhouette, and the same with every row summing to 1 at most.

    (N, 12, 16) to (N, 384).
    """
    rows = body / (body.sum(axis=2, keepdims=True) + 0.3)
    fields = body.shape[1] * body.shape[2]
    return np.concatenate([body.reshape(len(body), fields), rows.reshape(len(body), fields)], axis=1)


@lru_cache(maxsize=1)
def _stance_weights() -> tuple[np.ndarray, np.ndarray, float]:
    with np.load(STANCE_FILE) as file:
        return file["across"].astype(np.float64), file["away"].astype(np.float64), float(file["away_ft"])


def stances(body: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where bodies stand by their silhouettes (N, 12, 16): across in heights of the box, away in feet, (N,) each.

    A mirrored silhouette stands as far on the other side, and as far away.
    """
    across_weights, away_weights, typical_ft = _stance_weights()
    mirrored = body[:, :, ::-1]
    seen, turned = silhouette_features(body), silhouette_features(mirrored)
    across = 0.5 * (seen - turned) @ across_weights
    away = typical_ft + (0.5 * (seen + turned)) @ away_weights
    return across.astype(np.float32), away.astype(np.float32)


def body_looks(frame_bgr: np.ndarray, boxes: np.ndarray) -> BodyLooks:
    """Look and stance of every box.

    Parameters
    ----------
    frame_bgr : ndarray of shape (h, w, 3), uint8
    boxes : (N, 4) ndarray
        Corners in pixels. N may be 0.
    """
    if frame_bgr.ndim != 3 or frame_bgr.shape[2] != 3:
        raise ShapeError(f"frame_bgr must be (h, w, 3), got {frame_bgr.shape}; pass a colour picture.")
    if not len(boxes):
        nothing = np.zeros(0, dtype=np.float32)
        return BodyLooks(np.zeros((0, LOOK_LENGTH), dtype=np.uint8), nothing, nothing)
    drawn = windows(frame_bgr, boxes)
    apart = _apart_from_behind(drawn)
    across, away_ft = stances(silhouettes(apart))
    return BodyLooks(stripe_colours(drawn, apart), across, away_ft)
