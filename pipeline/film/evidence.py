"""What each analysed frame tells about its shot: floor, people, motion, detail, and now and then a small picture.

Comes in: frames as the vision pass has them. Goes out: the evidence table, from which :mod:`pipeline.film.live` judges.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
import pyarrow as pa

from pipeline.errors import ShapeError
from pipeline.film.settings import LiveSettings
from pipeline.film.tables import EVIDENCE

FLOW_WIDTH_PX = 128
"""Width at which motion is measured."""

OUTSIDE, PAINT = 0, 3
"""Places of the classes "outside" and "paint" in the area map (see ``court.area_network.AREA_CLASSES``)."""


def frame_evidence(
    small_bgr: np.ndarray,
    *,
    areas: np.ndarray | None = None,
    people_px: np.ndarray | None = None,
    picture_size_px: tuple[int, int] | None = None,
    earlier_bgr: np.ndarray | None = None,
    since_s: float = math.nan,
) -> dict[str, float | int | None]:
    """What one analysed frame tells about its shot.

    Parameters
    ----------
    small_bgr : ndarray of shape (H, W, 3), uint8
        The picture, shrunk.
    areas : ndarray of shape (6, h, w), optional
        Probabilities of the court areas, in the order of ``court.area_network.AREA_CLASSES``.
    people_px : ndarray of shape (N, 4), optional
        Boxes of players and officials, x1, y1, x2, y2 in pixels of the full picture.
    picture_size_px : (width, height)
        Size of the full picture; needed with ``people_px``.
    earlier_bgr : ndarray of shape (H, W, 3), optional
        The picture analysed before, if it is of the same shot and near enough in time.
    since_s : float
        Time since that picture, seconds.

    Returns
    -------
    dict
        The columns of :data:`~pipeline.film.tables.EVIDENCE` but frame, time and thumb; None where
        something was not measured.
    """
    row: dict[str, float | int | None] = dict.fromkeys(
        (
            "floor_share",
            "paint_share",
            "people",
            "person_height_share",
            "largest_person_share",
            "camera_motion",
            "people_motion",
        )
    )
    if areas is not None:
        if areas.ndim != 3 or areas.shape[0] <= PAINT:
            raise ShapeError(f"areas must be (6, h, w) probabilities, got {areas.shape}.")
        label = areas.argmax(axis=0)
        row["floor_share"] = float((label != OUTSIDE).mean())
        row["paint_share"] = float((label == PAINT).mean())
    boxes = None
    if people_px is not None:
        if picture_size_px is None:
            raise ShapeError("people_px needs picture_size_px, the size of the picture its boxes lie in.")
        boxes = np.asarray(people_px, dtype=np.float64).reshape(-1, 4)
        row["people"] = len(boxes)
        if len(boxes):
            heights = (boxes[:, 3] - boxes[:, 1]) / picture_size_px[1]
            row["person_height_share"] = float(np.median(heights))
            row["largest_person_share"] = float(heights.max())
    grey = cv2.cvtColor(small_bgr, cv2.COLOR_BGR2GRAY)
    row["detail"] = float(np.abs(sideways(grey)).mean() + np.abs(sideways(grey.T)).mean())
    if earlier_bgr is not None and earlier_bgr.shape == small_bgr.shape and since_s > 0:
        camera, people = _motion(earlier_bgr, small_bgr, boxes, picture_size_px)
        row["camera_motion"], row["people_motion"] = camera / since_s, people / since_s
    return row


def _motion(
    earlier: np.ndarray, now: np.ndarray, boxes: np.ndarray | None, picture_size_px: tuple[int, int] | None
) -> tuple[float, float]:
    """Camera's and people's motion between two pictures, in picture widths.

    Dense flow by Farnebäck, "Two-frame motion estimation based on polynomial expansion", SCIA 2003.
    The camera's motion is the median; the people's that of the boxes against it, or, without boxes,
    the 95th percentile against it.
    """
    size = (FLOW_WIDTH_PX, max(1, round(now.shape[0] * FLOW_WIDTH_PX / now.shape[1])))
    one, other = (
        cv2.cvtColor(cv2.resize(p, size, interpolation=cv2.INTER_AREA), cv2.COLOR_BGR2GRAY) for p in (earlier, now)
    )
    flow = cv2.calcOpticalFlowFarneback(one, other, np.zeros((*one.shape, 2), np.float32), 0.5, 3, 11, 2, 5, 1.1, 0)
    shift = np.median(flow.reshape(-1, 2), axis=0)
    rest = np.hypot(*(flow - shift).transpose(2, 0, 1))
    if boxes is not None and len(boxes) and picture_size_px is not None:
        scale = np.array([size[0] / picture_size_px[0], size[1] / picture_size_px[1]] * 2)
        per_person = []
        for x1, y1, x2, y2 in np.rint(boxes * scale).astype(int):
            patch = rest[max(0, y1) : max(y2, y1 + 1), max(0, x1) : max(x2, x1 + 1)]
            if patch.size:
                per_person.append(_median(patch))
        people = float(np.mean(per_person)) if per_person else 0.0
    else:
        people = float(np.percentile(rest, 95))
    return float(np.hypot(*shift)) / size[0], people / size[0]


def _median(values: np.ndarray) -> np.floating:
    """What `np.median` gives, without its checks, which take longer than so few values need."""
    ordered = np.sort(values, axis=None)
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2


class EvidenceGatherer:
    """Collects the evidence table while the vision pass goes over a film."""

    def __init__(self, settings: LiveSettings | None = None) -> None:
        self._settings = settings or LiveSettings()
        self._rows: list[dict[str, object]] = []
        self._earlier: tuple[float, np.ndarray] | None = None
        self._thumb_s = -math.inf

    def add(
        self,
        frame: int,
        t_s: float,
        small_bgr: np.ndarray,
        *,
        areas: np.ndarray | None = None,
        people_px: np.ndarray | None = None,
        picture_size_px: tuple[int, int] | None = None,
    ) -> None:
        """Take one analysed frame; arguments as in :func:`frame_evidence`, frames in order of time."""
        earlier, since_s = None, math.nan
        if self._earlier is not None and t_s - self._earlier[0] <= self._settings.longest_flow_s:
            earlier, since_s = self._earlier[1], t_s - self._earlier[0]
        row: dict[str, object] = {
            "frame": frame,
            "t_s": t_s,
            "thumb": None,
            **frame_evidence(
                small_bgr,
                areas=areas,
                people_px=people_px,
                picture_size_px=picture_size_px,
                earlier_bgr=earlier,
                since_s=since_s,
            ),
        }
        if t_s - self._thumb_s >= self._settings.thumb_every_s:
            self._thumb_s = t_s
            row["thumb"] = _encode_thumb(small_bgr, self._settings.thumb_width_px)
        self._rows.append(row)
        self._earlier = (t_s, small_bgr)

    def table(self) -> pa.Table:
        """The evidence table so far."""
        return EVIDENCE.from_rows(self._rows)


def _encode_thumb(small_bgr: np.ndarray, width_px: int) -> bytes:
    height = max(1, round(small_bgr.shape[0] * width_px / small_bgr.shape[1]))
    way = cv2.INTER_AREA if width_px < small_bgr.shape[1] else cv2.INTER_LINEAR
    grey = cv2.cvtColor(cv2.resize(small_bgr, (width_px, height), interpolation=way), cv2.COLOR_BGR2GRAY)
    done, data = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, 85])
    if not done:
        raise ShapeError(f"A small picture of shape {small_bgr.shape} could not be encoded.")
    return data.tobytes()


def sideways(grey: np.ndarray) -> np.ndarray:
    """Gradient along x in grey levels per pixel, (h, w) float32."""
    return cv2.Sobel(grey, cv2.CV_32F, 1, 0) / 8
