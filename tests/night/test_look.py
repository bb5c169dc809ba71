"""Single pictures, with networks that know the truth: what is drawn in must come out."""

import json

import cv2
import numpy as np
import pytest
import supervision as sv

from pipeline.court.area_network import AREA_CLASSES
from pipeline.court.camera import Camera, Lens, NoCourt
from pipeline.court.geometry import areas, markings
from pipeline.court.rule_books import rule_book
from pipeline.errors import PictureError
from pipeline.night.look import drawn_look, look_at, picture_as_json, read_picture
from pipeline.settings import Settings

SIZE = (1280, 720)
NBA = rule_book("nba")
CAMERA = Camera(
    centre_ft=np.array([47.0, -68.0, 34.0]),
    pan_deg=-21.0,
    tilt_deg=-16.5,
    roll_deg=0.4,
    focal_px=2350.0,
    lens=Lens(0.05, np.array([639.5, 359.5]), 1280.0),
    size_px=SIZE,
)
PLAYERS = [(6.0, 20.0), (10.0, 29.0), (17.0, 25.0), (3.0, 30.0), (25.0, 20.0), (30.0, 40.0), (12.0, 8.0), (22.0, 33.5)]
"""Court places; the first four are in the paint."""
OFFICIAL = (8.0, 24.0)
CROWD = (20.0, 60.0)


def dense(points: np.ndarray, *, closed: bool) -> np.ndarray:
    loop = np.vstack([points, points[:1]]) if closed else points
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(loop, axis=0), axis=1))])
    steps = np.arange(0, along[-1], 0.5)
    return np.column_stack([np.interp(steps, along, loop[:, a]) for a in (0, 1)])


class TrueAreas:
    """Paints the areas as the camera sees them, at a quarter of the picture's size."""

    def areas(self, frames_bgr):
        return [self._one(frame) for frame in frames_bgr]

    def _one(self, _frame):
        labels = np.zeros((SIZE[1], SIZE[0]), np.uint8)
        drawn = [("court", 1), ("three_point_left", 2), ("three_point_right", 2), ("paint_left", 3), ("paint_right", 3)]
        for name, label in [*drawn, ("centre_circle", 4)]:
            self._fill(labels, areas(NBA)[name], label)
        for marking in markings(NBA):
            px = CAMERA.project_floor(dense(marking.points_ft, closed=marking.closed))
            px = px[np.isfinite(px).all(axis=1) & (np.abs(px) < 5000).all(axis=1)]
            cv2.polylines(labels, [np.round(px).astype(np.int32)], marking.closed, 5, 3)
        one_hot = np.stack([(labels == n).astype(np.float32) for n in range(len(AREA_CLASSES))])
        small = np.stack([cv2.resize(plane, (320, 180), interpolation=cv2.INTER_AREA) for plane in one_hot])
        return small / small.sum(axis=0)

    def _fill(self, labels, polygon, label):
        px = CAMERA.project_floor(dense(polygon, closed=True))
        px = px[np.isfinite(px).all(axis=1) & (np.abs(px) < 9000).all(axis=1)]
        if len(px) > 2:
            cv2.fillPoly(labels, [np.round(px).astype(np.int32)], label)


class NoAreas:
    """Sees no floor anywhere."""

    def areas(self, frames_bgr):
        found = np.zeros((len(AREA_CLASSES), 90, 160), np.float32)
        found[0] = 1
        return [found for _ in frames_bgr]


def box_at(place) -> list[float]:
    x, y = CAMERA.project_floor(np.array([place]))[0]
    top = CAMERA.project(np.array([[*place, 6.3]]))[0, 1]
    return [x - 12, top, x + 12, y]


class TrueDetector:
    """Sees every body where it stands, and a ball."""

    def detect(self, frames_bgr):
        boxes = [box_at(p) for p in [*PLAYERS, OFFICIAL, CROWD]] + [[600, 300, 610, 310]]
        kinds = [0] * len(PLAYERS) + [1, 0, 2]
        score = np.linspace(0.9, 0.5, len(boxes))
        return [sv.Detections(np.array(boxes, float), class_id=np.array(kinds), confidence=score) for _ in frames_bgr]


class BlindDetector:
    """Sees nothing."""

    def detect(self, frames_bgr):
        return [sv.Detections(np.zeros((0, 4)), class_id=np.zeros(0, int), confidence=np.zeros(0)) for _ in frames_bgr]


@pytest.fixture(scope="module")
def picture() -> np.ndarray:
    image = np.full((SIZE[1], SIZE[0], 3), 120, np.uint8)
    for number, place in enumerate(PLAYERS):
        x1, y1, x2, y2 = (round(v) for v in box_at(place))
        image[y1:y2, x1:x2] = (30, 30, 200) if number % 2 else (230, 230, 230)
    return image


@pytest.fixture(scope="module")
def read(picture):
    return look_at(picture, TrueAreas(), TrueDetector(), Settings())


