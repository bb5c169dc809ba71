"""Which torsos are read, how they are cut, and what is kept."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.players.jersey_numbers import (
    NUMBER_CLASSES,
    TORSO_SIDE,
    TORSO_TOP,
    NumberGatherer,
    Readings,
    readings,
    torsos,
    worth_reading,
)
from pipeline.players.jersey_votes import NUMBERS
from pipeline.players.settings import ReadingSettings

SETTINGS = ReadingSettings()
SIZE = (1280, 720)


class EyeChart:
    """A reader that says "7" to everything, with the score it is told."""

    side_px = 32

    def __init__(self, score: float = 0.9) -> None:
        self.score = score
        self.shown: list[np.ndarray] = []

    def read(self, torsos_bgr: np.ndarray) -> Readings:
        self.shown.append(torsos_bgr)
        return Readings(("7",) * len(torsos_bgr), np.full(len(torsos_bgr), self.score))


def rows(boxes: list[tuple[float, float, float, float]], classes: list[int] | None = None) -> list[int]:
    count = len(boxes)
    return worth_reading(
        np.array(boxes, float).reshape(-1, 4), np.array(classes or [0] * count), np.full(count, 0.9), SIZE, SETTINGS
    ).tolist()


def test_players_are_read_from_left_to_right_and_nobody_else() -> None:
    boxes = [(800.0, 100, 860, 250), (200.0, 100, 260, 250), (500.0, 100, 560, 250)]
    assert rows(boxes) == [1, 2, 0]
    assert rows(boxes, [0, 1, 2]) == [0]
    assert rows([]) == []


def test_small_narrow_hidden_and_cut_off_bodies_are_not_read() -> None:
    assert rows([(200, 100, 220, 150)]) == []
    assert rows([(200, 100, 220, 250)]) == []
    assert rows([(200, -60, 260, 90)]) == []
    behind, before = (200, 100, 260, 250), (215, 110, 275, 262)
    assert rows([behind, before]) == [1]
    assert rows([behind, before], [0, 1]) == [], "an official hides a player too"
    beside = (262, 110, 322, 262)
    assert rows([behind, beside]) == [0, 1]


def test_a_torso_is_the_square_below_the_chin() -> None:
    picture = np.zeros((720, 1280, 3), np.uint8)
    top, side = 100 + TORSO_TOP * 200, TORSO_SIDE * 200
    left = 330 - side / 2
    picture[int(top) : int(top + side), int(left) : int(left + side)] = (10, 200, 60)
    (torso,) = torsos(picture, np.array([[300.0, 100, 360, 300]]), 46)
    assert torso.shape == (46, 46, 3)
    assert np.abs(torso[2:-2, 2:-2].astype(int) - [10, 200, 60]).max() <= 2


@given(st.lists(st.tuples(*[st.floats(-400, 1500)] * 2, st.floats(1, 300), st.floats(1, 600)), max_size=4))
def test_torsos_can_be_cut_anywhere(places: list[tuple[float, float, float, float]]) -> None:
    boxes = np.array([(x, y, x + w, y + h) for x, y, w, h in places]).reshape(-1, 4)
    assert torsos(np.full((720, 1280, 3), 9, np.uint8), boxes, 16).shape == (len(places), 16, 16, 3)


@pytest.mark.parametrize("number", ["0", "7", "00", "10", "42", "99"])
def test_a_sure_network_reads_what_it_sees(number: str) -> None:
    sure = np.zeros((1, len(NUMBER_CLASSES)))
    sure[0, 0] = 0.8
    sure[0, 1 + (int(number[0]) + 1 if len(number) == 2 else 0)] = 1
    sure[0, 12 + int(number[-1])] = 1
    found = readings(sure)
    assert found.texts == (number,)
    assert found.scores[0] == pytest.approx(0.8)


@given(st.integers(0, 1000))
def test_only_numbers_that_can_be_worn_are_read(seed: int) -> None:
    rng = np.random.default_rng(seed)
    found = readings(np.column_stack([rng.random(20), rng.dirichlet(np.ones(11), 20), rng.dirichlet(np.ones(10), 20)]))
    assert set(found.texts) <= set(NUMBERS)
    assert np.all((found.scores >= 0) & (found.scores <= 1))


def test_the_gatherer_looks_a_few_times_a_second_and_keeps_sure_readings() -> None:
    reader = EyeChart()
    gatherer = NumberGatherer(reader, SETTINGS)
    picture = np.zeros((720, 1280, 3), np.uint8)
    boxes = np.array([[200.0, 100, 260, 250], [500.0, 100, 560, 250]])
    for k in range(26):
        gatherer.look(picture, k, k / 25, boxes, np.zeros(2, int), np.full(2, 0.9))
    assert len(reader.shown) == 3
    table = gatherer.table()
    assert table.num_rows == 6
    assert table["x1_px"].to_pylist()[:2] == [200.0, 500.0]
    assert gatherer.table().num_rows == 0
    unsure = NumberGatherer(EyeChart(0.1), SETTINGS)
    unsure.look(picture, 0, 0.0, boxes, np.zeros(2, int), np.full(2, 0.9))
    assert unsure.table().num_rows == 0


def test_when_there_are_too_many_all_have_their_turn() -> None:
    reader = EyeChart()
    few = SETTINGS.model_copy(update={"most_torsos": 3})
    gatherer = NumberGatherer(reader, few)
    boxes = np.array([[100.0 * k, 100, 100.0 * k + 60, 250] for k in range(1, 8)])
    for k in range(5):
        gatherer.look(np.zeros((720, 1280, 3), np.uint8), k, float(k), boxes, np.zeros(7, int), np.full(7, 0.9))
    assert [len(shown) for shown in reader.shown] == [3] * 5
    assert set(gatherer.table()["x1_px"].to_pylist()) == set(boxes[:, 0])
