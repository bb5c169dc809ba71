"""The score graphic found and read on made-up pictures: any place, any order of cells, none at all."""

import cv2
import numpy as np
import pytest

from pipeline.errors import ShapeError
from pipeline.film.bug_cells import line_slots
from pipeline.film.bug_text import ALPHABET, FIGURES, HEIGHT_PX, Line, TextReader, read_out, strip_of
from pipeline.film.clock import fit_clock
from pipeline.film.probe import probe
from pipeline.film.score_bug import BugReader, find_bug, scout
from pipeline.film.settings import BugSettings
from pipeline.film.spread import spread_pictures
from pipeline.film.tables import BUG_READINGS, FRAMES
from pipeline.film.text_regions import line_boxes
from tests.film.films import blurred_noise, numbered_film, read_number

SIZE_PX = (640, 360)


class Hall:
    """A panning court view with a score graphic."""

    def __init__(self, seed, place=(40, 300), cells=("score", "clock", "period", "shot")):
        rng = np.random.default_rng(seed)
        self.canvas = blurred_noise(rng, SIZE_PX[0] * 3, SIZE_PX[1], 3.0)
        self.place, self.cells = place, cells

    def bare(self, t_s):
        left = int(SIZE_PX[0] * (1 + 0.9 * np.sin(t_s / 4)))
        return self.canvas[:, left : left + SIZE_PX[0]].copy()

    def picture(self, t_s, clock_s, period="2ND", shot="14", scores=(21, 34)):
        view = self.bare(t_s)
        x, y = self.place
        words = {
            "score": [f"AB {scores[0]}", f"CD {scores[1]}"],
            "clock": [f"{int(clock_s) // 60}:{int(clock_s) % 60:02d}"],
            "period": [period],
            "shot": [shot],
        }
        for cell in self.cells:
            for text in words[cell]:
                width = 26 + 13 * len(text)
                cv2.rectangle(view, (x, y), (x + width, y + 28), (60, 30, 20), -1)
                cv2.putText(
                    view, text, (x + 12, y + 21), cv2.FONT_HERSHEY_DUPLEX, 0.62, (255, 255, 255), 1, cv2.LINE_AA
                )
                x += width + 4
        return view


def shot_of(t_s):
    return str(int(24 - t_s % 24))


def pictures_of(hall, times):
    return [hall.picture(t, 500 - t, shot=shot_of(t), scores=(21 + int(t / 20), 34 + int(t / 30))) for t in times]


@pytest.mark.parametrize(
    ("place", "cells"),
    [((40, 300), ("score", "clock", "period", "shot")), ((150, 20), ("period", "clock", "shot", "score"))],
)
def test_the_graphic_is_found_and_read_wherever_it_is(place, cells):
    hall = Hall(3, place, cells)
    times = np.arange(0, 60, 3.0)
    layout = find_bug(pictures_of(hall, times), list(times), BugSettings(pictures=20, finding_pictures=3))
    assert layout is not None
    assert {c.field for c in layout.cells} >= {"clock", "period", "shot_clock"}
    assert layout.cells[0].field == "clock"
    reader = BugReader(layout)
    looks = np.arange(100, 106, 0.1)
    for k, t in enumerate(looks):
        hidden = 103 < t < 104
        reader.look(hall.bare(t) if hidden else hall.picture(t, 500 - t, shot=shot_of(t)), k, float(t))
    table = BUG_READINGS.check(reader.table())
    rows = [r for r in table.to_pylist() if r["field"] == "clock" and not 103 < r["t_s"] < 104]
    assert 15 <= len(rows) <= 25
    assert np.mean([r["text"] == f"{int(500 - r['t_s']) // 60}:{int(500 - r['t_s']) % 60:02d}" for r in rows]) > 0.9
    shown = {r["t_s"]: r["score"] for r in table.to_pylist() if r["field"] == "bug"}
    there, gone = [s for t, s in shown.items() if t < 103], [s for t, s in shown.items() if 103 < t < 104]
    assert np.median(there) > 0.12 + max(gone)
    frames = FRAMES.from_columns({"frame": np.arange(len(looks)), "t_s": looks, "shot": np.zeros(len(looks), int)})
    clock = fit_clock(table, frames)
    assert np.abs(np.array(clock["game_clock_s"].to_pylist()) - (500 - looks)).max() <= 1.0
    assert set(clock["period"].to_pylist()) == {2}
    reader.restart()
    assert reader.table().num_rows == 0


