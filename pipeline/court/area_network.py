"""Which part of the floor each pixel shows: the court network behind one protocol.

Two backends: onnxruntime (no PyTorch, the default) and ultralytics (any device PyTorch knows). Both return the
probabilities of `AREA_CLASSES` at the network's own resolution, cut so that they cover the whole picture.
"""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

import cv2
import numpy as np

from pipeline.errors import ModelError
from pipeline.networks import Placement, fit_pictures, open_network, shipped_weights

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


class OnnxAreas:
    """The court network on onnxruntime."""

    def __init__(self, weights: Path | None = None, *, threads: int | None = None) -> None:
        path = weights or shipped_weights("areas", "onnx")
        self._network = open_network(path, "areas", threads=threads)
        if self._network.classes != AREA_CLASSES:
            raise ModelError(f"{path}: its classes are {self._network.classes}, wanted {AREA_CLASSES}; retrain it.")

    def areas(self, frames_bgr: list[np.ndarray]) -> list[np.ndarray]:
        """See `AreaNetwork.areas`."""
        if not frames_bgr:
            return []
        images, placements = fit_pictures(frames_bgr, self._network.input_px)
        (found,) = self._network.run(images)
        return [cut_to_picture(p, spot, self._network.input_px) for p, spot in zip(found, placements, strict=True)]


class UltralyticsAreas:
    """The court network on PyTorch, from ultralytics weights."""

    def __init__(self, weights: Path | None = None, *, device: str | None = None) -> None:
        import torch
        from ultralytics.nn.tasks import load_checkpoint

        path = weights or shipped_weights("areas", "pt")
        self._device = torch.device(device or ("cuda" if torch.cuda.is_available() else "cpu"))
        try:
            model, _ = load_checkpoint(str(path), device=self._device, fuse=True)
        except (OSError, KeyError, RuntimeError, EOFError) as reason:
            raise ModelError(
                f"{path}: not readable as ultralytics weights ({reason}); fetch the file again."
            ) from reason
        names = tuple(model.names[i] for i in range(len(model.names)))
        if names != AREA_CLASSES:
            raise ModelError(f"{path}: its classes are {names}, wanted {AREA_CLASSES}; retrain it.")
        self._model = model.eval()
        self._input_px = NETWORK_INPUT_PX

    def areas(self, frames_bgr: list[np.ndarray]) -> list[np.ndarray]:
        """See `AreaNetwork.areas`."""
        if not frames_bgr:
            return []
        import torch

        images, placements = fit_pictures(frames_bgr, self._input_px)
        with torch.inference_mode():
            found = self._model(torch.from_numpy(images).to(self._device)).float().softmax(dim=1).cpu().numpy()
        return [cut_to_picture(p, spot, self._input_px) for p, spot in zip(found, placements, strict=True)]


NETWORK_INPUT_PX = (640, 384)
"""Width and height of the court network's input as trained (the ONNX file says so itself)."""


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
