"""See players, officials, the ball and the rings: the detector behind one protocol.

Two ways: our network on what `pipeline.backends` chooses, and any ultralytics weights that know our classes on any
device PyTorch knows. Both return `supervision.Detections` whose class ids index `BOX_CLASSES`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

import numpy as np
import supervision as sv

from pipeline.backends import Device, PictureNetwork, chosen_device, open_picture_network
from pipeline.errors import ModelError
from pipeline.networks import fit_pictures, shipped_weights
from pipeline.players.settings import DetectorSettings
from pipeline.players.tables import BOX_CLASSES


class Detector(Protocol):
    """Anything that sees boxes in pictures."""

    def detect(self, frames_bgr: list[np.ndarray]) -> list[sv.Detections]:
        """Boxes per frame.

        Parameters
        ----------
        frames_bgr : list of ndarray of shape (H, W, 3), uint8
            May be empty.

        Returns
        -------
        list of Detections
            ``xyxy`` in pixels of the frame, cut at its edge; ``confidence`` in 0…1; ``class_id`` into `BOX_CLASSES`.
        """
        ...


class NetworkDetector:
    """The detector on one of the backends that the product chooses from.

    Parameters
    ----------
    network : PictureNetwork
        One for the task "detector"; the shipped one, on one thread of the processor, if left out.
    settings : DetectorSettings, optional
    """

    def __init__(self, network: PictureNetwork | None = None, settings: DetectorSettings | None = None) -> None:
        self._settings = settings or DetectorSettings()
        self._network = network or open_picture_network("detector")
        if self._network.classes != BOX_CLASSES:
            raise ModelError(f"The detector's classes are {self._network.classes}, wanted {BOX_CLASSES}; retrain it.")

    def detect(self, frames_bgr: list[np.ndarray]) -> list[sv.Detections]:
        """See `Detector.detect`."""
        found: list[sv.Detections] = []
        for start in range(0, len(frames_bgr), self._network.batch):
            frames = frames_bgr[start : start + self._network.batch]
            pictures, placements = fit_pictures(frames, self._network.input_px)
            boxes, scores = self._network.run(pictures)
            for frame, spot, frame_boxes, frame_scores in zip(frames, placements, boxes, scores, strict=True):
                chosen, class_id, confidence = select_boxes(frame_boxes, frame_scores, self._settings)
                found.append(_detections(spot.to_picture(chosen), class_id, confidence, frame.shape))
        return found


class UltralyticsDetector:
    """The detector on PyTorch, from any ultralytics detection weights that know our classes.

    Parameters
    ----------
    weights : file that ultralytics can load; the shipped network if left out
    device : as PyTorch names it; a GPU where there is one if left out
    class_names : what the weights call each of `BOX_CLASSES`, where they use other words
    """

    def __init__(
        self,
        weights: Path | None = None,
        settings: DetectorSettings | None = None,
        *,
        device: str | None = None,
        class_names: dict[str, str] | None = None,
    ) -> None:
        from ultralytics import YOLO

        path = weights or shipped_weights("detector", "pt")
        if not path.is_file():
            raise ModelError(f"{path}: no network there; give the path of ultralytics weights.")
        self._settings = settings or DetectorSettings()
        try:
            self._model = YOLO(str(path), task="detect")
            names: dict[int, str] = self._model.names
        except Exception as reason:  # unpickling raises whatever the damage leads to
            raise ModelError(f"{path}: not readable as ultralytics weights ({str(reason)[:120]}).") from reason
        words = {(class_names or {}).get(name, name): number for number, name in enumerate(BOX_CLASSES)}
        self._class_of = np.array([words.get(names[i], -1) for i in range(len(names))])
        if (self._class_of < 0).all():
            known = ", ".join(names.values())
            raise ModelError(f"{path}: knows none of {', '.join(BOX_CLASSES)}, only {known[:200]}; give class_names.")
        self._device = device
        args = getattr(self._model.model, "args", {})
        self._longest_px = int(args.get("imgsz", 960)) if isinstance(args, dict) else 960

    def detect(self, frames_bgr: list[np.ndarray]) -> list[sv.Detections]:
        """See `Detector.detect`."""
        found: list[sv.Detections] = []
        thresholds = self._settings.thresholds()
        for start in range(0, len(frames_bgr), self._settings.batch):
            frames = [np.ascontiguousarray(f) for f in frames_bgr[start : start + self._settings.batch]]
            results = self._model.predict(
                frames,
                imgsz=self._longest_px,
                conf=float(thresholds.min()),
                iou=self._settings.max_overlap,
                device=self._device,
                verbose=False,
            )
            for frame, result in zip(frames, results, strict=True):
                table = result.boxes.cpu().numpy()  # type: ignore[union-attr]
                class_id = self._class_of[table.cls.astype(int)] if len(table) else np.zeros(0, int)
                confidence = np.asarray(table.conf, np.float32)
                keep = (class_id >= 0) & (confidence >= thresholds[class_id])
                boxes = np.asarray(table.xyxy, np.float64).reshape(-1, 4)
                found.append(_detections(boxes[keep], class_id[keep], confidence[keep], frame.shape))
        return found


def select_boxes(
    boxes: np.ndarray, scores: np.ndarray, settings: DetectorSettings
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Keep sure boxes and, of doubles, the surest: of one class, and of one body taken for a player and an official.

    Parameters
    ----------
    boxes : ndarray of shape (cells, 4), x1, y1, x2, y2
    scores : ndarray of shape (cells, 4), one column a class of `BOX_CLASSES`

    Returns
    -------
    boxes : ndarray of shape (N, 4), surest first
    class_id : ndarray of int, shape (N,)
    confidence : ndarray of float32, shape (N,)
    """
    sure = scores >= settings.thresholds()
    cell, class_id = np.nonzero(sure)
    confidence = scores[cell, class_id].astype(np.float32)
    chosen = boxes[cell].astype(np.float64)
    order = np.argsort(-confidence, kind="stable")
    chosen, class_id, confidence = chosen[order], class_id[order], confidence[order]
    if len(chosen):
        rows = np.column_stack([chosen, confidence, class_id])
        keep = sv.box_non_max_suppression(rows, iou_threshold=settings.max_overlap)
        chosen, class_id, confidence = chosen[keep], class_id[keep], confidence[keep]
        body = np.where(class_id <= BOX_CLASSES.index("official"), -1, class_id)
        rows = np.column_stack([chosen, confidence, body])
        keep = sv.box_non_max_suppression(rows, iou_threshold=settings.max_body_overlap)
        chosen, class_id, confidence = chosen[keep], class_id[keep], confidence[keep]
    return chosen, class_id, confidence


def open_detector(
    weights: Path | None = None,
    settings: DetectorSettings | None = None,
    *,
    device: Device = Device.CPU,
    threads: int = 1,
) -> Detector:
    """The backend that fits: ultralytics for weights that are not ours, otherwise what the device asks for."""
    if weights is not None and weights.suffix != ".onnx":
        return UltralyticsDetector(weights, settings, device="cuda" if chosen_device(device) is Device.CUDA else "cpu")
    return NetworkDetector(open_picture_network("detector", weights, device=device, threads=threads), settings)


def _detections(
    boxes: np.ndarray, class_id: np.ndarray, confidence: np.ndarray, shape: tuple[int, ...]
) -> sv.Detections:
    height, width = shape[:2]
    boxes = np.clip(boxes, 0, [width, height, width, height])
    solid = (boxes[:, 2] > boxes[:, 0]) & (boxes[:, 3] > boxes[:, 1])
    return sv.Detections(
        xyxy=boxes[solid].astype(np.float32),
        confidence=confidence[solid].astype(np.float32),
        class_id=class_id[solid].astype(int),
    )
