"""Training folders of labelled real frames, turned into packs.

A training folder holds ``images/NAME.jpg`` and, for the pictures that have them, ``labels/NAME.txt`` (YOLO boxes,
classes of `BOX_CLASSES`) and ``masks/NAME.png`` (classes of `AREA_CLASSES`, 255 where the truth is not known).
A picture without labels does not train the detector; one without a mask does not train the court network. The game of a
picture is its name up to the last underscore.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from pipeline.errors import DataError
from pipeline.players.tables import BOX_CLASSES
from pipeline.training.augment import with_ball
from pipeline.training.packs import HIDDEN_BALL, Pack, pack_of, padded

PAINTED_COPIES = 11
"""Copies of each frame with a painted ball, beside four as they are."""

PLAIN_COPIES = 4


@dataclass(frozen=True, slots=True, eq=False)
class Labelled:
    """One picture of a training folder. Boxes and mask are None where the folder has none."""

    name: str
    picture_bgr: np.ndarray
    classes: np.ndarray | None  # (K,) int
    boxes_px: np.ndarray | None  # (K, 4) x1 y1 x2 y2
    mask: np.ndarray | None

    @property
    def game(self) -> str:
        """The game it is of."""
        return self.name.rpartition("_")[0]


def read_folder(folder: Path, *, needs: str) -> list[Labelled]:
    """Read the pictures of a training folder that have what a task needs.

    Parameters
    ----------
    needs : "labels" or "masks"

    Raises
    ------
    DataError
        The folder holds no such picture, or a file cannot be read.
    """
    suffix = {"labels": ".txt", "masks": ".png"}[needs]
    pictures = {p.stem: p for p in (folder / "images").glob("*") if p.suffix in {".jpg", ".png"}}
    found = []
    for truth in sorted((folder / needs).glob(f"*{suffix}")):
        if truth.stem not in pictures:
            continue
        picture = _picture(pictures[truth.stem], cv2.IMREAD_COLOR)
        size = (picture.shape[1], picture.shape[0])
        if needs == "masks":
            mask = _picture(truth, cv2.IMREAD_UNCHANGED)
            if mask.shape[:2] != picture.shape[:2]:
                raise DataError(f"{truth} is {mask.shape[1]}×{mask.shape[0]}, its picture {size}; match them.")
            found.append(Labelled(truth.stem, picture, None, None, mask))
            continue
        try:
            rows = np.array(truth.read_text().split(), float).reshape(-1, 5)
        except ValueError as reason:
            raise DataError(f"{truth}: not lines of class, centre and size ({reason}); repair it.") from reason
        corners = np.column_stack([rows[:, 1:3] - rows[:, 3:5] / 2, rows[:, 1:3] + rows[:, 3:5] / 2])
        found.append(Labelled(truth.stem, picture, rows[:, 0].astype(int), corners * [*size, *size] - 0.5, None))
    if not found:
        raise DataError(
            f"{folder}: no picture in images/ has a {suffix} file of its name in {needs}/; give a training folder."
        )
    return found


def _picture(path: Path, how: int) -> np.ndarray:
    picture = cv2.imread(str(path), how)
    if picture is None:
        raise DataError(f"{path} cannot be read as a picture; replace or remove it.")
    return np.asarray(picture)


def real_packs(pictures: list[Labelled], task: str, rng: np.random.Generator) -> list[Pack]:
    """Packs of real frames: for the detector several copies of each, most of them with a painted ball.

    Where a frame shows no labelled ball, one is somewhere all the same, hidden or too blurred to be labelled; the
    whole picture is then marked as holding a hidden ball only if none is painted, so that the painted one is learnt
    against the rest of the picture.
    """
    if task == "areas":
        nothing = padded(np.empty((0, 4)), np.empty(0))
        return [pack_of([p.picture_bgr], [nothing], task, [p.mask]) for p in pictures if p.mask is not None]
    ball, official = BOX_CLASSES.index("ball"), BOX_CLASSES.index("official")
    packs = []
    for item in pictures:
        if item.boxes_px is None or item.classes is None:
            continue
        height, width = item.picture_bgr.shape[:2]
        boxes, classes = item.boxes_px, item.classes
        plain = boxes, classes
        if not (classes == ball).any():
            everywhere = np.array([[-0.5, -0.5, width - 0.5, height - 0.5]])
            plain = np.vstack([everywhere, boxes]), np.append(HIDDEN_BALL, classes)
        copies, labels = [item.picture_bgr] * PLAIN_COPIES, [padded(*plain)] * PLAIN_COPIES
        people = boxes[classes <= official]
        for _ in range(PAINTED_COPIES if len(people) else 0):
            picture, box = with_ball(item.picture_bgr, people, rng)
            if box.any():
                copies.append(picture)
                labels.append(padded(np.vstack([boxes, box]), np.append(classes, ball)))
        packs.append(pack_of(copies, labels, task))
    return packs
