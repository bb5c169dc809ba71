"""Label people and balls in real frames with a general-purpose detector.

The teacher is any NanoDet network with the COCO-80 classes, exported with per-level score and box
maps (RangiLyu/nanodet, Apache-2.0). It labels training pictures only; the product never loads it.
"""

from pathlib import Path

import cv2
import numpy as np
import onnxruntime

from pipeline.errors import ModelError

INPUT_PX = 416
STRIDES_PX = (8, 16, 32)
MEAN_BGR = np.array([103.53, 116.28, 123.675], np.float32)
SPREAD_BGR = np.array([57.375, 57.12, 58.395], np.float32)
PERSON, SPORTS_BALL = 0, 32
"""Indices in the COCO-80 class list."""


class Teacher:
    """A NanoDet network run on the whole picture and on overlapping tiles of it."""

    def __init__(self, weights: Path) -> None:
        if not weights.is_file():
            raise ModelError(f"{weights}: no teacher network there; name the ONNX file of a NanoDet with COCO classes.")
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        self._session = onnxruntime.InferenceSession(str(weights), options, providers=["CPUExecutionProvider"])
        self._input = self._session.get_inputs()[0].name

    def look(
        self, picture_bgr: np.ndarray, *, tiles: tuple[int, int] = (2, 3), min_score: float = 0.15
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Find people and balls.

        Parameters
        ----------
        picture_bgr : ndarray of shape (H, W, 3), uint8
        tiles : (rows, columns) of the overlapping second look; the first look is the whole picture
        min_score : keep detections of at least this score

        Returns
        -------
        boxes_px : ndarray of shape (N, 4), x1, y1, x2, y2
        scores : ndarray of shape (N,)
        classes : ndarray of shape (N,), PERSON or SPORTS_BALL
        """
        height, width = picture_bgr.shape[:2]
        found = [self._one(picture_bgr, 0.0, 0.0, min_score)]
        rows, columns = tiles
        tile_w, tile_h = width / (columns - (columns - 1) * 0.25), height / (rows - (rows - 1) * 0.25)
        for row in range(rows):
            for column in range(columns):
                x0, y0 = int(column * tile_w * 0.75), int(row * tile_h * 0.75)
                tile = picture_bgr[y0 : min(height, int(y0 + tile_h) + 1), x0 : min(width, int(x0 + tile_w) + 1)]
                boxes, scores, classes = self._one(tile, x0, y0, min_score)
                # A body cut by the inner edge of a tile is better seen in the neighbour.
                inner = np.array(
                    [x0 if x0 > 0 else -9, y0 if y0 > 0 else -9, x0 + tile.shape[1], y0 + tile.shape[0]], float
                )
                inner[2] = inner[2] if inner[2] < width else width + 9
                inner[3] = inner[3] if inner[3] < height else height + 9
                cut = (np.abs(boxes - inner) < 3).any(axis=1)
                found.append((boxes[~cut], scores[~cut], classes[~cut]))
        boxes = np.concatenate([f[0] for f in found])
        scores = np.concatenate([f[1] for f in found])
        classes = np.concatenate([f[2] for f in found])
        return _suppress(boxes, scores, classes)

    def _one(
        self, picture_bgr: np.ndarray, x0: float, y0: float, min_score: float
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        height, width = picture_bgr.shape[:2]
        scale = INPUT_PX / max(height, width)
        small = cv2.resize(
            picture_bgr,
            (max(1, round(width * scale)), max(1, round(height * scale))),
            interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC,
        )
        canvas = np.full((INPUT_PX, INPUT_PX, 3), 114, np.float32)
        canvas[: small.shape[0], : small.shape[1]] = small
        blob = ((canvas - MEAN_BGR) / SPREAD_BGR).transpose(2, 0, 1)[None].astype(np.float32)
        outputs = self._session.run(None, {self._input: blob})
        scores_by_cells = {o.shape[1]: o[0] for o in outputs if o.shape[2] == 80}
        sides_by_cells = {o.shape[1]: o[0] for o in outputs if o.shape[2] == 44}
        boxes_all, scores_all, classes_all = [], [], []
        for stride in STRIDES_PX:
            cells = INPUT_PX // stride
            class_scores = scores_by_cells[cells * cells][:, [PERSON, SPORTS_BALL]]
            best = class_scores.argmax(axis=1)
            score = class_scores.max(axis=1)
            keep = np.flatnonzero(score >= min_score)
            if not len(keep):
                continue
            bins = sides_by_cells[cells * cells][keep].reshape(-1, 4, 11)
            bins = np.exp(bins - bins.max(axis=2, keepdims=True))
            sides = (bins / bins.sum(axis=2, keepdims=True)) @ np.arange(11) * stride
            centre = (np.column_stack([keep % cells, keep // cells]) + 0.5) * stride
            boxes_all.append(np.column_stack([centre - sides[:, :2], centre + sides[:, 2:]]))
            scores_all.append(score[keep])
            classes_all.append(np.where(best[keep] == 0, PERSON, SPORTS_BALL))
        if not boxes_all:
            return np.empty((0, 4)), np.empty(0), np.empty(0, int)
        boxes = np.concatenate(boxes_all) / scale
        boxes[:, [0, 2]] = boxes[:, [0, 2]].clip(0, width)
        boxes[:, [1, 3]] = boxes[:, [1, 3]].clip(0, height)
        return boxes + np.array([x0, y0, x0, y0]), np.concatenate(scores_all), np.concatenate(classes_all)


def _suppress(
    boxes: np.ndarray, scores: np.ndarray, classes: np.ndarray, iou: float = 0.55
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Greedy per-class non-maximum suppression, also dropping boxes that lie inside a surer one."""
    order = np.argsort(-scores)
    kept: list[int] = []
    areas = (boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])
    for i in order:
        others = [k for k in kept if classes[k] == classes[i]]
        if others:
            wide = np.minimum(boxes[others, 2], boxes[i, 2]) - np.maximum(boxes[others, 0], boxes[i, 0])
            high = np.minimum(boxes[others, 3], boxes[i, 3]) - np.maximum(boxes[others, 1], boxes[i, 1])
            shared = wide.clip(0) * high.clip(0)
            smaller = np.minimum(areas[others], areas[i]).clip(1e-6)
            if (shared / (areas[others] + areas[i] - shared).clip(1e-6) > iou).any() or (shared / smaller > 0.85).any():
                continue
        kept.append(int(i))
    return boxes[kept], scores[kept], classes[kept]
