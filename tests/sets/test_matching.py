"""The matcher: roles, order, places, partial matches, overlaps, both sides, any order of players."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.sets.definition import Need
from pipeline.sets.printing import set_text
from pipeline.sets.reading import read_set
from pipeline.sets.settings import SetSettings
from tests.sets.made_up_actions import action, cut, matches, mirrored, renumbered, standing, thrown

MOTION = read_set("""
set motion "Motion"
  source "made up"
  lasts up to 20 s
players
  1 guard starts at slot or top on the right, with the ball
  2 wing  starts at wing on the right
  3 far   starts at wing on the left
  4 top   usually starts at slot on the left
phase entry: pass from guard to wing
  ends at wing on the right
phase loop: loop cut by guard
  within 3 s after entry
  ends at wing on the left
optional phase denied: denial of guard
  within 3 s after entry
phase reversal: pass from wing to top
  ends at top or slot
phase back: pass from top to guard
  within 5 s after reversal
  ends at wing on the left
ending screen
  phase screen: ball screen by top for guard
    within 4 s after back
ending feed
  phase feed: pass from guard to far
    within 4 s after back
    ends at block or paint
counter back_cut instead of back and the rest
  phase cut: back cut by guard
    within 4 s after reversal
  phase feed: pass from top to guard
    within 2 s of cut
emphasis catch "Where the guard catches it"
  measure catch_ring_ft of back
  good up to 25
  poor from 28
  say poor "{guard} catches it {value} out."
emphasis wait "How long the ball waits"
  time from reversal to back
  good up to 2 s
  poor from 4 s
emphasis coverage "How they play it"
  word coverage of screen
  good is over or under
  poor is iced
