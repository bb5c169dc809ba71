"""When staff are told that a floor was misread, and what they are told to do."""

from pathlib import Path

import numpy as np
import pyarrow as pa

from pipeline.court.camera import NoCourt, camera_to_row
from pipeline.court.fitting import camera_of
from pipeline.court.tables import CAMERAS
from pipeline.library.floor_doubt import floor_doubt
from pipeline.library.games import Game

SIZE_PX = (1280, 720)


def game(tmp_path: Path, rule_book: str = "") -> Game:
    folder = tmp_path / "harbour"
    folder.mkdir()
    (folder / "game.toml").write_text(
        f'rule_book = "{rule_book}"\n[film]\npath = "harbour.mp4"\ndigest = "0"\n', encoding="utf-8"
    )
    return Game("harbour", folder)


def cameras(*qualities: float) -> pa.Table:
    camera = camera_of(np.array([47.0, -50, 20, 5, -15, 0, 0.3, 0.05, 6]), SIZE_PX)
    place = {"shot": 0, "size_px": SIZE_PX}
    rows = [
        camera_to_row(
            camera, status="registered", rule_book="ncaa", residual_px=1.0, residual_ft=0.2, quality=quality,
            frame=number, t_s=number / 15, **place,
        )
        for number, quality in enumerate(qualities)
    ]  # fmt: skip
    rows.append(
        camera_to_row(
            camera, status="carried", rule_book="ncaa", residual_ft=0.1, quality=0.1, frame=98, t_s=6.5, **place
        )
    )
    rows.append(camera_to_row(NoCourt("Nothing is seen."), rule_book="ncaa", frame=99, t_s=6.6, **place))
    return CAMERAS.from_rows(rows)


def test_a_floor_whose_lines_the_cameras_explain_is_not_doubted(tmp_path: Path) -> None:
    assert floor_doubt(game(tmp_path), cameras(0.8, 0.5, 0.3)) == ""


def test_no_registered_frame_is_told_elsewhere(tmp_path: Path) -> None:
    assert floor_doubt(game(tmp_path), cameras()) == ""


def test_a_misread_floor_says_what_to_do(tmp_path: Path) -> None:
    told = floor_doubt(game(tmp_path), cameras(0.2, 0.25, 0.7))
    assert "0.25 of 1" in told
    assert "rule book 'ncaa' is a guess" in told
    assert "rule_book in game.toml" in told
    assert "elbowroom court pin" in told


def test_a_told_rule_book_is_not_asked_for_again(tmp_path: Path) -> None:
    told = floor_doubt(game(tmp_path, "nba"), cameras(0.2, 0.2))
    assert "rule_book" not in told
    assert "guess" not in told
    assert "elbowroom court pin" in told


def test_pinned_landmarks_end_the_doubt(tmp_path: Path) -> None:
    one = game(tmp_path)
    (one.folder / "pins.toml").write_text(
        "[[pinned]]\nframe = 0\nt_s = 0.0\npoints = { arc_left_top = [1, 2] }\n", encoding="utf-8"
    )
    assert floor_doubt(one, cameras(0.2, 0.2)) == ""
