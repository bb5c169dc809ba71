"""A film of a drive in bare colours, and networks that know what is in it.

Every frame carries its number as black and white squares along its lower edge; the networks read the number there and
answer with the truth of that frame. So the whole way from film to tag is run without trained weights.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import av
import cv2
import numpy as np
import supervision as sv

from pipeline.court.area_network import AREA_CLASSES
from pipeline.court.attack_frame import to_court
from pipeline.court.camera import Camera, Lens
from pipeline.court.geometry import areas, markings
from pipeline.court.rule_books import rule_book
from pipeline.film.settings import BugSettings, FilmSettings
from pipeline.night.run import Networks
from pipeline.night.settings import NightSettings
from pipeline.night.vision import Eyes
from pipeline.settings import Settings

SIZE = (640, 360)
NBA = rule_book("nba")
CAMERA = Camera(
    centre_ft=np.array([47.0, -68.0, 34.0]),
    pan_deg=-21.0,
    tilt_deg=-16.5,
    roll_deg=0.4,
    focal_px=1175.0,
    lens=Lens(0.05, np.array([319.5, 179.5]), 640.0),
    size_px=SIZE,
)
FRAMES, RATE = 150, 25
BITS, SQUARE_PX = 10, 16
SPOTS = [(2.0, 6.0), (6.0, -6.0), (9.0, 5.0), (1.0, -4.0), (12.0, 1.0), (5.0, 1.5), (10.0, -4.0)]
"""Places in the paint, attack frame, no two on one line of sight."""
OUT = [(20.0, 14.0), (23.0, -12.0), (28.0, 8.0), (27.0, -16.0), (18.0, -20.0), (31.0, 0.0), (24.0, 18.0), (33.0, 12.0)]


def quick(**night: object) -> Settings:
    """Settings for tests of how films are run: the score graphic, which this film has not, is looked for briefly."""
    bug = BugSettings(pictures=8, finding_pictures=2)
    return Settings(film=FilmSettings(bug=bug), night=NightSettings.model_validate({"network_threads": 1, **night}))


@dataclass(frozen=True)
class Play:
    """Places of the bodies in each frame: the handler first, then nine others of whom ``inside`` stand in the paint."""

    inside: int
    opening: int = 0
    places_ft: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        t = np.arange(FRAMES) / RATE
        u = np.clip(27 - (t - 2.0) * 14, 3.0, 27)
        uv = np.empty((FRAMES, 10, 2))
        uv[:, 0] = np.column_stack([u, np.full(FRAMES, -1.0)])
        for n in range(9):
            uv[:, n + 1] = SPOTS[n] if n < self.inside else OUT[n - self.inside]
        object.__setattr__(self, "places_ft", to_court(uv.reshape(-1, 2), NBA, "left").reshape(uv.shape))

    def team(self, body: int) -> int:
        """The handler and every second other attack."""
        return 0 if body in (0, 1, 3, 5, 7) else 1


def box_at(place: np.ndarray) -> list[float]:
    x, y = CAMERA.project_floor(place[None])[0]
    top = CAMERA.project(np.array([[*place, 6.3]]))[0, 1]
    half = 0.16 * (y - top)
    return [x - half, top, x + half, y]


def ball_at(place: np.ndarray) -> list[float]:
    x, y = CAMERA.project(np.array([[place[0], place[1] - 0.6, 3.2]]))[0]
    return [x - 3, y - 3, x + 3, y + 3]


def draw(play: Play, number: int) -> np.ndarray:
    picture = np.full((SIZE[1], SIZE[0], 3), 110, np.uint8)
    order = np.argsort(-play.places_ft[number, :, 1])
    for body in order:
        x1, y1, x2, y2 = (round(v) for v in box_at(play.places_ft[number, body]))
        cv2.rectangle(
            picture, (x1, y1), (x2, y2), (235, 235, 235) if play.team(body) == 0 else (40, 30, 190), cv2.FILLED
        )
    for bit in range(BITS):
        left = bit * SQUARE_PX
        picture[-SQUARE_PX:, left : left + SQUARE_PX] = 255 if number >> bit & 1 else 0
    return picture


def number_of(picture: np.ndarray) -> int:
    row = picture[-SQUARE_PX // 2, SQUARE_PX // 2 : BITS * SQUARE_PX : SQUARE_PX].mean(axis=1)
    return int(sum(1 << bit for bit, level in enumerate(row) if level > 127))


def write_film(path: Path, play: Play, frames: int = FRAMES) -> Path:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=RATE)
        stream.width, stream.height = SIZE
        stream.pix_fmt = "yuv420p"
        stream.options = {"crf": "18", "preset": "ultrafast"}
        for number in range(frames):
            picture = av.VideoFrame.from_ndarray(draw(play, number), format="bgr24")
            container.mux(stream.encode(picture))
        container.mux(stream.encode(None))
    return path


def true_areas() -> np.ndarray:
    labels = np.zeros((SIZE[1], SIZE[0]), np.uint8)
    for name, label in [("court", 1), ("three_point_left", 2), ("paint_left", 3), ("centre_circle", 4)]:
        px = _on_picture(areas(NBA)[name], closed=True)
        if len(px) > 2:
            cv2.fillPoly(labels, [np.round(px).astype(np.int32)], label)
    for marking in markings(NBA):
        px = _on_picture(marking.points_ft, closed=marking.closed)
        cv2.polylines(labels, [np.round(px).astype(np.int32)], marking.closed, 5, 2)
    one_hot = np.stack([(labels == n).astype(np.float32) for n in range(len(AREA_CLASSES))])
    small = np.stack([cv2.resize(plane, (320, 180), interpolation=cv2.INTER_AREA) for plane in one_hot])
    return small / small.sum(axis=0)


def _on_picture(points: np.ndarray, *, closed: bool) -> np.ndarray:
    loop = np.vstack([points, points[:1]]) if closed else points
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(loop, axis=0), axis=1))])
    steps = np.arange(0, along[-1], 0.5)
    px = CAMERA.project_floor(np.column_stack([np.interp(steps, along, loop[:, a]) for a in (0, 1)]))
    return px[np.isfinite(px).all(axis=1) & (np.abs(px) < 9000).all(axis=1)]


class KnowingAreas:
    """Answers with the true areas."""

    def __init__(self) -> None:
        self.truth = true_areas()
        self.looked = 0

    def areas(self, frames_bgr: list[np.ndarray]) -> list[np.ndarray]:
        self.looked += len(frames_bgr)
        return [self.truth for _ in frames_bgr]


class KnowingDetector:
    """Answers with the true boxes of the frame whose number is in the picture."""

    def __init__(self, play: Play) -> None:
        self.play = play

    def detect(self, frames_bgr: list[np.ndarray]) -> list[sv.Detections]:
        return [self._one(number_of(frame)) for frame in frames_bgr]

    def _one(self, number: int) -> sv.Detections:
        places = self.play.places_ft[number]
        boxes = [box_at(p) for p in places] + [ball_at(places[0])]
        kinds = [0] * len(places) + [2]
        return sv.Detections(np.array(boxes), class_id=np.array(kinds), confidence=np.full(len(boxes), 0.9))


def knowing_networks(play: Play, opened: Callable[[str], None] = lambda _: None) -> Networks:
    def eyes() -> Eyes:
        opened("networks")
        return Eyes(KnowingAreas(), KnowingDetector(play))

    return Networks(open=eyes, digests=lambda: {"areas": "a", "detector": "d"})
