"""Cameras fitted to hand-labelled real frames; skipped where that folder is absent."""

import json
from pathlib import Path

import numpy as np
import pytest

from pipeline.court.camera import NoCourt
from pipeline.court.registration import CourtFit, fit_polygons
from pipeline.court.rule_books import rule_book
from pipeline.evaluate.court_frames import frame_error_ft, label_errors_ft, read_labelled_frames

FOLDER = Path(__file__).resolve().parents[3] / "shared" / "data" / "court_frames"

pytestmark = pytest.mark.skipif(
    not (FOLDER / "polygons.json").is_file(), reason="no folder of labelled court frames beside the repository"
)


def test_every_labelled_game_gets_cameras_from_its_polygons() -> None:
    """Every twelfth frame of five games: 95 % fitted, three-point line and paint corners within 1 ft in the median.

    The labels themselves are good to about half a foot (0.16 m between paint corners and three-point line).
    """
    frames = read_labelled_frames(FOLDER)[::12]
    errors, heights = [], []
    for frame in frames:
        polygons = [{"area": area, "points": points} for area, points in frame.polygons]
        found = fit_polygons(polygons, frame.size_px)
        if isinstance(found, NoCourt):
            continue
        assert isinstance(found, CourtFit)
        heights.append(found.camera.centre_ft[2])
        errors.append(frame_error_ft(*label_errors_ft(frame, found.camera, rule_book("fiba"))))
    assert len(errors) >= 0.95 * len(frames)
    assert np.nanmedian(errors) < 0.7
    assert 8 < min(heights) < max(heights) < 60


def test_augmented_frames_are_never_measured() -> None:
    rows = json.loads((FOLDER / "polygons.json").read_text(encoding="utf-8"))
    augmented = {row["file"] for row in rows if row["augmented"]}
    assert augmented
    assert not augmented & {frame.file for frame in read_labelled_frames(FOLDER)}