""")


def motion(**changes):
    events = {
        "entry": thrown(2.0, 10, 11, (15, 20)),
        "loop": cut("loop_cut", 4.0, 10, (24, 10), (15, -20)),
        "denied": action("denial", 4.5, {"receiver": 10}),
        "reversal": thrown(5.5, 11, 13, (26, 0)),
        "back": thrown(7.0, 13, 10, (15, -19)),
        "screen": action(
            "on_ball_screen", 9.0, {"handler": 10, "screener": 13}, (16, -18), traits={"coverage": "over"}
        ),
    }
    events.update(changes)
    return [event for event in events.values() if event is not None]


def test_a_whole_play_binds_everybody_and_says_what_it_used():
    (row,) = matches(MOTION, motion())
    assert row["complete"]
    assert row["missing"] == []
    assert row["ending"] == "screen"
    assert row["kind"] == "motion"
    assert row["actors"] == {"guard": 10, "wing": 11, "top": 13}
    assert row["traits"]["counter"] == "none"
    assert set(row["phases"]) == {"entry", "loop", "denied", "reversal", "back", "screen"}
    assert row["t_s"] == 7.0
    assert row["start_s"] == pytest.approx(1.4)
    assert row["end_s"] == pytest.approx(9.1)


def test_events_are_those_of_the_actions_table():
    events = motion()
    numbers = {e.kind + str(e.t_s): n for n, e in enumerate(sorted(events, key=lambda e: e.t_s))}
    (row,) = matches(MOTION, events)
    assert row["phases"]["entry"] == numbers["pass2.0"]
    assert row["phases"]["screen"] == numbers["on_ball_screen9.0"]


def test_points_of_emphasis_are_measured_and_graded():
    (row,) = matches(MOTION, motion())
    assert row["measures"] == {"catch_ft": pytest.approx(24.2, abs=0.1), "wait_s": pytest.approx(1.5)}
    assert (
        row["traits"] | {"catch": "good", "wait": "good", "coverage": "good", "coverage_was": "over"} == row["traits"]
    )
    far = thrown(9.6, 13, 10, (20, -22))
    (row,) = matches(MOTION, motion(back=far, screen=None))
    assert row["traits"]["catch"] == "poor"
    assert row["traits"]["wait"] == "poor"
    assert row["traits"]["coverage"] == "unknown"
    assert row["ending"] is None
    assert row["complete"]


def test_a_usual_phase_costs_more_than_an_optional_one():
    usual = read_set(set_text(MOTION).replace("optional phase denied", "usual phase denied"))
    assert usual.main.phases[2].need is Need.USUAL
    whole, (optional,), (missing,) = (
        matches(usual, motion())[0],
        matches(MOTION, motion(denied=None)),
        matches(usual, motion(denied=None)),
    )
    assert missing["complete"]
    assert missing["score"] < optional["score"] < whole["score"]


def test_what_is_missing_is_named_and_lowers_the_score():
    whole = matches(MOTION, motion())[0]["score"]
    (row,) = matches(MOTION, motion(reversal=None))
    assert not row["complete"]
    assert row["missing"] == ["reversal"]
    assert row["score"] < whole
    assert matches(MOTION, motion(reversal=None, loop=None, back=None)) == []


def test_the_score_falls_with_the_scores_of_the_actions():
    surer = matches(MOTION, motion())[0]["score"]
    less = matches(MOTION, motion(entry=thrown(2.0, 10, 11, (15, 20), score=0.5)))[0]["score"]
    assert less < surer


def test_an_optional_phase_hardly_counts():
    (row,) = matches(MOTION, motion(denied=None))
    assert row["complete"]
    assert 0.95 < row["score"] / matches(MOTION, motion())[0]["score"] < 1


@pytest.mark.parametrize(
    ("name", "event"),
    [
        ("entry", thrown(2.0, 10, 11, (3, 20))),  # caught in the corner
        ("loop", cut("loop_cut", 4.0, 10, (24, 10), (15, 20))),  # ends on the same side
        ("loop", cut("loop_cut", 4.0, 12, (24, 10), (15, -20))),  # somebody else
        ("loop", cut("deep_cut", 4.0, 10, (24, 10), (15, -20))),  # another cut
        ("reversal", thrown(5.5, 11, 10, (26, 0))),  # back to the passer
        ("back", thrown(13.5, 13, 10, (15, -19))),  # too late
        ("back", thrown(4.0, 13, 10, (15, -19))),  # before the reversal
    ],
)
def test_a_near_miss_is_not_whole(name, event):
    rows = matches(MOTION, motion(**{name: event}))
    assert not any(row["complete"] for row in rows)


def test_the_ending_that_was_played_is_told():
    feed = thrown(8.5, 10, 12, (3, -9))
    (row,) = matches(MOTION, motion(screen=None, feed=feed))
    assert row["ending"] == "feed"
    assert row["actors"]["far"] == 12
    (row,) = matches(MOTION, motion(screen=None, feed=thrown(8.5, 10, 12, (25, -9))))
    assert row["ending"] is None


def test_a_counter_takes_the_place_of_what_it_answers():
    events = motion(
        back=None, screen=None, cut=cut("back_cut", 7.0, 10, (15, -20), (2, -2)), feed=thrown(7.4, 13, 10, (2, -2))
    )
    (row,) = matches(MOTION, events)
    assert row["complete"]
    assert row["traits"]["counter"] == "back_cut"
    assert row["traits"]["wait"] == "good", "what the replaced phase was timed by is the counter's last phase"


def test_where_players_start_decides():
    places = {10: (24, 10), 11: (15, 20), 12: (15, -20), 13: (24, -10), 14: (0, 10)}
    (row,) = matches(MOTION, motion(), standing(places))
    assert row["complete"]
    assert row["actors"]["far"] == 12, "whom no action names stands where the file says"
    wrong = standing({**places, 11: (3, 9)})
    assert not any(row["complete"] for row in matches(MOTION, motion(), wrong))
    usually = standing({**places, 13: (3, -20)})
    (other,) = matches(MOTION, motion(), usually)
    assert other["complete"]
    assert other["score"] < row["score"]


def test_what_was_not_seen_is_allowed_and_costs():
    unseen = action("on_ball_screen", 9.0, {"handler": 10}, (16, -18), traits={"coverage": "unknown"})
    (row,) = matches(MOTION, motion(screen=unseen))
    assert row["ending"] == "screen"
    assert row["traits"]["coverage"] == "unknown"
    assert row["score"] < matches(MOTION, motion())[0]["score"]


def test_the_other_side_is_the_same_play():
    here = matches(MOTION, motion())
    there = matches(MOTION, mirrored(motion()))
    assert [r["traits"]["side"] for r in (*here, *there)] == ["as_drawn", "mirrored"]
    for a, b in zip(here, there, strict=True):
        keep = ("complete", "ending", "actors", "phases", "missing", "t_s", "measures")
        assert [a[k] for k in keep] == [b[k] for k in keep]
        assert a["score"] == pytest.approx(b["score"])


def test_a_play_run_twice_is_found_twice():
    again = [replace(e, t_s=e.t_s + 12, start_s=e.start_s + 12, end_s=e.end_s + 12) for e in motion()]
    rows = matches(MOTION, [*motion(), *again])
    assert [row["complete"] for row in rows] == [True, True]
    assert rows[1]["t_s"] - rows[0]["t_s"] == 12


def test_forbidden_phases_forbid():
    lonely = read_set("""
set lonely
  source "made up"
players
  1 guard
  2 wing
phase entry: pass from guard to wing
phase back: pass from wing to guard
forbidden phase screen: ball screen by wing for guard
""")
    passes = [thrown(2.0, 10, 11, (15, 20)), thrown(6.0, 11, 10, (24, 5))]
    screen = action("on_ball_screen", 4.0, {"handler": 10, "screener": 11})
    assert len(matches(lonely, passes)) == 1
    assert matches(lonely, [*passes, screen]) == []
    assert len(matches(lonely, [*passes, action("on_ball_screen", 9.0, {"handler": 10, "screener": 11})])) == 1
    assert len(matches(lonely, [*passes, action("on_ball_screen", 4.0, {"handler": 12, "screener": 11})])) == 1


BALL_SCREEN = read_set("""
set ball_screen
  source "made up"
