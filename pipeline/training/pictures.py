"""Training folders as datasets: read once into memory, framed and disturbed anew every time they are asked for.

A training folder holds ``images/NAME.jpg`` and, for the pictures that have them, ``labels/NAME.txt`` (YOLO boxes,
classes of `BOX_CLASSES`) and ``masks/NAME.png`` (classes of `AREA_CLASSES`, 255 where the truth is not known).
A picture without labels does not train the detector; one without a mask does not train the court network. A folder
of such folders counts as one. Files cut short (a renderer stopped in the middle of writing) are passed over.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch

from pipeline.errors import DataError
from pipeline.players.tables import BOX_CLASSES
from pipeline.training.augment import PAD, Framing, coarsened, fitted, framed, moved_boxes, with_ball

UNKNOWN_AREA = 255
JPEG_END, PNG_END = b"\xff\xd9", b"IEND"
PAINTED_SHARE = 0.65
"""Share of the pictures that may get a painted ball which get one."""

MIN_SHARE_INSIDE = 0.3
"""A box less than this much inside the framed picture is not asked for."""


@dataclass(frozen=True, slots=True, eq=False)
class Labelled:
    """One training picture in memory. Boxes and mask are None where the folder has none."""

    name: str
    jpeg: np.ndarray  # (bytes,) uint8, as read from disk
    classes: np.ndarray | None  # (N,) int
    boxes: np.ndarray | None  # (N, 4) x1 y1 x2 y2 in shares of the picture's size
    mask_png: np.ndarray | None  # (bytes,) uint8
    may_get_balls: bool = False  # whether balls may be painted in, see `augment.with_ball`


def read_folder(folder: Path, *, needs: str, limit: int | None = None) -> list[Labelled]:
    """Read the pictures of a training folder that have what a task needs.

    Parameters
    ----------
    needs : "labels" or "masks"
    limit : read at most this many, in order of name

    Raises
    ------
    DataError
        The folder holds no such picture.
    """
    suffix = {"labels": ".txt", "masks": ".png"}[needs]
    parts = [folder] if (folder / "images").is_dir() else sorted(p.parent for p in folder.glob("*/images"))
    wanted: list[tuple[Path, Path]] = []
    for part in parts:
        pictures = {p.stem: p for p in (part / "images").glob("*") if p.suffix in {".jpg", ".png"}}
        truths = sorted((part / needs).glob(f"*{suffix}"))
        wanted += [(pictures[p.stem], p) for p in truths if p.stem in pictures]

    def read(pair: tuple[Path, Path]) -> Labelled | None:
        picture, truth = pair
        name = f"{truth.parents[1].name}/{truth.stem}"
        jpeg = np.fromfile(picture, np.uint8)
        if picture.suffix == ".jpg" and bytes(jpeg[-2:]) != JPEG_END:
            return None
        if needs == "masks":
            mask = np.fromfile(truth, np.uint8)
            return Labelled(name, jpeg, None, None, mask) if bytes(mask[-8:-4]) == PNG_END else None
        try:
            rows = np.array(truth.read_text().split(), float).reshape(-1, 5)
        except ValueError:
            return None
        boxes = np.column_stack([rows[:, 1:3] - rows[:, 3:5] / 2, rows[:, 1:3] + rows[:, 3:5] / 2])
        return Labelled(name, jpeg, rows[:, 0].astype(int), boxes, None)

    with ThreadPoolExecutor(16) as pool:
        found = [f for f in pool.map(read, wanted[:limit]) if f is not None]
    if not found:
        raise DataError(
            f"{folder}: no picture in images/ has a {suffix} file of its name in {needs}/; give a training folder."
        )
    return found


class FramedPictures(torch.utils.data.Dataset):
    """What the trainers draw batches from, in the form that ultralytics' losses expect.

    Parameters
    ----------
    pictures : the pictures; a picture may appear several times to be drawn more often
    input_px : width and height of the network's input
    limits : the random framing, or None for whole, undisturbed pictures (validation)
    draws : length of an epoch, each item a picture drawn at random; None goes through the pictures in order
    """

    def __init__(
        self,
        pictures: list[Labelled],
        input_px: tuple[int, int],
        limits: Framing | None,
        seed: int,
        *,
        draws: int | None = None,
    ) -> None:
        self._pictures = pictures
        self._draws = draws
        self._input_px = input_px
        self._limits = limits
        self._seed = seed
        self.labels = [
            {
                "cls": np.zeros((0, 1)) if p.classes is None else p.classes[:, None],
                "bboxes": np.zeros((0, 4)) if p.boxes is None else p.boxes,
            }
            for p in pictures
        ]

    def __len__(self) -> int:
        return self._draws or len(self._pictures)

    def __getitem__(self, index: int) -> dict:
        cv2.setNumThreads(0)
        rng = np.random.default_rng([self._seed, index, int(torch.randint(2**31, (1,)))])
        item = self._pictures[index if self._draws is None else int(rng.integers(len(self._pictures)))]
        picture = _decoded(item.jpeg, cv2.IMREAD_COLOR, item.name)
        size = (picture.shape[1], picture.shape[0])
        boxes_px, classes = np.empty((0, 4)), np.empty(0, int)
        if item.boxes is not None and item.classes is not None:
            boxes_px, classes = item.boxes * [*size, *size] - 0.5, item.classes
        if item.may_get_balls and self._limits is not None and rng.random() < PAINTED_SHARE:
            people = boxes_px[classes <= BOX_CLASSES.index("official")]
            if len(people):
                picture, ball = with_ball(picture, people, rng)
                boxes_px, classes = np.vstack([boxes_px, ball]), np.append(classes, BOX_CLASSES.index("ball"))
        if self._limits is None:
            matrix = fitted(size, self._input_px)
        else:
            matrix = framed(size, self._input_px, rng, self._limits)
        scale = np.sqrt(abs(np.linalg.det(matrix[:2, :2])))
        if scale < 0.62:  # a plain warp that shrinks this much would alias
            picture = cv2.GaussianBlur(picture, (0, 0), 0.45 / scale)
        picture = cv2.warpAffine(
            picture, matrix[:2], self._input_px, flags=cv2.INTER_LINEAR, borderValue=(PAD, PAD, PAD)
        )
        if self._limits is not None:
            picture = coarsened(picture, rng)
        out = {
            "img": torch.from_numpy(np.ascontiguousarray(picture[:, :, ::-1].transpose(2, 0, 1))),
            "im_file": item.name,
            "ori_shape": (size[1], size[0]),
            "resized_shape": (self._input_px[1], self._input_px[0]),
            "ratio_pad": ((matrix[1, 1], matrix[0, 0]), (matrix[0, 2], matrix[1, 2])),
        }
        if item.boxes is not None and item.classes is not None:
            boxes, share = moved_boxes(boxes_px, matrix, self._input_px)
            keep = (share >= MIN_SHARE_INSIDE) & (np.minimum(*(boxes[:, 2:] - boxes[:, :2]).T) >= 2)
            boxes = (boxes[keep] + 0.5) / [*self._input_px, *self._input_px]
            centred = np.column_stack([(boxes[:, :2] + boxes[:, 2:]) / 2, boxes[:, 2:] - boxes[:, :2]])
            out["bboxes"] = torch.from_numpy(centred.astype(np.float32).reshape(-1, 4))
            out["cls"] = torch.from_numpy(classes[keep].astype(np.float32)[:, None])
            out["batch_idx"] = torch.zeros(int(keep.sum()))
        if item.mask_png is not None:
            mask = _decoded(item.mask_png, cv2.IMREAD_UNCHANGED, item.name)
            if mask.shape[:2] != (size[1], size[0]):
                raise DataError(
                    f"masks/{item.name}.png is {mask.shape[1]}×{mask.shape[0]}, its picture {size}; match them."
                )
            mask = cv2.warpAffine(mask, matrix[:2], self._input_px, flags=cv2.INTER_NEAREST, borderValue=UNKNOWN_AREA)
            out["semantic_mask"] = torch.from_numpy(mask.astype(np.int32))
        return out

    @staticmethod
    def collate_fn(items: list[dict]) -> dict:
        """Stack pictures and masks, join boxes and say which picture each box is of."""
        batch: dict = {k: [item[k] for item in items] for k in ("im_file", "ori_shape", "resized_shape", "ratio_pad")}
        for key in ("img", "semantic_mask"):
            if key in items[0]:
                batch[key] = torch.stack([item[key] for item in items])
        if "bboxes" in items[0]:
            batch["bboxes"] = torch.cat([item["bboxes"] for item in items])
            batch["cls"] = torch.cat([item["cls"] for item in items])
            batch["batch_idx"] = torch.cat([item["batch_idx"] + i for i, item in enumerate(items)])
        return batch


def _decoded(packed: np.ndarray, how: int, name: str) -> np.ndarray:
    picture = cv2.imdecode(packed, how)
    if picture is None:
        raise DataError(f"{name}: a file of this picture cannot be read as a picture; replace or remove it.")
    return np.asarray(picture)
