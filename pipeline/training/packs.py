"""Packs: labelled pictures on disk as the trainer wants them, ready to be copied to the GPU.

A pack is one ``.npz`` file (not compressed) of a few pictures of one size:

- ``planes`` (N, 3·H/2, W) uint8: the picture as I420 (full luma, then both chroma planes at half the size, BT.601),
  half the bytes of RGB and no more loss than every film has;
- ``masks`` (N, h, w) uint8: classes of `AREA_CLASSES`, `UNKNOWN_AREA` where the truth is not known; only in packs for
  the court network;
- ``boxes`` (N, `MOST_BOXES`, 4) float32: x1, y1, x2, y2 in pixels, whose centres are at whole numbers;
- ``classes`` (N, `MOST_BOXES`) int8: into `BOX_CLASSES`, `HIDDEN_BALL` or `NOTHING`.

Packs are written under another name and renamed when whole, so that a trainer may read while others still write.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

UNKNOWN_AREA = 255
MOST_BOXES = 32
"""Boxes kept of one picture."""

HIDDEN_BALL, NOTHING = -1, -2
"""Classes beside those of `BOX_CLASSES`: a ball too hidden to be asked for (finding it is no fault), and no box."""

SIZES = {"detector": (1280, 720), "areas": (960, 540)}
"""Width and height of the pictures of each task's packs: larger than the network's input, for zooming in."""


@dataclass(frozen=True, slots=True, eq=False)
class Pack:
    """A few labelled pictures of one size; see the module's text."""

    planes: np.ndarray
    boxes: np.ndarray
    classes: np.ndarray
    masks: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.planes)


def to_planes(picture_bgr: np.ndarray, size_px: tuple[int, int]) -> np.ndarray:
    """One picture at another size as I420, shape (3·H/2, W)."""
    height, width = picture_bgr.shape[:2]
    if (width, height) != size_px:
        way = cv2.INTER_AREA if size_px[0] < width else cv2.INTER_CUBIC
        picture_bgr = cv2.resize(picture_bgr, size_px, interpolation=way)
    return np.asarray(cv2.cvtColor(picture_bgr, cv2.COLOR_BGR2YUV_I420))


def padded(boxes: np.ndarray, classes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Boxes (K, 4) and classes (K,) of one picture, filled up to `MOST_BOXES` rows."""
    count = min(len(classes), MOST_BOXES)
    all_boxes, all_classes = np.zeros((MOST_BOXES, 4), np.float32), np.full(MOST_BOXES, NOTHING, np.int8)
    all_boxes[:count], all_classes[:count] = boxes[:count], classes[:count]
    return all_boxes, all_classes


def pack_of(
    pictures: list[np.ndarray],
    labels: list[tuple[np.ndarray, np.ndarray]],
    task: str,
    masks: list[np.ndarray] | None = None,
) -> Pack:
    """Pack BGR pictures of one shape with their boxes (as padded, in their own pixels) for one task.

    Masks go to the size of the task's pictures by nearest neighbour.
    """
    size = SIZES[task]
    zoom = np.array([size[0] / pictures[0].shape[1], size[1] / pictures[0].shape[0]] * 2, np.float32)
    boxes = np.stack([(b + 0.5) * zoom - 0.5 for b, _ in labels]).astype(np.float32)
    return Pack(
        np.stack([to_planes(p, size) for p in pictures]),
        boxes,
        np.stack([c for _, c in labels]),
        None
        if masks is None
        else np.stack([cv2.resize(m, size, interpolation=cv2.INTER_NEAREST_EXACT) for m in masks]),
    )


def write_pack(pack: Pack, path: Path) -> None:
    """Write a pack; it appears under its name when it is whole."""
    parts = {"planes": pack.planes, "boxes": pack.boxes, "classes": pack.classes}
    if pack.masks is not None:
        parts["masks"] = pack.masks
    unfinished = path.with_suffix(".part")
    with unfinished.open("wb") as file:
        np.savez(file, **parts)  # type: ignore[arg-type]
    unfinished.replace(path)


def read_pack(path: Path) -> Pack:
    """Read a pack."""
    with np.load(path) as parts:
        return Pack(**{name: parts[name] for name in parts.files})
