"""What is said of a set."""

import pytest

from pipeline.sets.emphasis import Grade, measure_name, spoken
from pipeline.sets.telling import player_words, points_of, sentence_of
from tests.sets.made_up_actions import matches, thrown
from tests.sets.test_matching import MOTION, motion


def row(**changes):
    (found,) = matches(MOTION, motion(**changes))
    return {
        **found,
        "actors": [{"role": role, "track": track} for role, track in found["actors"].items()],
        "measures": list(found["measures"].items()),
        "traits": list(found["traits"].items()),
    }


def called(track):
    return {10: "Ten (4)"}.get(track)


def test_what_was_poor_is_said_with_names_and_numbers():
    poor = row(back=thrown(8.0, 13, 10, (20, -22)))
    assert sentence_of(poor, MOTION, called) == "Motion, screen. Ten (4) catches it 29.7 ft out."
    assert sentence_of(poor, MOTION, lambda _: None) == "Motion, screen. The guard catches it 29.7 ft out."


def test_what_did_not_come_is_said_first():
    told = sentence_of({**row(), "missing": ["loop", "back"]}, MOTION, called)
    assert (
        told == "Motion, screen. The loop cut by Ten (4) did not come. The pass from the top to Ten (4) did not come."
    )
    ended = sentence_of({**row(), "missing": ["ending"]}, MOTION, called)
    assert ended == "Motion, screen. It came to none of its endings."
    older = sentence_of({**row(), "missing": ["hand_back"]}, MOTION, called)
    assert older == "Motion, screen. The hand back did not come.", "a file that was changed since"


def test_without_anything_poor_the_head_alone_is_said():
    assert sentence_of(row(), MOTION, called) == "Motion, screen."


def test_points_come_back_from_a_row_as_they_went_in():
    points = {point.emphasis.name: point for point in points_of(row(), MOTION)}
    assert points["catch"].grade is Grade.GOOD
    assert points["catch"].value == pytest.approx(24.2, abs=0.1)
    assert points["coverage"].value == "over"
    unknown = {point.emphasis.name: point for point in points_of(row(screen=None), MOTION)}["coverage"]
    assert unknown.grade is Grade.UNKNOWN


def test_players_are_called_by_the_file_where_nobody_knows_them():
    words = player_words(row(), MOTION, called)
    assert words["guard"] == "Ten (4)"
    assert words["top"] == "the top"
    assert words["far"] == "the far"


def test_values_are_spoken_with_their_units():
    assert spoken(29.25, "ft") == "29.2 ft"
    assert spoken(3.0, "ft_s") == "3.0 ft/s"
    assert spoken(float("nan"), "s") == "unknown"
    assert spoken("high_side", "") == "high side"
    assert [measure_name(emphasis) for emphasis in MOTION.emphases] == ["catch_ft", "wait_s", "coverage"]
