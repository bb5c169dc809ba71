"""Labelling real frames: the teacher's sightings sorted by the floor, courts drawn from the rule book."""

import cv2
import numpy as np
import pytest

from pipeline.court.area_network import AREA_CLASSES
from pipeline.court.camera import Camera, Lens, NoCourt
from pipeline.court.geometry import areas, ring_centre_ft
from pipeline.court.registration import CourtFit, fit_polygons
from pipeline.court.rule_books import rule_book
from pipeline.training.packs import UNKNOWN_AREA
from pipeline.training.real_frames import Clothing, area_mask, likeness, merged, ring_boxes, standing

SIZE = (1280, 720)
BOOK = rule_book("fiba")


@pytest.fixture
def camera():
    """A main camera looking at the left half of a FIBA court."""
    lens = Lens(k1=0.0, centre_px=np.array([639.5, 359.5]), width_px=SIZE[0])
    return Camera(
        centre_ft=np.array([46.0, -62.0, 26.0]),
        pan_deg=-17.0,
        tilt_deg=-15.5,
        roll_deg=0.0,
        focal_px=1250.0,
        lens=lens,
        size_px=SIZE,
    )


def body_box(camera, x_ft, y_ft, height_ft=6.4):
    feet = camera.project(np.array([[x_ft, y_ft, 0.0]]))[0]
    head = camera.project(np.array([[x_ft, y_ft, height_ft]]))[0]
    wide = 0.4 * (feet[1] - head[1])
    return np.array([feet[0] - wide / 2, head[1], feet[0] + wide / 2, feet[1]])


def test_people_on_the_floor_stay_and_the_crowd_goes(camera):
    boxes = np.array(
        [
            body_box(camera, 20, 25),
            body_box(camera, 20, 75),  # behind the far line
            body_box(camera, 20, 25, height_ft=2.0),  # much too low for somebody standing there
            body_box(camera, 20, 51.5),  # a step outside, within the margin
        ]
    )
    stays = standing(boxes, camera, BOOK, margin_ft=(6.0, 3.0), height_range=(0.55, 1.45))
    assert stays.tolist() == [True, False, False, True]
    assert standing(np.empty((0, 4)), camera, BOOK, margin_ft=(6.0, 3.0), height_range=(0.5, 1.5)).shape == (0,)


def test_the_same_body_is_one_box():
    box, right = np.array([10.0, 10, 30, 70]), np.array([100.0, 0, 100, 0])
    found = [(box, 0.9, 0), (box + 1, 0.6, 1), (box + right, 0.15, 0), (box + 2 * right, 0.15, 0)]
    found.append((box + 2 * right + [0, 1, 0, 1], 0.14, 1))
    boxes, scores = merged(found)
    assert len(boxes) == 2, "seen once and unsure goes, seen twice and unsure stays"
    np.testing.assert_allclose(boxes[0], box + 0.36 / 1.17, atol=1e-6)
    assert scores.tolist() == [0.9, 0.15]


def test_officials_are_told_by_their_clothes():
    orange = Clothing((0, 13), (130, 255), (90, 255), (0, 100), least_share=0.22, least_dark_legs=0.0, beside_ft=(9, 8))
    picture = np.full((200, 200, 3), 200, np.uint8)
    picture[30:80, 40:80] = (20, 90, 240)  # an orange shirt
    picture[80:140, 40:80] = (30, 25, 25)  # black trousers
    picture[30:80, 120:160] = (240, 240, 240)
    box, other = np.array([35.0, 10, 85, 150]), np.array([115.0, 10, 165, 150])
    assert likeness(picture, box, orange) > 0.5
    assert likeness(picture, other, orange) == 0.0
    assert likeness(picture, np.array([300.0, 300, 320, 340]), orange) == 0.0


