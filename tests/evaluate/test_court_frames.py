"""The court-frames score on folders made here: known floors, known mistakes."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from pipeline.court.area_network import FloorAreas
from pipeline.court.camera import Camera, Lens, straight_lens
from pipeline.court.floor_lines import area_labels
from pipeline.court.geometry import areas
from pipeline.court.rule_books import rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.court.view_bank import picture_grid
from pipeline.errors import DataError
from pipeline.evaluate.court_frames import (
    LabelledFrame,
    evaluate_court_frames,
    frame_error_ft,
    label_errors_ft,
    read_labelled_frames,
)

BOOK = rule_book("fiba")
SIZE = (640, 360)


def _camera(pan_deg: float, shift_ft: float = 0.0) -> Camera:
    lens = Lens(0.08, straight_lens(SIZE).centre_px, SIZE[0])
    return Camera(np.array([46.0 + shift_ft, -52, 25]), pan_deg, -16, 0.2, 1.45 * SIZE[0], lens, SIZE)


def _cut(points: np.ndarray) -> list[list[float]]:
    """A polygon (V, 2) cut at the picture's edge (Sutherland & Hodgman 1974), as the labels are."""
    for axis, limit, sign in ((0, 0.0, 1), (0, SIZE[0], -1), (1, 0.0, 1), (1, SIZE[1], -1)):
        kept = []
        for a, b in zip(points, np.roll(points, -1, axis=0), strict=True):
            inside_a, inside_b = sign * (a[axis] - limit) >= 0, sign * (b[axis] - limit) >= 0
            if inside_a:
                kept.append(a)
            if inside_a != inside_b:
                kept.append(a + (b - a) * (limit - a[axis]) / (b[axis] - a[axis]))
        points = np.array(kept).reshape(-1, 2)
    return points.tolist()


def _labels(camera: Camera) -> list[dict]:
    end = "left" if camera.pan_deg < 0 else "right"
    found = []
    for area, polygon in (("court", "court"), ("three_point_area", f"three_point_{end}"), ("paint", f"paint_{end}")):
        outline = areas(BOOK)[polygon]
        dense = (
            np.vstack(
                [
                    a + (b - a) * np.linspace(0, 1, 40, endpoint=False)[:, None]
                    for a, b in zip(outline, np.roll(outline, -1, 0), strict=True)
                ]
            )
            if area == "court"
            else outline
        )
        px = camera.project_floor(dense)
        points = _cut(px[np.isfinite(px).all(axis=1)])
        if len(points) > 2:
            found.append({"area": area, "points": points})
    return found


class _SeesLabels:
    """A network that sees exactly the areas of known cameras, in turn; None sees no court."""

    def __init__(self, cameras: list[Camera | None]) -> None:
        self.cameras = iter(cameras)

    def areas(self, frames_bgr: list[np.ndarray]) -> list[np.ndarray]:
        found = []
        for _ in frames_bgr:
            camera = next(self.cameras)
            labels = np.zeros(180 * 320, dtype=np.uint8)
            if camera is not None:
                labels = area_labels(camera.to_floor(picture_grid(320, 180, SIZE)), BOOK)
            planes = np.stack([(labels == k).reshape(180, 320) for k in range(6)]).astype(np.float32)
            found.append(np.stack([cv2.GaussianBlur(p, (0, 0), 1.0) for p in planes]) * 0.95 + 0.01)
        return found


def _folder(path: Path, cameras: list[Camera], games: list[str], augmented: set[int] = frozenset()) -> Path:
    (path / "images").mkdir()
    rows = []
    for number, (camera, game) in enumerate(zip(cameras, games, strict=True)):
        name = f"{game}_{number:04d}.jpg"
        cv2.imwrite(str(path / "images" / name), np.zeros((SIZE[1], SIZE[0], 3), dtype=np.uint8))
        size = {"width": SIZE[0], "height": SIZE[1]}
        rows.append({"file": name, "game": game, **size, "augmented": number in augmented, "polygons": _labels(camera)})
    (path / "polygons.json").write_text(json.dumps(rows), encoding="utf-8")
    return path


def test_true_cameras_score_near_nothing_and_a_lost_frame_counts(tmp_path: Path) -> None:
    cameras = [_camera(-20), _camera(18), _camera(-16), _camera(15)]
    folder = _folder(tmp_path, cameras, ["a", "a", "b", "b"])
    seen = _SeesLabels([cameras[0], cameras[1], None, cameras[3]])
    scores = evaluate_court_frames(folder, seen, settings=RegistrationSettings(rule_book="fiba"))
    assert scores["games"]["a"]["frames"] == 2
    assert scores["games"]["a"]["registered"] == 1.0
    assert scores["games"]["a"]["median_ft"] < 0.3
    assert scores["games"]["b"]["registered"] == 0.5
    assert scores["all"]["frames"] == 4
    assert scores["all"]["registered"] == 0.75
    assert scores["all"]["p90_ft"] >= scores["all"]["median_ft"]
    assert scores["games"]["a"]["together"]["registered"] == 1.0
    assert scores["all"]["together"]["registered"] == 0.75
    assert scores["all"]["together"]["median_ft"] < 0.3
    json.dumps(scores, allow_nan=False)


