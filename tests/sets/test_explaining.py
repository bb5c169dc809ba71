"""Why a set was found, in sentences: what met its phases, what missed and by how much."""

import pytest

from pipeline.actions.events import events_from_table, events_to_table
from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import BALL
from pipeline.court.rule_books import NBA
from pipeline.players.tables import TRACKS
from pipeline.sets.explaining import explain_set
from pipeline.sets.finding import find_sets
from pipeline.sets.reading import read_set
from pipeline.sets.settings import SetSettings
from tests.sets.made_up_actions import action, cut, matches, thrown
from tests.sets.test_matching import MOTION, motion

NUMBERS = {10: "number 4", 11: "number 7", 12: "number 12", 13: "number 21"}


def told(events):
    table = events_to_table(events, ACTIONS)
    numbered = dict(zip(table["event"].to_pylist(), events_from_table(table), strict=True))
    (row,) = matches(MOTION, events)
    listed = {**row, "measures": list(row["measures"].items()), "traits": list(row["traits"].items())}
    listed["actors"] = [{"role": role, "track": track} for role, track in row["actors"].items()]
    listed["phases"] = [
        {"name": name, "found": True, "event": event, "start_s": 0.0, "end_s": 0.0}
        for name, event in row["phases"].items()
    ]
    return explain_set(listed, MOTION, numbered, SetSettings(), NUMBERS.get)


def test_a_whole_play_tells_every_phase_and_point():
    lines = told(motion())
    text = "\n".join(lines)
    assert lines[0].startswith("Motion was played whole, ending 'screen', on the side on which it is drawn; score 0.9")
    assert "The guard is number 4, the wing is number 7, the top is number 21." in lines
    assert "Entry at 0:02.0: pass from number 4 to number 7." in lines
    assert "Screen at 0:09.0: on-ball screen by number 21 for number 4." in lines
    assert "Where the guard catches it: 24.2 ft, which is good (good: up to 25.0 ft; poor: from 28.0 ft)." in lines
    assert "How they play it: over, which is good (good: over or under; poor: iced)." in lines
    assert "missing" not in text


def test_an_optional_phase_that_was_not_seen_is_said():
    assert "Denied, which is optional, was not seen." in told(motion(denied=None))


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"reversal": None}, "Reversal is missing: wanted is a pass from number 7 to number 21."),
        ({"reversal": thrown(5.5, 12, 13, (26, 0))}, "at 0:05.5: it is 'from' number 12, not number 7."),
        ({"loop": cut("loop_cut", 4.0, 10, (24, 10), (5, -20))}, "it ends 4.0 ft away from the wing."),
        ({"loop": cut("loop_cut", 7.8, 10, (24, 10), (15, -20))}, "it comes 2.8 s too late after the entry."),
        (
            {"loop": cut("loop_cut", 4.0, 10, (24, 10), (15, 20))},
            "it ends 20.0 ft right of the middle, not on the left.",
        ),
        ({"loop": None}, "Loop is missing: wanted is a loop"),
    ],
)
def test_what_missed_and_by_how_much(changes, says):
    lines = told(motion(**changes))
    assert lines[0].startswith("Motion was played in part")
    assert any(says in line for line in lines), "\n".join(lines)


def test_conditions_tell_how_far_they_were_off():
    close = read_set("""
set close
  source "made up"
players
  1 guard
  2 wing
  5 big
phase entry: pass from guard to wing
phase cut: basket cut by guard
phase screen: cross screen by big for wing
  where contact_ft < 3
""")
    events = [
        thrown(2.0, 10, 11, (15, 20)),
        cut("basket_cut", 3.0, 10, (24, 0), (2, 2)),
        action("off_ball_screen", 4.0, {"screener": 14, "cutter": 11}, traits={"type": "back"}, contact_ft=4.5),
    ]
    table = events_to_table(events, ACTIONS)
    numbered = dict(zip(table["event"].to_pylist(), events_from_table(table), strict=True))
    (row,) = find_sets([close], table, TRACKS.empty(), BALL.empty(), NBA, SetSettings()).to_pylist()
    lines = explain_set(row, close, numbered, SetSettings(), NUMBERS.get)
    (line,) = [one for one in lines if one.startswith("Screen is missing")]
    assert "its type is back, not cross" in line
    assert "'contact_ft < 3' does not hold: it was 4.5, missed by 1.5" in line