def test_rings_lie_where_the_rule_book_puts_them(camera):
    boxes = ring_boxes(camera, BOOK)
    assert len(boxes) == 1, "only the left basket is in the picture"
    ring = camera.project(ring_centre_ft(BOOK, "left")[None])[0]
    assert boxes[0, 0] < ring[0] < boxes[0, 2]
    assert boxes[0, 1] < ring[1] < boxes[0, 3]
    board_wide_ft = 1.8 / 0.3048  # FIBA equipment rules 2.1.3
    per_ft = camera.focal_px / np.linalg.norm(ring_centre_ft(BOOK, "left") - camera.centre_ft)
    assert 0.4 < (boxes[0, 2] - boxes[0, 0]) / (board_wide_ft * per_ft) < 1.4


def exact_fit(camera):
    return CourtFit(
        camera=camera,
        rule_book="fiba",
        residual_px=0.5,
        residual_ft=0.05,
        agreement=0.95,
        inliers=0.9,
        quality=0.9,
        circle_radius_ft=BOOK.circle_radius_ft,
    )


def polygons_of(camera):
    """What somebody would draw by hand: the floor seen and its areas on the left."""
    drawn = areas(BOOK)

    def pixels(points):
        """Drawn by hand means cut at the picture's edge."""
        seen = camera.project(np.column_stack([np.array(points, float), np.zeros(len(points))]))
        filled = cv2.fillPoly(np.zeros((SIZE[1], SIZE[0]), np.uint8), [seen.round().astype(np.int32)], 1)
        outline = max(cv2.findContours(filled, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0], key=cv2.contourArea)
        return cv2.approxPolyDP(outline, 1.5, True)[:, 0].tolist()

    names = {"court": "court", "three_point_area": "three_point_left", "paint": "paint_left"}
    return [{"area": area, "points": pixels(drawn[name])} for area, name in names.items()]


def label_at(mask, camera, x_ft, y_ft):
    x, y = camera.project(np.array([[x_ft, y_ft, 0.0]]))[0].round().astype(int)
    return AREA_CLASSES[mask[y, x]] if mask[y, x] != UNKNOWN_AREA else "unknown"


def test_masks_carry_the_lines_of_the_rule_book(camera):
    fit = exact_fit(camera)
    mask = area_mask(fit, polygons_of(camera), SIZE)
    assert mask.shape == (SIZE[1], SIZE[0])
    assert label_at(mask, camera, 8, 25) == "paint"
    assert label_at(mask, camera, 35, 40) == "floor"
    assert label_at(mask, camera, BOOK.lane_length_ft - BOOK.line_width_ft / 2, 25) == "line"
    assert label_at(mask, camera, 20, 58) == "outside"


def test_without_a_fit_the_edges_are_unknown(camera):
    mask = area_mask(NoCourt("no fit"), polygons_of(camera), SIZE)
    assert label_at(mask, camera, 8, 25) == "paint"
    assert label_at(mask, camera, BOOK.lane_length_ft, 25) == "unknown"
    assert AREA_CLASSES.index("line") not in np.unique(mask)


def test_lines_are_as_wide_as_painted(camera):
    fit = exact_fit(camera)
    mask = area_mask(fit, polygons_of(camera), SIZE)
    line = (mask == AREA_CLASSES.index("line")).astype(np.uint8)
    x, y = camera.project(np.array([[BOOK.lane_length_ft - BOOK.line_width_ft / 2, 25.0, 0]]))[0].round().astype(int)
    run = cv2.countNonZero(line[y : y + 1, x - 20 : x + 20])
    per_ft = np.diff(camera.project(np.array([[18.0, 25, 0], [19.0, 25, 0]]))[:, 0])[0]
    assert abs(run - BOOK.line_width_ft * per_ft) <= 2.5


def test_hand_drawn_polygons_find_the_camera_again(camera):
    fit = fit_polygons(polygons_of(camera), SIZE)
    assert isinstance(fit, CourtFit)
    spot = np.array([[12.0, 30.0, 0.0]])
    assert np.linalg.norm(fit.camera.project(spot) - camera.project(spot)) < 12
