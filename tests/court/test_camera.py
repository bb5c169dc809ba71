"""Camera, lens and homography: round trips, and against cv2.projectPoints, findHomography and solvePnP (OpenCV)."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.court.camera import (
    Camera,
    Lens,
    NoCourt,
    angles_deg,
    camera_from_homography,
    camera_from_row,
    camera_to_row,
    rotation_matrix,
    straight_lens,
)
from pipeline.court.tables import CAMERAS
from pipeline.errors import ShapeError

SIZE = (1280, 720)

cameras = st.builds(
    lambda x, y, z, pan, tilt, roll, focal, k1: Camera(
        np.array([x, y, z]), pan, tilt, roll, focal * SIZE[0], Lens(k1, straight_lens(SIZE).centre_px, SIZE[0]), SIZE
    ),
    st.floats(20, 74),
    st.floats(-110, -8),
    st.floats(6, 60),
    st.floats(-45, 45),
    st.floats(-40, -6),
    st.floats(-4, 4),
    st.floats(0.8, 4),
    st.floats(-0.12, 0.25),
)
PIXELS = np.stack(np.meshgrid(np.linspace(0, SIZE[0] - 1, 9), np.linspace(0, SIZE[1] - 1, 7)), axis=-1).reshape(-1, 2)


@given(cameras)
def test_floor_round_trip(camera) -> None:
    floor = camera.to_floor(PIXELS)
    seen = np.isfinite(floor).all(axis=1)
    near = seen & (np.linalg.norm(np.nan_to_num(floor) - camera.centre_ft[:2], axis=1) < 1000)
    assert np.allclose(camera.project_floor(floor[near]), PIXELS[near], atol=1e-5)


@given(cameras)
def test_points_above_the_horizon_have_no_floor(camera) -> None:
    level = Camera(camera.centre_ft, camera.pan_deg, 5.0, 0.0, camera.focal_px, straight_lens(SIZE), SIZE)
    middle = level.lens.centre_px
    horizon_y = middle[1] + level.focal_px * np.tan(np.deg2rad(5.0))
    above, below = level.to_floor([[middle[0], horizon_y - 2], [middle[0], horizon_y + 2]])
    assert np.isnan(above).all()
    assert np.isfinite(below).all()


@given(st.floats(-0.12, 0.6), st.floats(0, 640), st.floats(0, 2 * np.pi))
def test_lens_round_trip(k1, radius, angle) -> None:
    lens = Lens(k1, np.array([639.5, 359.5]), SIZE[0])
    seen = lens.centre_px + radius * np.array([[np.cos(angle), np.sin(angle)]])
    assert np.allclose(lens.distort(lens.undistort(seen)), seen, atol=1e-8)


def test_published_pincushion_in_our_convention() -> None:
    """k = 0.05 per (1000 px)² on a 1920-px picture moves a point 900 px from the middle by 900 · 0.05 · 0.81 px."""
    lens = Lens(0.05 * 1.92**2, np.array([959.5, 539.5]), 1920)
    assert lens.distort([[959.5 + 900, 539.5]])[0, 0] - (959.5 + 900) == pytest.approx(900 * 0.05 * 0.81)


def test_barrel_lens_does_not_fold() -> None:
    lens = Lens(-0.4, np.array([0.0, 0.0]), 100)
    assert np.isnan(lens.distort([[200.0, 0]])).all()
    assert np.isnan(lens.undistort([[90.0, 0]])).all()
    assert np.isfinite(lens.undistort([[50.0, 0]])).all()


@given(cameras)
def test_projection_is_opencv_projectpoints(camera) -> None:
    """cv2.projectPoints with one radial coefficient: r there is in focal lengths, ours in picture widths."""
    rng = np.random.default_rng(0)
    points = np.column_stack([rng.uniform(0, 94, 40), rng.uniform(0, 50, 40), rng.uniform(0, 12, 40)])
    rotation = camera.rotation()
    rvec, _ = cv2.Rodrigues(rotation)
    k1_opencv = camera.lens.k1 * (camera.focal_px / SIZE[0]) ** 2
    theirs, _ = cv2.projectPoints(
        points, rvec, -rotation @ camera.centre_ft, camera.intrinsics(), np.array([k1_opencv, 0, 0, 0, 0])
    )
    ours = camera.project(points)
    known = np.isfinite(ours).all(axis=1)
    assert np.allclose(ours[known], theirs.reshape(-1, 2)[known], atol=1e-5, rtol=1e-7)


@given(cameras)
def test_homography_is_opencv_findhomography(camera) -> None:
    straight = Camera(
        camera.centre_ft,
        camera.pan_deg,
        camera.tilt_deg,
        camera.roll_deg,
        camera.focal_px,
        straight_lens(SIZE),
        SIZE,
    )
    pixels = np.array([[100, 700], [1200, 690], [300, 500], [900, 480], [640, 600], [500, 650]], dtype=float)
    floor = straight.to_floor(pixels)
    if not np.isfinite(floor).all() or np.abs(floor).max() > 500:
        return
    theirs, _ = cv2.findHomography(pixels, floor)
    probe = np.array([[640.0, 550, 1], [300, 680, 1]])
    carried = probe @ theirs.T
    assert np.allclose(straight.to_floor(probe[:, :2]), carried[:, :2] / carried[:, 2:], rtol=1e-3, atol=1e-3)


@given(cameras)
@settings(max_examples=40)
def test_pose_is_opencv_solvepnp(camera) -> None:
    rng = np.random.default_rng(1)
    points = np.column_stack([rng.uniform(0, 94, 20), rng.uniform(0, 50, 20), rng.uniform(0, 10, 20)])
    pixels = camera.lens.undistort(camera.project(points))
    known = np.isfinite(pixels).all(axis=1)
    if known.sum() < 8:
        return
    good, rvec, tvec = cv2.solvePnP(points[known], pixels[known], camera.intrinsics(), None, flags=cv2.SOLVEPNP_EPNP)
    good, rvec, tvec = cv2.solvePnP(
        points[known], pixels[known], camera.intrinsics(), None, rvec, tvec, True, cv2.SOLVEPNP_ITERATIVE
    )
    assert good
    rotation = cv2.Rodrigues(rvec)[0]
    if np.linalg.norm((-rotation.T @ tvec).ravel() - camera.centre_ft) > 1:  # OpenCV's own start may be lost
        return
    assert np.allclose(rotation, camera.rotation(), atol=1e-3)
    assert np.allclose((-rotation.T @ tvec).ravel(), camera.centre_ft, atol=0.05)


@given(cameras, st.sampled_from([1.0, -2.5, 1e-4]))
def test_camera_from_homography_recovers_the_camera(camera, scale) -> None:
    straight = Camera(
        camera.centre_ft,
        camera.pan_deg,
        camera.tilt_deg,
        camera.roll_deg,
        camera.focal_px,
        straight_lens(SIZE),
        SIZE,
    )
    found = camera_from_homography(scale * straight.court_to_image(), SIZE)
    assert isinstance(found, Camera)
    assert np.allclose(found.centre_ft, straight.centre_ft, atol=1e-4)
    assert found.focal_px == pytest.approx(straight.focal_px, rel=1e-6)
    wanted = (straight.pan_deg, straight.tilt_deg, straight.roll_deg)
    assert np.allclose((found.pan_deg, found.tilt_deg, found.roll_deg), wanted, atol=1e-4)


@pytest.mark.parametrize("matrix", [np.zeros((3, 3)), np.ones((3, 3)), np.full((3, 3), np.nan), np.eye(3)])
def test_no_camera_from_a_degenerate_homography(matrix) -> None:
    found = camera_from_homography(matrix, SIZE)
    assert isinstance(found, NoCourt)
    assert found.reason.endswith(".")


@given(st.floats(-179, 179), st.floats(-89, 89), st.floats(-179, 179))
def test_angles_round_trip(pan, tilt, roll) -> None:
    rotation = rotation_matrix(pan, tilt, roll)
    assert np.allclose(rotation @ rotation.T, np.eye(3))
    assert np.linalg.det(rotation) == pytest.approx(1)
    assert np.allclose(rotation_matrix(*angles_deg(rotation)), rotation, atol=1e-7)


def test_directions_are_as_documented() -> None:
    centre = np.array([47.0, -50, 30])
    ahead = Camera(centre, 0, -15, 0, 1800, straight_lens(SIZE), SIZE)
    left, right = ahead.project_floor([[30, 25], [64, 25]])
    assert left[0] < right[0]  # x of the court runs right in the picture
    near, far = ahead.project_floor([[47, 10], [47, 40]])
    assert near[1] > far[1]  # away from the camera is up
    panned = Camera(centre, 10, -15, 0, 1800, straight_lens(SIZE), SIZE)
    assert panned.project_floor([[47, 25]])[0, 0] < ahead.project_floor([[47, 25]])[0, 0]
    rolled = Camera(centre, 0, -15, 5, 1800, straight_lens(SIZE), SIZE)
    up = rolled.project([[47, 25, 10]])[0] - rolled.project([[47, 25, 0]])[0]
    assert up[0] > 0  # clockwise: the top of an upright thing leans right
    assert up[1] < 0


@given(cameras)
@settings(max_examples=20)
def test_row_round_trip(camera) -> None:
    row = camera_to_row(
        camera, frame=3, t_s=0.1, shot=0, rule_book="nba", residual_px=1.0, residual_ft=0.1, quality=0.9
    )
    (back,) = CAMERAS.from_rows([row]).to_pylist()
    again = camera_from_row(back)
    assert isinstance(again, Camera)
    assert np.allclose(again.court_to_image(), camera.court_to_image())
    assert np.allclose(np.reshape(back["image_to_court"], (3, 3)), camera.image_to_court())


def test_a_frame_without_camera_keeps_its_reason() -> None:
    row = camera_to_row(NoCourt("Nothing was seen."), frame=3, t_s=0.1, shot=0, size_px=SIZE)
    (back,) = CAMERAS.from_rows([row]).to_pylist()
    assert back["status"] == "unknown"
    assert back["image_to_court"] is None
    assert camera_from_row(back) == NoCourt("Nothing was seen.")


def test_empty_and_wrong_shapes() -> None:
    camera = Camera(np.array([47.0, -50, 30]), 0, -15, 0, 1800, straight_lens(SIZE), SIZE)
    assert camera.project(np.zeros((0, 3))).shape == (0, 2)
    assert camera.to_floor(np.zeros((0, 2))).shape == (0, 2)
    assert np.isnan(camera.project([[47, -200, 5]])).all()  # behind the camera
    for call in (camera.project, camera.to_floor, camera.project_floor):
        with pytest.raises(ShapeError):
            call(np.zeros(3))
    with pytest.raises(ShapeError):
        camera_from_homography(np.eye(2), SIZE)
