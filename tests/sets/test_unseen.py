"""Passes that nobody saw, because the ball was out of sight when they were due."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.sets.reading import read_set
from pipeline.sets.settings import SetSettings
from pipeline.sets.telling import sentence_of, unseen_in
from tests.sets.made_up_actions import action, ball_seen, matches, standing
from tests.sets.test_matching import MOTION, motion

PLACES = {10: (15.0, -19.0), 11: (15.0, 20.0), 12: (3.0, -14.0), 13: (26.0, 0.0), 14: (5.0, 9.0)}
"""Where everybody is as the return pass is due: the guard on the left wing, the top at the top."""

AT_START = {10: (24.0, 12.0), 11: (15.0, 20.0), 12: (14.0, -20.0), 13: (24.0, -12.0), 14: (5.0, 9.0)}


def floor():
    """Everybody where he starts, and from the third second on where he is later."""
    before, after = standing(AT_START), standing(PLACES)
    return pa.concat_tables([before.filter(pc.field("t_s") < 3.0), after.filter(pc.field("t_s") >= 3.0)])


def touches():
    held = {11: (2.0, 5.0), 13: (5.5, 9.5)}
    return [
        action("touch", end_s - 0.1, {"handler": who}, PLACES[who], lasts_s=end_s - start_s)
        for who, (start_s, end_s) in held.items()
    ]


def seen(*, but_from_s: float = 6.2, to_s: float = 7.4, then=(15.0, -19.0)):
    """A ball seen ten times a second but for a while, and where it is after that."""
    times = [t for t in np.arange(0.0, 9.1, 0.1).tolist() if not but_from_s < t < to_s]
    return ball_seen([(t, (26.0, 0.0) if t <= but_from_s else then) for t in times])


def test_one_pass_may_go_unseen_while_the_ball_is_out_of_sight():
    events = [*motion(back=None), *touches()]
    (row,) = matches(MOTION, events, floor(), ball=seen())
    assert row["complete"]
    assert row["missing"] == []
    assert "back" not in row["phases"], "nobody saw it"
    assert row["traits"]["unseen"] == "back"
    assert row["traits"]["catch"] == "unknown", "and nobody knows where it was caught"
    whole = matches(MOTION, motion(), floor(), ball=seen())[0]
    assert row["score"] < whole["score"]
    assert "unseen" not in whole["traits"]
    told = {**row, "traits": list(row["traits"].items()), "actors": []}
    assert unseen_in(told) == ("back",)
    assert "pass from the top to the guard was not seen, the ball being out of sight." in sentence_of(
        told, MOTION, lambda _: None
    )


def test_a_ball_that_was_seen_tells_that_the_pass_did_not_come():
    events = [*motion(back=None), *touches()]
    always = matches(MOTION, events, floor(), ball=seen(but_from_s=6.2, to_s=6.5))
    assert [row["missing"] for row in always] == [["back"]]
    stayed = matches(MOTION, events, floor(), ball=seen(then=(26.0, 1.0)))
    assert [row["missing"] for row in stayed] == [["back"]], "it is still with the passer when it is seen again"


def test_without_sightings_or_wish_nothing_is_taken_on_trust():
    events = [*motion(back=None), *touches()]
    for ball, settings in ((None, None), (seen(), SetSettings(unseen_at_most=0))):
        rows = matches(MOTION, events, floor(), settings, ball)
        assert [row["missing"] for row in rows] == [["back"]]


def test_two_passes_are_too_many():
    events = [*motion(back=None, reversal=None), *touches()]
    assert not any(row["complete"] for row in matches(MOTION, events, floor(), ball=seen(but_from_s=4.9)))


HANDOFF = read_set("""
set given "Given"
  source "made up"
players
  5 big
  2 taker
phase handoff: handoff from big to taker
""")


def test_a_ball_screen_with_the_ball_out_of_sight_may_have_been_a_handoff():
    actors = {"handler": 13, "screener": 10}
    near, far = (action("on_ball_screen", 7.0, actors, (20, 10), closest_ft=c) for c in (2.0, 6.0))
    (row,) = matches(HANDOFF, [near, *touches()], floor(), ball=seen())
    assert row["complete"]
    assert row["actors"] == {"big": 13, "taker": 10}
    assert not matches(HANDOFF, [far, *touches()], floor(), ball=seen()), "they did not meet"
    assert not matches(HANDOFF, [near, *touches()], floor(), ball=seen(to_s=6.5)), "the ball was seen"


GIVEN_BACK = read_set("""
set give_back "Give back"
  source "made up"
players
  1 guard
  2 wing
  5 big
phase ahead: pass from guard to wing
phase handoff: handoff from wing to guard
  within 4 s after ahead
phase screen: ball screen by big for guard
  within 5 s after handoff
""")


def test_what_happened_in_one_stretch_out_of_sight_is_taken_together():
    standing_near = standing({**PLACES, 13: (16.0, -17.0)})
    screen = action("on_ball_screen", 9.0, {"handler": 13, "screener": 14}, (16, -16), closest_ft=5.0)
    ball = seen(but_from_s=5.6, to_s=8.4, then=(16.0, -17.0))
    (row,) = matches(GIVEN_BACK, [screen, *touches()], standing_near, ball=ball)
    assert row["complete"]
    assert row["actors"] == {"guard": 13, "wing": 10, "big": 14}
    far = matches(GIVEN_BACK, [screen, *touches()], standing(PLACES), ball=ball)
    assert not any(found["complete"] for found in far), "they did not meet"
