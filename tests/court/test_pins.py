"""Pins: cameras from a few named points, and films registered from them. No weights, no film."""

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from synthetic_floor import area_probabilities, floor_error_ft, make_camera, motion_table

from pipeline.court.camera import Camera, camera_from_row
from pipeline.court.geometry import areas
from pipeline.court.landmarks import landmark, landmarks
from pipeline.court.marks import areas_row, floor_evidence, marks_table
from pipeline.court.pins import PinnedFrame, check_fit, check_pins, fit_pins, miss_px
from pipeline.court.registration import register
from pipeline.court.rule_books import RULE_BOOKS, rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.errors import SettingsError
from pipeline.film.tables import FRAMES

CHOSEN = RegistrationSettings()


def _pinned(camera: Camera, name: str, names: list[str] | None = None, noise_px: float = 0.0) -> PinnedFrame:
    """Pins of the landmarks that a camera sees."""
    rng = np.random.default_rng(1)
    book = rule_book(name)
    points = {}
    for one in landmarks(book).values():
        (px,) = camera.project_floor([[one.x_ft, one.y_ft]]) + rng.normal(0, noise_px, 2)
        inside = np.isfinite(px).all() and (px > 0).all() and (px < np.array(camera.size_px) - 1).all()
        if inside and (names is None or one.name in names):
            points[one.name] = (float(px[0]), float(px[1]))
    return PinnedFrame(3, 0.24, points)


@pytest.mark.parametrize("name", RULE_BOOKS)
def test_landmarks_have_the_same_names_in_every_book_and_lie_on_the_floor(name: str) -> None:
    book = RULE_BOOKS[name]
    found = landmarks(book)
    assert set(found) == set(landmarks(rule_book("fiba")))
    places = np.array([(one.x_ft, one.y_ft) for one in found.values()])
    assert (places >= 0).all()
    assert (places <= [book.length_ft, book.width_ft]).all()
    assert len(np.unique(places.round(3), axis=0)) == len(places)
    for end in ("left", "right"):
        corners = areas(book)[f"paint_{end}"]
        for part in ("lane", "free_throw"):
            for side in ("near", "far"):
                one = found[f"{part}_{end}_{side}"]
                assert np.linalg.norm(corners - [one.x_ft, one.y_ft], axis=1).min() < 1e-9
                assert (one.y_ft < book.width_ft / 2) == (side == "near")
                assert (one.x_ft < book.length_ft / 2) == (end == "left")


@settings(max_examples=15)
@given(pan=st.floats(-30, 30), focal=st.floats(1.1, 1.8), away=st.floats(35, 95), k1=st.floats(-0.05, 0.2))
def test_the_pins_of_a_camera_give_it_back(pan: float, focal: float, away: float, k1: float) -> None:
    book = rule_book("nba")
    tilt = -np.rad2deg(np.arctan2(0.4 * away, away + 25))
    camera = make_camera(book, pan_deg=pan, focal=focal, away_ft=away, height_ft=0.4 * away, tilt_deg=tilt, k1=k1)
    pinned = _pinned(camera, "nba")
    fit = fit_pins(pinned, camera.size_px, book, CHOSEN)
    assert miss_px(fit) < 1.0
    hull = pinned.px()
    there = fit.parameters
    assert np.isfinite(there).all()
    error = np.linalg.norm(pinned.floor_ft(book) - _camera(fit, camera).to_floor(hull), axis=1)
    assert np.median(error) < 0.25


def _camera(fit, like: Camera) -> Camera:
    from pipeline.court.fitting import camera_of

    return camera_of(fit.parameters, like.size_px)


def test_four_pins_of_a_lane_place_the_floor_about_it() -> None:
    book = rule_book("fiba")
    camera = make_camera(book, pan_deg=-20)
    four = [f"{part}_left_{side}" for part in ("lane", "free_throw") for side in ("near", "far")]
    fit = fit_pins(_pinned(camera, "fiba", four, noise_px=1.0), camera.size_px, book, CHOSEN)
    lane = areas(book)["paint_left"]
    error = np.linalg.norm(_camera(fit, camera).to_floor(camera.project_floor(lane)) - lane, axis=1)
    assert error.max() < 0.6


