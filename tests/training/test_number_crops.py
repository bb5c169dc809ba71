"""Painted torsos: labels, repeatability, and what counts as seen."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("matplotlib")

from pipeline.players.jersey_numbers import readings
from pipeline.players.jersey_votes import NUMBERS
from pipeline.training.number_crops import SIDE_PX, draw_number, draw_torsos, glyphs, label_of, paint


def test_the_same_seed_paints_the_same_torsos() -> None:
    first, again, other = draw_torsos(3, 12), draw_torsos(3, 12), draw_torsos(4, 12)
    assert first[0].shape == (12, SIDE_PX, SIDE_PX, 3)
    assert np.array_equal(first[0], again[0])
    assert np.array_equal(first[1], again[1])
    assert not np.array_equal(first[0], other[0])


def test_labels_are_read_back_as_the_number() -> None:
    for number in NUMBERS:
        seen, tens, ones = label_of(number)
        sure = np.zeros((1, 22))
        sure[0, [0, 1 + tens, 12 + ones]] = seen
        assert readings(sure).texts == (number,)
    assert label_of("") == (0, -1, -1)


def test_numbers_are_those_that_can_be_worn() -> None:
    rng = np.random.default_rng(0)
    drawn = [draw_number(rng) for _ in range(3000)]
    assert set(drawn) <= set(NUMBERS)
    assert {number[-1] for number in drawn} == set("0123456789")


def test_a_body_seen_from_the_front_shows_its_number_and_from_the_side_none() -> None:
    rng = np.random.default_rng(1)
    front = [torso.number for _ in range(80) if (torso := paint(rng, "24", turned=0.0)) is not None]
    side = [torso.number for _ in range(80) if (torso := paint(rng, "24", turned=1.6)) is not None]
    assert front.count("24") > 0.75 * len(front)
    assert side.count("24") == 0
    assert set(front) | set(side) <= {"24", ""}


def test_every_style_has_ten_digits() -> None:
    for style in glyphs():
        assert len(style) == 10
        assert all(digit.max() > 200 and digit.ndim == 2 for digit in style)
