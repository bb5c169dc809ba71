"""Screens that nobody told, because one of the two was hidden as they met, or the screen was a poor one."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest

from pipeline.sets.printing import set_text
from pipeline.sets.reading import read_set
from pipeline.sets.settings import SetSettings
from pipeline.sets.telling import sentence_of, unseen_in
from tests.sets.made_up_actions import action, matches, standing, thrown

DOWN = read_set("""
set pin_down "Pin-down"
  source "made up"
players
  1 guard starts at top
  2 shooter starts at corner on the right
  4 big starts at elbow on the right
phase down: screen by big for shooter
  happens on the right
phase catch: pass from guard to shooter
  within 4 s after down
phase shot: shot by shooter
  within 3 s after catch
""")

GUARD, SHOOTER, BIG = 10, 11, 12
AT = {GUARD: (26.0, 0.0), SHOOTER: (1.0, 21.0), BIG: (14.0, 8.0)}


def floor(*, apart_ft: float = 2.0, hidden: int | None = SHOOTER):
    """The shooter beside the big for the third second, hidden behind him."""
    beside = {**AT, SHOOTER: (14.0, 8.0 + apart_ft)}
    before, then, after = (
        table.filter((pc.field("t_s") >= from_s) & (pc.field("t_s") < to_s))
        for table, from_s, to_s in ((standing(AT), 0, 3), (standing(beside), 3, 4), (standing(AT), 4, 30))
    )
    tracks = pa.concat_tables([before, then, after])
    t_s, track = tracks["t_s"].to_numpy(), tracks["track"].to_numpy()
    seen = pa.array(~((track == (hidden or -1)) & (t_s >= 3.2) & (t_s < 3.6)))
    return tracks.set_column(tracks.schema.get_field_index("observed"), tracks.schema.field("observed"), seen)


def events(holder: int = GUARD):
    return [
        action("touch", 4.4, {"handler": holder}, (26, 0), lasts_s=4.3),
        thrown(5.0, GUARD, SHOOTER, (20.0, 18.0)),
        action("shot", 6.0, {"shooter": SHOOTER}, (20, 18)),
        action("touch", 6.0, {"handler": SHOOTER}, (20, 18), lasts_s=1.0),
    ]


def test_who_met_while_one_was_hidden_may_have_screened():
    (row,) = matches(DOWN, events(), floor())
    assert row["complete"]
    assert row["actors"] == {"guard": GUARD, "shooter": SHOOTER, "big": BIG}
    assert "down" not in row["phases"], "nobody saw it"
    told = {**row, "traits": list(row["traits"].items()), "actors": []}
    assert unseen_in(told) == ("down",)
    assert "screen by the big for the shooter was not seen, only that the two met." in sentence_of(
        told, DOWN, lambda _: None
    )


@pytest.mark.parametrize(
    ("tracks", "settings"),
    [
        (floor(hidden=None), SetSettings(met_ran_ft_s=1000)),
        (floor(hidden=GUARD), SetSettings(met_ran_ft_s=1000)),
        (floor(apart_ft=5.0), SetSettings()),
        (floor(), SetSettings(unseen_at_most=0)),
        (floor(), SetSettings(met_within_ft=0)),
    ],
    ids=["seen, and nobody ran", "another was hidden", "they did not meet", "not wished", "no meetings wished"],
)
def test_else_the_screen_is_missing(tracks, settings):
    assert [row["missing"] for row in matches(DOWN, events(), tracks, settings)] == [["down"]]


def test_a_poor_screen_is_one_where_all_the_rest_was_played():
    (row,) = matches(DOWN, events(), floor(hidden=None))
    assert row["complete"]
    assert row["traits"]["unseen"] == "down"


def test_who_has_the_ball_does_not_screen_off_it():
    assert [row["missing"] for row in matches(DOWN, events(holder=BIG), floor())] == [["down"]]


def test_a_screen_that_was_seen_is_not_guessed_again():
    screen = action("off_ball_screen", 3.5, {"screener": BIG, "cutter": SHOOTER}, (14, 8))
    (row,) = matches(DOWN, [*events(), screen], floor())
    assert "down" in row["phases"]
    assert "unseen" not in row["traits"]
    assert np.isclose(row["score"], matches(DOWN, [*events(), screen], floor(hidden=None))[0]["score"])


BARE = read_set("""
set bare "Bare"
  source "made up"
players
  1 guard
  5 big
phase screen: ball screen by big for guard
""")

FREED = read_set("""
set freed "Freed"
  source "made up"
players
  1 guard
  2 shooter
  4 big
phase down: screen by big for shooter
phase screen: ball screen by shooter for guard
ending shot
  phase shot: shot by guard
""")


def test_a_guess_adds_nothing_to_a_whole_set_that_has_all_that_was_seen():
    screen = action("on_ball_screen", 5.5, {"handler": GUARD, "screener": SHOOTER}, (24, 2))
    seen = [*events()[:1], screen, action("shot", 7.0, {"shooter": GUARD}, (10, 2))]
    unknown = SetSettings(met_ran_ft_s=1000)
    assert [row["kind"] for row in matches([FREED], seen, floor(), unknown) if row["complete"]] == ["freed"]
    assert [row["kind"] for row in matches([FREED, BARE], seen, floor(), unknown) if row["complete"]] == ["bare"]


TAKEN = read_set("""
set taken "Taken"
  source "made up"
players
  1 guard
  2 shooter
  4 big
phase catch: pass from guard to shooter
phase screen: ball screen by big for shooter
  from 3 s before to 3 s after catch
ending shot
  phase shot: shot by shooter
""")


def test_a_screen_for_the_ball_needs_two_other_phases_where_nobody_was_seen_to_run_by():
    held = [*events()[1:3], action("touch", 4.4, {"handler": SHOOTER}, (14, 8), lasts_s=4.3)]
    unknown = SetSettings(met_ran_ft_s=1000)
    assert not any(row["complete"] for row in matches(TAKEN, held, floor(), unknown))
    assert any(row["complete"] for row in matches(TAKEN, held, floor()))
    longer = read_set(set_text(TAKEN).replace("ending shot\n", ""))
    (row,) = matches(longer, held, floor(), unknown)
    assert row["complete"]
    assert row["traits"]["unseen"] == "screen"


def test_where_one_was_seen_to_run_by_a_poor_screen_says_more_than_a_bare_set():
    screen = action("on_ball_screen", 5.5, {"handler": GUARD, "screener": SHOOTER}, (24, 2))
    seen = [*events()[:1], screen, action("shot", 7.0, {"shooter": GUARD}, (10, 2))]
    rows = matches([FREED, BARE], seen, floor(hidden=None))
    assert {row["kind"] for row in rows if row["complete"]} == {"freed"}
