"""A bank of plausible main-camera views, to recognise roughly where a camera looks.

Synthetic cameras round the court are stored with coarse maps of the floor areas they see; a picture's own map is
compared with all of them and the nearest are handed on for refinement. The idea of retrieving a pose from synthetic
views is published: Chen & Little, "Sports Camera Calibration via Synthetic Data", CVPR workshops 2019.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pipeline.court.camera import rotation_matrices
from pipeline.court.floor_lines import AREA_LABELS, area_labels, edge_areas
from pipeline.court.rule_books import RuleBook, rule_book
from pipeline.court.settings import Markings

Array = NDArray[np.float64]

MAP_SIZE = (64, 36)
"""Width and height of a label map: the picture, whatever its shape, in this many cells."""

_COARSE = (16, 9)
_SAMPLES = (32, 18)
_CLASS_WEIGHT = np.array([1.0, 0.6, 1.3, 2.0, 2.0])
_SEED = 20240611
_WIDTH_PX = 640.0


@dataclass(frozen=True, slots=True, eq=False)
class ViewBank:
    """V views of one rule book's floor.

    Attributes
    ----------
    parameters : ndarray of shape (V, 8)
        As ``fitting.PARAMETERS`` without the circle radius.
    maps : ndarray of float32, shape (V, F)
        Weighted coarse area maps.
    """

    parameters: Array
    maps: NDArray[np.float32]

    def nearest(self, label_map: NDArray[np.uint8], count: int) -> Array:
        """Parameters of the ``count`` views most like a label map of shape (36, 64), nearest first."""
        wanted = _coarse(label_map[None, ::2, ::2], MAP_SIZE[0] // 2, MAP_SIZE[1] // 2)[0]
        away = np.sum(self.maps * self.maps, axis=1) - 2 * self.maps @ wanted
        order = np.argpartition(away, count)[:count]
        return self.parameters[order[np.argsort(away[order])]]


def _coarse(labels: NDArray[np.uint8], width: int, height: int) -> NDArray[np.float32]:
    """Label maps (V, height, width) to weighted area shares on the coarse grid, (V, F)."""
    block_x, block_y = width // _COARSE[0], height // _COARSE[1]
    shares = []
    for label, weight in enumerate(_CLASS_WEIGHT):
        blocks = (labels == label).reshape(len(labels), _COARSE[1], block_y, _COARSE[0], block_x)
        shares.append(blocks.mean(axis=(2, 4), dtype=np.float32).reshape(len(labels), -1) * np.float32(weight))
    return np.concatenate(shares, axis=1)


def picture_grid(columns: int, rows: int, size_px: tuple[int, int]) -> Array:
    """Centres of a grid of cells over a picture, seen pixels, shape (rows * columns, 2)."""
    x = (np.arange(columns) + 0.5) * size_px[0] / columns - 0.5
    y = (np.arange(rows) + 0.5) * size_px[1] / rows - 0.5
    gx, gy = np.meshgrid(x, y)
    return np.column_stack([gx.ravel(), gy.ravel()])


def floor_of_grid(parameters: Array, columns: int, rows: int, aspect: float) -> Array:
    """Floor points seen at a grid of cells, for V parameter vectors without lens bending, (V, rows, columns, 2)."""
    grid = picture_grid(columns, rows, (1, 1))
    centred = (grid - grid.mean(axis=0)) / np.array([1.0, aspect])
    rotation = rotation_matrices(parameters[:, 3:6])
    focal = np.exp(parameters[:, 6])
    ray = (centred[None] / focal[:, None, None]) @ rotation[:, :2] + rotation[:, None, 2]
    down = -ray[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = parameters[:, 2, None] / np.where(down > 1e-4, down, np.nan)
    xy = parameters[:, None, :2] + ray[..., :2] * reach[..., None]
    return xy.reshape(len(parameters), rows, columns, 2)


@lru_cache(maxsize=4)
def view_bank(book_name: str, count: int = 12_000, markings: Markings = "all") -> ViewBank:
    """The bank for one rule book, made once per process (about half a second); its maps show only those markings."""
    book = rule_book(book_name)
    rng = np.random.default_rng(_SEED)
    kept: list[Array] = []
    maps: list[NDArray[np.float32]] = []
    found = 0
    while 2 * found < count:
        parameters = _random_views(rng, book, 2000)
        floor = floor_of_grid(parameters, *_SAMPLES, 16 / 9)
        labels = area_labels(floor, book)
        floor_share = (labels > 0).mean(axis=(1, 2))
        telling = ((labels == 2) | (labels == 3) | (labels == 4)).mean(axis=(1, 2))
        good = (floor_share > 0.15) & (telling > 0.03)
        kept.append(parameters[good])
        maps.append(_coarse(edge_areas(labels[good]) if markings == "edge" else labels[good], *_SAMPLES))
        found += int(good.sum())
    views, coarse = np.concatenate(kept)[: count // 2], np.concatenate(maps)[: count // 2]
    # The court is its own mirror image: every view, seen in a mirror, is another one.
    mirrored = views * np.array([-1, 1, 1, -1, 1, -1, 1, 1]) + np.array([book.length_ft, 0, 0, 0, 0, 0, 0, 0])
    flipped = coarse.reshape(-1, _COARSE[0])[:, ::-1].reshape(coarse.shape)
    return ViewBank(np.concatenate([views, mirrored]), np.concatenate([coarse, flipped]))


def _random_views(rng: np.random.Generator, book: RuleBook, count: int) -> Array:
    """Random cameras from low tribunes near the floor to high and far arena places, (count, 8)."""
    away = np.exp(rng.uniform(np.log(8), np.log(110), count))
    height = np.clip(away * np.exp(rng.normal(np.log(0.42), 0.35, count)), 5, 65)
    x = book.length_ft / 2 + rng.normal(0, 14, count)
    target_x = rng.uniform(-4, book.length_ft + 4, count)
    target_y = rng.uniform(8, 42, count)
    dx, dy = target_x - x, target_y + away
    distance = np.sqrt(dx**2 + dy**2 + height**2)
    view_width = np.exp(rng.uniform(np.log(21), np.log(115), count))
    focal = distance / view_width
    pan = np.rad2deg(np.arctan2(dx, dy))
    tilt = -np.rad2deg(np.arctan2(height, np.hypot(dx, dy)))
    roll = rng.normal(0, 0.8, count)
    return np.column_stack([x, -away, height, pan, tilt, roll, np.log(focal), np.full(count, 0.0)])


def agreement(seen: NDArray[np.uint8], model: NDArray[np.uint8]) -> float:
    """Mean intersection over union of two label maps over the areas that either shows.

    The court as a whole (everything but outside) counts as one more area, so that a missing edge is felt.
    """
    scores, weights = [], []
    for label in range(1, len(AREA_LABELS)):
        a, b = seen == label, model == label
        union = int((a | b).sum())
        if union >= 6:
            scores.append((a & b).sum() / union)
            weights.append(np.sqrt(union))
    a, b = seen > 0, model > 0
    union = int((a | b).sum())
    if union:
        scores.append((a & b).sum() / union)
        weights.append(np.sqrt(union))
    return float(np.average(scores, weights=weights)) if scores else 0.0