players
  1 guard
  5 big
phase screen: ball screen by big for guard
ending drive
  phase drive: drive by guard
    within 4 s after screen
""")


def test_a_smaller_set_made_of_the_same_actions_is_part_of_the_bigger():
    (row,) = matches([BALL_SCREEN, MOTION], motion())
    assert row["kind"] == "motion"
    rows = matches([BALL_SCREEN, MOTION], [*motion(), action("on_ball_screen", 15.0, {"handler": 12, "screener": 14})])
    assert sorted(r["kind"] for r in rows) == ["ball_screen", "motion"]


def test_a_set_yields_where_its_file_says_so():
    shy = read_set("""
set shy
  source "made up"
  yields to ball_screen
players
  1 guard
phase drive: drive by guard
phase shot: shot by guard
""")
    events = [
        action("on_ball_screen", 4.0, {"handler": 10, "screener": 11}),
        action("drive", 5.0, {"handler": 10}),
        action("shot", 6.0, {"shooter": 10}),
    ]
    assert [r["kind"] for r in matches([shy], events)] == ["shy"]
    assert [r["kind"] for r in matches([shy, BALL_SCREEN], events)] == ["ball_screen"]


def test_sides_may_refer_to_other_phases():
    sided = read_set("""
set sided
  source "made up"
players
  1 guard
  2 wing
phase entry: pass from guard to wing
phase cut: basket cut by guard
  ends on the opposite side from entry
""")
    same = [thrown(2.0, 10, 11, (15, 20)), cut("basket_cut", 4.0, 10, (24, 5), (3, 8))]
    other = [thrown(2.0, 10, 11, (15, 20)), cut("basket_cut", 4.0, 10, (24, 5), (3, -8))]
    assert matches(sided, same) == []
    assert len(matches(sided, other)) == 1
    assert len(matches(sided, mirrored(other))) == 1


def test_no_actions_no_sets():
    assert matches(MOTION, []) == []


# ---- any possession ------------------------------------------------------------------------------

spots = st.sampled_from([(15.0, 20.0), (15.0, -20.0), (24.0, 10.0), (26.0, 0.0), (3.0, -9.0), (2.0, 2.0)])
players = st.integers(10, 14)
noise = st.lists(
    st.one_of(
        st.builds(lambda t, a, b, to: thrown(t, a, b, to), st.floats(0, 14), players, players, spots),
        st.builds(lambda t, a, s, e: cut("loop_cut", t, a, s, e), st.floats(0, 14), players, spots, spots),
        st.builds(lambda t, a, s, e: cut("back_cut", t, a, s, e), st.floats(0, 14), players, spots, spots),
        st.builds(
            lambda t, a, b, at: action("on_ball_screen", t, {"handler": a, "screener": b}, at),
            st.floats(0, 14), players, players, spots,
        ),
    ),
    max_size=14,
)  # fmt: skip


def told(rows, names=None):
    names = names or {n: n for n in range(10, 15)}
    return sorted(
        (r["kind"], r["complete"], r["ending"] or "", round(r["score"], 4), round(r["t_s"], 4), len(r["phases"]),
         sorted((role, names[track]) for role, track in r["actors"].items()))
        for r in rows
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(noise)
def test_both_sides_give_the_same(events):
    events = [*motion(), *events]
    assert told(matches([MOTION, BALL_SCREEN], events)) == told(matches([MOTION, BALL_SCREEN], mirrored(events)))


@settings(max_examples=60, deadline=None)
@given(noise, st.permutations(range(10, 15)), st.randoms(use_true_random=False))
def test_the_order_of_players_and_rows_never_matters(events, order, random):
    events = [*motion(), *events]
    numbers = dict(zip(range(10, 15), order, strict=True))
    back = {new: old for old, new in numbers.items()}
    other = renumbered(events, numbers)
    random.shuffle(other)
    one, two = matches([MOTION, BALL_SCREEN], events), matches([MOTION, BALL_SCREEN], other)
    # matches that are equal in every respect but who played them may be told the other way round
    assert [row[:-1] for row in told(one)] == [row[:-1] for row in told(two, back)]


@settings(max_examples=40, deadline=None)
@given(noise)
def test_more_actions_never_take_a_whole_play_away(events):
    rows = matches(MOTION, [*motion(), *events])
    assert any(row["complete"] for row in rows)
    best = max(row["score"] for row in rows if row["complete"])
    assert best >= matches(MOTION, motion())[0]["score"] - 1e-6


def test_a_search_gives_up_and_keeps_the_best():
    crowd = [thrown(2.0 + 0.01 * n, 10, 11, (15, 20)) for n in range(40)]
    rows = matches(MOTION, [*motion(), *crowd], settings=SetSettings(steps_at_most=200))
    assert any(row["complete"] for row in rows)
