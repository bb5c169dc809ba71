"""Finds where text stands in a picture: level lines only, nothing is read.

The network is a public one (``models/text_regions.md``); its answer is a map of shrunken text lines, from which boxes
are grown back as Liao et al. describe ("Real-time scene text detection with differentiable binarization", AAAI 2020).
"""

from __future__ import annotations

import cv2
import numpy as np

from pipeline.networks import open_network, shipped_weights

MULTIPLE_PX = 32
"""Sides of the network's input are multiples of this."""

LEAST_CHANCE = 0.3
"""A pixel of the map from which on it belongs to a line; the network's own default."""

LEAST_LINE_CHANCE = 0.5
"""Mean of a line's pixels from which on it counts; below the network's default, for readings decide later."""

GROWN_BACK = 1.6
"""Area of a shrunken line over its outline, times this, is how far its sides are moved out; the network's default."""


class TextFinder:
    """Finds lines of text with the shipped network, on one thread."""

    def __init__(self) -> None:
        self._network = open_network(shipped_weights("text_regions", "onnx"), "text_regions", threads=1)

    def lines(self, picture_bgr: np.ndarray, *, zoom: float = 1.0) -> np.ndarray:
        """Boxes of the lines of text.

        Parameters
        ----------
        picture_bgr : ndarray of shape (H, W, 3), uint8
        zoom : float
            Enlarge the picture by this first: letters should be about 12 pixels high or more.

        Returns
        -------
        ndarray of shape (N, 4)
            x1, y1, x2, y2 in pixels of the picture. N may be 0.
        """
        height, width = picture_bgr.shape[:2]
        size = tuple(max(1, round(side * zoom / MULTIPLE_PX)) * MULTIPLE_PX for side in (width, height))
        shrinks = size[0] < width
        scaled = cv2.resize(picture_bgr, size, interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_CUBIC)
        level = (scaled.astype(np.float32) / 255 - 0.5) / 0.5
        chance = self._network.run(np.ascontiguousarray(level.transpose(2, 0, 1)[None]))[0][0, 0]
        boxes = line_boxes(chance)
        return boxes * np.array([width / size[0], height / size[1]] * 2)


def line_boxes(chance: np.ndarray) -> np.ndarray:
    """Grow boxes, (N, 4) x1, y1, x2, y2, from a map (H, W) of shrunken lines."""
    count, label, stats, _ = cv2.connectedComponentsWithStats((chance > LEAST_CHANCE).astype(np.uint8), connectivity=8)
    found = []
    for k in range(1, count):
        x, y, w, h, area = stats[k]
        if (
            area < 6
            or h < 2
            or chance[y : y + h, x : x + w][label[y : y + h, x : x + w] == k].mean() < LEAST_LINE_CHANCE
        ):
            continue
        out = GROWN_BACK * w * h / (2 * (w + h))
        found.append((max(0.0, x - out), max(0.0, y - out), x + w + out, y + h + out))
    return np.array(found, dtype=np.float64).reshape(-1, 4)