def test_a_film_without_a_graphic_has_none():
    hall = Hall(4)
    times = np.arange(0, 36, 3.0)
    assert find_bug([hall.bare(t) for t in times], list(times), BugSettings(pictures=12, finding_pictures=2)) is None
    reader = BugReader(None)
    assert not reader.wants(0.0)
    reader.look(hall.bare(0.0), 0, 0.0)
    assert reader.table().num_rows == 0


def test_a_time_that_does_not_run_like_a_clock_is_no_clock():
    """A time of day, or the times of other games: they neither run down nor stand still."""
    hall = Hall(5)
    rng = np.random.default_rng(0)
    times = np.arange(0, 36, 3.0)
    pictures = [hall.picture(t, float(rng.uniform(0, 700)), shot="", period="") for t in times]
    assert find_bug(pictures, list(times), BugSettings(pictures=12, finding_pictures=2)) is None


def test_cells_that_stand_close_are_told_apart():
    lines = [Line(f"3RD 5:{s:02d}", 0.9, (0.05, 0.15, 0.25, 0.4, 0.55, 0.65, 0.75, 0.9)) for s in range(50, 40, -1)]
    slots = line_slots(np.array([100.0, 10.0, 200.0, 40.0]), lines)
    assert [s.texts[0] for s in slots] == ["3RD", "5:50"]
    assert slots[0].box_px[2] <= slots[1].box_px[0] + 1
    assert line_slots(np.array([100.0, 10.0, 200.0, 40.0]), [Line("", 0.0, ())]) == []


def test_reading_out_runs_and_forbidden_letters():
    chance = np.full((6, len(ALPHABET) + 1), 1e-3)
    for column, character in enumerate(["5", "5", None, "S", ":", "5"]):
        chance[column, 0 if character is None else ALPHABET.index(character) + 1] = 0.9
    chance[3, ALPHABET.index("5") + 1] = 0.05
    assert read_out(chance).text == "5S:5"
    assert read_out(chance, FIGURES).text == "55:5"
    empty = np.zeros((4, len(ALPHABET) + 1))
    empty[:, 0] = 1
    assert (read_out(empty).text, read_out(empty).score) == ("", 0.0)


def test_strips_have_one_height_and_stay_in_the_picture():
    picture = np.zeros((90, 160, 3), np.uint8)
    assert strip_of(picture, (-5, 10, 60, 34)).shape[0] == HEIGHT_PX
    assert strip_of(picture, (10, 10, 12, 60)).shape[1] >= 32
    with pytest.raises(ShapeError, match="outside"):
        strip_of(picture, (200, 10, 220, 30))
    with pytest.raises(ShapeError, match="strip"):
        TextReader().read(np.zeros((20, 64, 3), np.uint8))


def test_lines_grow_back_from_their_cores():
    chance = np.zeros((64, 128), np.float32)
    chance[30:34, 20:80] = 0.9
    chance[5:7, 5:6] = 0.9  # too small
    (box,) = line_boxes(chance)
    assert box[0] < 20
    assert box[1] < 30
    assert box[2] > 80
    assert box[3] > 34
    assert line_boxes(np.zeros((32, 32), np.float32)).shape == (0, 4)


@pytest.mark.parametrize("key_every", [10, 250])
def test_spread_pictures_are_the_film_s_own(tmp_path, key_every):
    film = numbered_film(tmp_path / "film.mp4", 200, options={"g": str(key_every)})
    info = probe(film)
    frames = spread_pictures(info, 16)
    assert 8 <= len(frames) <= 17
    assert [f.t_s for f in frames] == sorted(f.t_s for f in frames)
    for frame in frames:
        assert read_number(frame.image) == frame.index
        assert frame.t_s == pytest.approx(info.times_s[frame.index])


def test_a_film_of_plain_pictures_has_no_graphic(tmp_path):
    assert scout(numbered_film(tmp_path / "film.mp4", 12)) is None