def test_the_floor_and_the_bodies_come_out(read):
    found = picture_as_json("a.png", read, [])
    assert found["registered"], found["reason"]
    assert found["rule_book"] == "nba"
    players = [b for b in found["bodies"] if b["class"] == "player"]
    assert len(players) == len(PLAYERS), "the crowd behind the far sideline is not on the floor"
    for place in PLAYERS:
        miss = min(np.hypot(*np.subtract(b["court_ft"], place)) for b in players)
        assert miss < 0.7, place
    assert [b["class"] for b in found["bodies"] if b["class"] != "player"] == ["official"]


def test_the_paint_count_leaves_out_officials(read):
    found = picture_as_json("a.png", read, [])
    assert (found["paint_end"], found["paint_count"]) == ("left", 4)
    inside = [b for b in found["bodies"] if b["in_paint"]]
    assert [b["class"] for b in inside].count("player") == 4
    assert [b["class"] for b in inside].count("official") == 1


def test_teams_are_told_apart_by_kit(read):
    by_place = {}
    for body in read.bodies:
        if body.kind == "player":
            nearest = int(np.argmin([np.hypot(*np.subtract(body.court_ft, p)) for p in PLAYERS]))
            by_place[nearest] = body.team
    assert {by_place[n] for n in range(0, 8, 2)} == {0}
    assert {by_place[n] for n in range(1, 8, 2)} == {1}


def test_points_go_through_the_lens(read):
    px = tuple(CAMERA.project_floor(np.array([[19.0, 25.0]]))[0])
    found = picture_as_json("a.png", read, [px, (640.0, 2.0)])
    assert found["points"][0]["court_ft"] == pytest.approx([19.0, 25.0], abs=0.5)
    # The same by hand: undistort with the lens given, then the homography given.
    lens = Lens(found["lens"]["k1"], np.array(found["lens"]["centre_px"]), found["lens"]["width_px"])
    x, y, w = np.array(found["homography"]) @ [*lens.undistort(np.array([px]))[0], 1.0]
    assert (x / w, y / w) == pytest.approx(found["points"][0]["court_ft"])


def test_json_has_no_values_that_json_lacks(read):
    text = json.dumps(picture_as_json("a.png", read, [(0, 0)]), allow_nan=False)
    keys = {"image", "registered", "rule_book", "homography", "lens", "residual_ft", "points", "bodies", "ball"}
    assert keys | {"paint_count"} <= set(json.loads(text))


def test_without_a_floor_there_is_a_reason_and_no_count(picture):
    blind = look_at(picture, NoAreas(), TrueDetector(), Settings())
    assert isinstance(blind.fit, NoCourt)
    found = picture_as_json("a.png", blind, [(10, 10)])
    assert found["registered"] is False
    assert found["reason"].endswith(".")
    for name in ("rule_book", "homography", "lens", "residual_ft", "paint_count"):
        assert found[name] is None
    assert found["points"][0]["court_ft"] is None
    assert all(b["court_ft"] is None and b["in_paint"] is None for b in found["bodies"])
    assert drawn_look(picture, blind, [(10, 10)]).shape == picture.shape


def test_nobody_on_the_floor_counts_none(picture):
    empty = look_at(picture, TrueAreas(), BlindDetector(), Settings())
    found = picture_as_json("a.png", empty, [])
    assert (found["bodies"], found["ball"], found["paint_end"], found["paint_count"]) == ([], None, "left", 0)


def test_the_drawing_marks_paint_and_bodies_and_leaves_the_picture_alone(picture, read):
    before = picture.copy()
    drawn = drawn_look(picture, read, [(640.0, 500.0)])
    assert (picture == before).all()
    changed = (drawn != picture).any(axis=2)
    middle = CAMERA.project_floor(np.array([[12.0, 22.0]]))[0].round().astype(int)
    assert changed[middle[1], middle[0]], "the paint is tinted"
    assert 0.02 < changed.mean() < 0.6


def test_pictures_that_cannot_be_read_say_why(tmp_path):
    with pytest.raises(PictureError, match="does not exist"):
        read_picture(tmp_path / "no.png")
    with pytest.raises(PictureError, match="is a folder"):
        read_picture(tmp_path)
    (tmp_path / "empty.jpg").write_bytes(b"")
    with pytest.raises(PictureError, match="empty"):
        read_picture(tmp_path / "empty.jpg")
    (tmp_path / "text.jpg").write_text("hello")
    with pytest.raises(PictureError, match="not a picture"):
        read_picture(tmp_path / "text.jpg")


def test_grey_and_sixteen_bit_pictures_are_read_as_colour(tmp_path):
    for name, image in {"grey": np.full((4, 6), 9, np.uint8), "deep": np.full((4, 6, 3), 900, np.uint16)}.items():
        path = tmp_path / f"{name}.png"
        cv2.imwrite(str(path), image)
        assert read_picture(path).shape == (4, 6, 3)
        assert read_picture(path).dtype == np.uint8