def test_a_camera_that_is_off_by_a_foot_scores_a_foot() -> None:
    """Moving the camera along the court moves every labelled point by as much: the corners' error is the shift."""
    camera = _camera(-20)
    polygons = tuple((p["area"], np.array(p["points"])) for p in _labels(camera))
    frame = LabelledFrame("x.jpg", "x", SIZE, polygons)
    line, corners = label_errors_ft(frame, camera, BOOK)
    assert len(corners) >= 2
    assert len(line) > 20
    assert max(line.max(), corners.max()) < 0.02
    line, corners = label_errors_ft(frame, _camera(-20, shift_ft=1.0), BOOK)
    assert np.allclose(corners, 1.0, atol=0.02)
    assert 0.2 < line.mean() < 1.0
    assert frame_error_ft(line, corners) == pytest.approx((line.mean() + corners.mean()) / 2)


def test_nothing_labelled_is_unknown_not_zero() -> None:
    assert np.isnan(frame_error_ft(np.zeros(0), np.zeros(0)))


def test_a_centre_circle_called_paint_is_left_out() -> None:
    camera = _camera(-20)
    circle = camera.project_floor(areas(BOOK)["centre_circle"][::12])
    polygons = [(p["area"], np.array(p["points"])) for p in _labels(camera)]
    honest = label_errors_ft(LabelledFrame("x.jpg", "x", SIZE, tuple(polygons)), camera, BOOK)[1]
    wrong = LabelledFrame("x.jpg", "x", SIZE, (*polygons, ("paint", circle)))
    assert len(label_errors_ft(wrong, camera, BOOK)[1]) == len(honest)


def test_augmented_pictures_are_left_out(tmp_path: Path) -> None:
    cameras = [_camera(-20), _camera(18)]
    folder = _folder(tmp_path, cameras, ["a", "a"], augmented={1})
    assert [f.file for f in read_labelled_frames(folder)] == ["a_0000.jpg"]


def test_folders_in_another_form_are_refused(tmp_path: Path) -> None:
    with pytest.raises(DataError, match=r"polygons\.json does not exist"):
        read_labelled_frames(tmp_path)
    (tmp_path / "polygons.json").write_text('[{"file": "a.jpg"}]', encoding="utf-8")
    with pytest.raises(DataError, match="augmented"):
        read_labelled_frames(tmp_path)


def test_a_missing_picture_is_named(tmp_path: Path) -> None:
    folder = _folder(tmp_path, [_camera(-20)], ["a"])
    (folder / "images" / "a_0000.jpg").unlink()
    with pytest.raises(DataError, match=r"a_0000\.jpg"):
        evaluate_court_frames(folder, _SeesLabels([None]))


def test_one_game_alone_is_measured_and_an_unknown_one_is_refused(tmp_path: Path) -> None:
    cameras = [_camera(-20), _camera(18)]
    folder = _folder(tmp_path, cameras, ["a", "b"])
    book = RegistrationSettings(rule_book="fiba")
    scores = evaluate_court_frames(folder, _SeesLabels(cameras[1:]), settings=book, games=["b"])
    assert set(scores["games"]) == {"b"}
    assert scores["all"]["registered"] == 1.0
    with pytest.raises(DataError, match=r"no game 'c'; its games: a, b\."):
        evaluate_court_frames(folder, _SeesLabels([]), games=["c"])


REAL = Path(__file__).resolve().parents[3] / "shared" / "data" / "court_frames"


@pytest.mark.slow
@pytest.mark.skipif(
    not (REAL / "polygons.json").is_file(), reason="no folder of labelled court frames beside the repository"
)
def test_shipped_network_on_the_held_out_games(tmp_path: Path) -> None:
    """Every sixth frame of the two games that no network was trained on, book recognised from each picture alone."""
    rows = json.loads((REAL / "polygons.json").read_text(encoding="utf-8"))
    chosen = [r for r in rows if r["game"] in ("tv_c", "gym_b") and not r["augmented"]][::6]
    (tmp_path / "polygons.json").write_text(json.dumps(chosen), encoding="utf-8")
    (tmp_path / "images").symlink_to(REAL / "images")
    done: list[tuple[float, float]] = []
    scores = evaluate_court_frames(tmp_path, FloorAreas(), on_progress=lambda *at: done.append(at))
    assert done[-1] == (len(chosen), len(chosen))
    for game in ("tv_c", "gym_b"):
        assert scores["games"][game]["registered"] >= 0.9
        assert scores["games"][game]["median_ft"] < 1.0
    assert scores["all"]["rule_books"].get("fiba", 0) >= 0.9 * len(chosen)