def _tables(cameras: list[Camera], name: str) -> tuple[pa.Table, pa.Table, pa.Table]:
    rng = np.random.default_rng(2)
    marks, areas_seen = [], []
    for number, camera in enumerate(cameras):
        planes = area_probabilities(camera, RULE_BOOKS[name], rng)
        evidence = floor_evidence(planes, camera.size_px)
        where = {"frame": number, "t_s": 0.08 * number, "shot": 0}
        marks.append(marks_table(evidence.marks, **where))
        areas_seen.append(areas_row(evidence, camera.size_px, **where))
    count = len(cameras)
    frames = FRAMES.from_columns(
        {"frame": np.arange(count), "t_s": 0.08 * np.arange(count), "shot": np.zeros(count, int)}
    )
    return pa.concat_tables(marks), pa.concat_tables(areas_seen), frames


def test_a_film_that_could_not_be_registered_is_from_its_pins() -> None:
    """The network saw nothing that it should; a pinned frame gives the still camera, and the book by its shape."""
    book = rule_book("nba")
    camera = make_camera(book, pan_deg=20)
    seen = make_camera(rule_book("fiba"), pan_deg=3, tilt_deg=-60, height_ft=60)
    marks, areas_seen, frames = _tables([seen] * 7, "fiba")
    before = register(marks, areas_seen, frames=frames).to_pylist()
    assert {row["status"] for row in before} == {"unknown"}
    pinned = _pinned(camera, "nba", noise_px=1.0)
    still = motion_table([camera] * 7, [0.08 * i for i in range(7)], np.random.default_rng(4))
    found = register(marks, areas_seen, frames=frames, motion=still, pins=[pinned]).to_pylist()
    assert found[3]["status"] == "registered"
    assert found[3]["rule_book"] == "nba"
    assert found[3]["quality"] > 0.5
    assert {found[i]["status"] for i in range(7) if i != 3} == {"carried"}
    for row in found:
        shown = camera_from_row(row)
        assert isinstance(shown, Camera)
        assert np.median(floor_error_ft(shown, camera, book)) < 0.5


def test_pins_win_over_marks_of_another_place() -> None:
    book = rule_book("fiba")
    wrong, right = make_camera(book, pan_deg=-20), make_camera(book, pan_deg=21, x_ft=6.0, height_ft=30.0)
    marks, areas_seen, frames = _tables([wrong] * 7, "fiba")
    pinned = _pinned(right, "fiba")
    found = register(
        marks, areas_seen, RegistrationSettings(rule_book="fiba"), frames=frames, pins=[pinned]
    ).to_pylist()
    shown = camera_from_row(found[3])
    assert isinstance(shown, Camera)
    assert np.median(floor_error_ft(shown, right, book)) < 0.1


def test_bad_pins_are_refused_with_what_to_do() -> None:
    camera = make_camera(rule_book("fiba"), pan_deg=-20)
    good = dict(_pinned(camera, "fiba").points)
    size = camera.size_px
    check_pins(PinnedFrame(0, 0.0, good), size)
    three = dict(list(good.items())[:3])
    with pytest.raises(SettingsError, match=r"3 landmark\(s\) are pinned .* 4 on one frame are needed"):
        check_pins(PinnedFrame(0, 0.0, three), size)
    outside = good | {"centre": (1280.0, 20.0)}
    with pytest.raises(SettingsError, match="outside the picture, which is 1280x720"):
        check_pins(PinnedFrame(0, 0.0, outside), size)
    row = {f"{part}_left_near": (100.0 + 90 * i, 400.0 + 10 * i) for i, part in enumerate(("corner", "lane"))}
    row |= {f"{part}_left_far": (300.0 + 90 * i, 420.0 + 10 * i) for i, part in enumerate(("corner", "lane"))}
    with pytest.raises(SettingsError, match="on one line"):
        check_pins(PinnedFrame(0, 0.0, row), size)
    with pytest.raises(SettingsError, match="did you mean 'free_throw_left_near'"):
        landmark("freethrow-left-near", rule_book("fiba"))
    swapped = good | {"lane_left_near": good["lane_left_far"], "lane_left_far": good["lane_left_near"]}
    with pytest.raises(SettingsError, match=r"No camera sees .* 'lane_left_(near|far)' is \d+ px off"):
        check_fit(PinnedFrame(0, 0.0, swapped), size, list(RULE_BOOKS.values()), CHOSEN)
