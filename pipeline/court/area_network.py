"""Which part of the floor each pixel shows: the court network behind one protocol.

It returns the probabilities of `AREA_CLASSES` at the network's own resolution, cut so that they cover the whole
picture. What it runs on is `pipeline.backends`' business.
"""

from __future__ import annotations

from typing import Protocol

import cv2
import numpy as np

from pipeline.backends import PictureNetwork, open_picture_network
from pipeline.errors import ModelError
from pipeline.networks import Placement, fit_pictures

AREA_CLASSES = ("outside", "floor", "three_point_area", "paint", "centre_circle", "line")
"""Labels of the court network, in the order of its outputs; each pixel has exactly one.

``floor`` is court in no other area; ``line`` is every painted line. People do not cut holes.
"""


class AreaNetwork(Protocol):
    """Anything that says which part of the floor each pixel shows."""

    def areas(self, frames_bgr: list[np.ndarray]) -> list[np.ndarray]:
        """Probabilities per frame.

        Parameters
        ----------
        frames_bgr : list of ndarray of shape (H, W, 3), uint8

        Returns
        -------
        list of ndarray of shape (6, h, w), float32
            In the order of `AREA_CLASSES`, summing to 1; h and w cover the full picture, cell (i, j) the picture's
            rows i·H/h … (i+1)·H/h and columns j·W/w … (j+1)·W/w.
        """
        ...


class FloorAreas:
    """The court network behind `AreaNetwork`.

    Parameters
    ----------
    network : PictureNetwork
        One for the task "areas"; the shipped one, on one thread of the processor, if left out.
    """

    def __init__(self, network: PictureNetwork | None = None) -> None:
        self._network = network or open_picture_network("areas")
        if self._network.classes != AREA_CLASSES:
            raise ModelError(
                f"The court network's classes are {self._network.classes}, wanted {AREA_CLASSES}; retrain it."
            )

    def areas(self, frames_bgr: list[np.ndarray]) -> list[np.ndarray]:
        """See `AreaNetwork.areas`."""
        found: list[np.ndarray] = []
        for start in range(0, len(frames_bgr), self._network.batch):
            pictures, placements = fit_pictures(frames_bgr[start : start + self._network.batch], self._network.input_px)
            (areas,) = self._network.run(pictures)
            found += [
                cut_to_picture(a, spot, self._network.input_px) for a, spot in zip(areas, placements, strict=True)
            ]
        return found


def cut_to_picture(probabilities: np.ndarray, spot: Placement, input_px: tuple[int, int]) -> np.ndarray:
    """Undo the placement: keep the part of a probability map (6, h, w) that shows the picture.

    Cells keep their size; where the picture's edge falls inside a cell the map is resampled so that its own edge is
    the picture's.
    """
    stride = input_px[0] / probabilities.shape[2]
    width, height = max(1, round(spot.width_px / stride)), max(1, round(spot.height_px / stride))
    left, top = spot.left_px / stride, spot.top_px / stride
    if left == int(left) and top == int(top) and width * stride == spot.width_px and height * stride == spot.height_px:
        found = probabilities[:, int(top) : int(top) + height, int(left) : int(left) + width]
        return np.ascontiguousarray(found, np.float32)
    zoom_x, zoom_y = spot.width_px / stride / width, spot.height_px / stride / height
    # Centre of output cell j is at (j + 0.5) * zoom + left in cell edges.
    back = np.array([[zoom_x, 0, left + 0.5 * zoom_x - 0.5], [0, zoom_y, top + 0.5 * zoom_y - 0.5]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.stack(
        [
            cv2.warpAffine(p.astype(np.float32), back, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE)
            for p in probabilities
        ]
    )
