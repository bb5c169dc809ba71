"""Floors whose inner lines are misread: white ones on pale wood, say, where the network guesses. No film."""

import numpy as np
import pyarrow as pa
import pytest
from synthetic_floor import area_probabilities, floor_error_ft, make_camera

from pipeline.court.camera import Camera, NoCourt, camera_from_row
from pipeline.court.marks import areas_row, floor_evidence, marks_table
from pipeline.court.registration import register
from pipeline.court.rule_books import RULE_BOOKS, RuleBook, rule_book
from pipeline.court.settings import RegistrationSettings

PANS_DEG = (-24.0, -18.0, -13.0, -8.0, 8.0, 13.0, 18.0, 24.0)


def misread(camera: Camera, book: RuleBook, rng: np.random.Generator) -> np.ndarray:
    """What a network sees that finds the court's edge and circle and makes up the areas within, anew in each frame."""
    true = area_probabilities(camera, book, rng)
    elsewhere = make_camera(
        RULE_BOOKS["nfhs"],
        away_ft=-camera.centre_ft[1] * rng.uniform(0.7, 1.3),
        height_ft=camera.centre_ft[2] * rng.uniform(0.8, 1.2),
        pan_deg=camera.pan_deg + rng.uniform(-5, 5),
        focal=camera.focal_px / camera.size_px[0] * rng.uniform(0.75, 1.1),
    )
    made_up = area_probabilities(elsewhere, RULE_BOOKS["nfhs"], rng)[[1, 2, 3]] + 1e-4
    found = np.zeros_like(true)
    found[[0, 4]] = true[[0, 4]]
    found[[1, 2, 3]] = (1 - true[0] - true[4]) * made_up / made_up.sum(axis=0)
    return found


def film(cameras: list[Camera], pictures: list[np.ndarray]) -> tuple[pa.Table, pa.Table]:
    """The marks and areas of frames a second apart, in one shot."""
    marks, areas = [], []
    for number, (camera, picture) in enumerate(zip(cameras, pictures, strict=True)):
        evidence = floor_evidence(picture, camera.size_px)
        place = {"frame": number, "t_s": float(number), "shot": 0}
        marks.append(marks_table(evidence.marks, **place))
        areas.append(areas_row(evidence, camera.size_px, **place))
    return pa.concat_tables(marks), pa.concat_tables(areas)


@pytest.mark.parametrize("told", ["nba", pytest.param(None, marks=pytest.mark.slow)])
def test_where_the_inner_lines_are_misread_the_courts_edge_gives_the_cameras(told: str | None) -> None:
    book = rule_book("nba")
    rng = np.random.default_rng(11)
    cameras = [make_camera(book, pan_deg=pan, away_ft=43, height_ft=19, focal=1.15, k1=0.05) for pan in PANS_DEG]
    marks, areas = film(cameras, [misread(camera, book, rng) for camera in cameras])
    rows = register(marks, areas, RegistrationSettings(rule_book=told)).to_pylist()
    assert {row["status"] for row in rows} == {"registered"}
    for camera, row in zip(cameras, rows, strict=True):
        found = camera_from_row(row)
        assert not isinstance(found, NoCourt)
        # Untold the length of the court is known, and the book one of those of that length (94 ft, or 91 ft 10 in).
        assert np.median(floor_error_ft(found, camera, book)) < (0.6 if told else 2.0)
        assert row["quality"] < 0.45  # it is measured by all that is seen
    if told is None:
        assert rows[0]["rule_book"] != "nfhs"
