"""The picture's motion on made-up pictures of a turning camera."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.court.image_motion import MotionGatherer, fit_motion, map_design, motion_at
from pipeline.court.settings import MotionSettings
from pipeline.court.tables import MOTION
from pipeline.errors import ShapeError

SIZE_PX = (1280, 720)
SHORT = MotionSettings(areas_every=3)


def _turned(points: np.ndarray, pan_rad: float, tilt_rad: float, zoom: float, focal: float = 1.5) -> np.ndarray:
    """Points (N, 2) about the centre, in widths, after the camera turned and zoomed."""
    cp, sp, ct, st_ = np.cos(pan_rad), np.sin(pan_rad), np.cos(tilt_rad), np.sin(tilt_rad)
    turn = np.array([[1, 0, 0], [0, ct, -st_], [0, st_, ct]]) @ np.array([[cp, 0, sp], [0, 1, 0], [-sp, 0, cp]])
    ray = np.column_stack([points / focal, np.ones(len(points))]) @ turn.T
    return ray[:, :2] / ray[:, 2:] * focal * zoom


@given(
    pan=st.floats(-0.06, 0.06),
    tilt=st.floats(-0.02, 0.02),
    zoom=st.floats(0.95, 1.05),
    seed=st.integers(0, 999),
)
def test_a_turning_camera_is_measured_among_walking_people(pan: float, tilt: float, zoom: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    start = rng.uniform([-0.45, -0.25], [0.45, 0.25], (80, 2))
    end = _turned(start, pan, tilt, zoom)
    end[:20] += rng.normal(0, 0.02, (20, 2))
    found = fit_motion(start, end, rng)
    assert found is not None
    middle = np.array([[found.x, found.y]])
    true = (_turned(middle, pan, tilt, zoom) - middle)[0]
    assert np.hypot(found.dx - true[0], found.dy - true[1]) < 2e-4
    assert found.scale == pytest.approx(zoom, abs=0.01)
    assert found.inliers >= 55


def test_the_design_is_exact_for_a_turn_with_the_nominal_focal_length() -> None:
    start = np.stack(np.meshgrid([-0.4, 0.0, 0.4], [-0.2, 0.0, 0.2]), -1).reshape(-1, 2)
    end = _turned(start, 0.05, 0.0, 1.0)
    numbers, rest, *_ = np.linalg.lstsq(map_design(start, end), (end - start).ravel(), rcond=None)
    assert float(rest[0]) < 1e-6
    shift, scale = motion_at(numbers, np.zeros(2))
    assert shift == pytest.approx(numbers[:2])
    assert scale == pytest.approx(1.0, abs=5e-3)


@pytest.mark.parametrize("count", [0, 1, 7])
def test_too_few_points_are_no_motion(count: int) -> None:
    assert fit_motion(np.zeros((count, 2)), np.zeros((count, 2)), np.random.default_rng(0)) is None


def _scene(rng: np.random.Generator) -> np.ndarray:
    rough = rng.integers(0, 256, (60, 120), dtype=np.uint8)
    return cv2.resize(rough, (720, 360), interpolation=cv2.INTER_CUBIC)


def _window(scene: np.ndarray, x: int) -> np.ndarray:
    return np.ascontiguousarray(scene[60:240, x : x + 320])


def test_a_film_is_measured_and_the_network_asked_for_in_turn() -> None:
    scene = _scene(np.random.default_rng(3))
    gatherer = MotionGatherer(SHORT)
    asked = []
    for i in range(7):
        gatherer.look(_window(scene, 40 + 3 * i), 2 * i, 0.08 * i, size_px=SIZE_PX)
        asked.append(gatherer.wants_areas())
        gatherer.note_floor(0.5)
    assert asked == [True, False, False, True, False, False, True]
    table = MOTION.check(gatherer.table())
    assert table["frame"].to_pylist() == [2, 4, 6, 8, 10, 12]
    assert table["frame_before"].to_pylist() == [0, 2, 4, 6, 8, 10]
    # A shift bends less towards the edges than a turn does: some three per cent of it.
    assert np.abs(table["dx_px"].to_numpy() + 12).max() < 0.6
    assert np.abs(table["dy_px"].to_numpy()).max() < 0.3
    assert np.abs(table["scale"].to_numpy() - 1).max() < 2e-3
    assert gatherer.table().num_rows == 0


def test_a_fast_pan_and_a_cut_ask_for_the_network_sooner() -> None:
    first, second = _scene(np.random.default_rng(3)), _scene(np.random.default_rng(4))
    gatherer = MotionGatherer(SHORT)
    pictures = [_window(first, 100), _window(first, 70), _window(first, 40), _window(second, 40), _window(second, 40)]
    asked = []
    for i, picture in enumerate(pictures):
        gatherer.look(picture, i, 0.08 * i, size_px=SIZE_PX)
        asked.append(gatherer.wants_areas())
        gatherer.note_floor(0.5)
    assert asked == [True, False, True, True, False]
    assert gatherer.table()["frame"].to_pylist() == [1, 2, 4]


def test_where_no_floor_is_seen_the_network_keeps_its_step() -> None:
    rng = np.random.default_rng(5)
    gatherer = MotionGatherer(SHORT)
    asked = []
    for i in range(7):
        gatherer.look(_window(_scene(rng), 0), i, 0.08 * i, size_px=SIZE_PX)
        asked.append(gatherer.wants_areas())
        gatherer.note_floor(0.0)
    assert asked == [True, False, False, True, False, False, True]


def test_people_are_left_out_and_plain_pictures_are_no_motion() -> None:
    scene = _scene(np.random.default_rng(3))
    gatherer = MotionGatherer()
    everywhere = np.array([[0.0, 0.0, 1280.0, 720.0]])
    gatherer.look(_window(scene, 40), 0, 0.0, size_px=SIZE_PX, people_px=everywhere)
    assert gatherer.look(_window(scene, 43), 1, 0.08, size_px=SIZE_PX) is None
    assert gatherer.look(_window(scene, 46), 2, 0.16, size_px=SIZE_PX) is not None
    assert gatherer.look(_window(scene, 49), 3, 9.0, size_px=SIZE_PX) is None
    plain = np.full((180, 320), 90, np.uint8)
    assert gatherer.look(plain, 4, 9.08, size_px=SIZE_PX) is None
    assert gatherer.look(plain, 5, 9.16, size_px=SIZE_PX) is None


def test_a_colour_picture_is_refused() -> None:
    with pytest.raises(ShapeError, match=r"\(h, w\) uint8"):
        MotionGatherer().look(np.zeros((9, 16, 3), np.uint8), 0, 0.0, size_px=SIZE_PX)
