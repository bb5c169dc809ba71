"""Holders, passes, handoffs and shots from places alone."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.ball.from_tracking import touches_from_places
from pipeline.ball.place_states import Places, ball_states
from pipeline.ball.settings import BallSettings
from pipeline.court.rule_books import NBA

RULES = BallSettings()
SPOTS = np.array([[35.0, 25], [25, 8], [24, 42], [10, 46], [9, 16], [31, 25], [22, 11], [20, 40], [9, 42], [8, 18]])


def play(*parts: tuple, rate: float = 25.0, spots: np.ndarray = SPOTS, wiggle_ft: float = 0.8) -> Places:
    """Players on their spots; the ball held or dribbled (1.8 bounces a second), or flying straight.

    Parts are ("hold", player, seconds), ("fly", to player or point, seconds).
    """
    ends = np.cumsum([part[2] for part in parts])
    t = np.arange(0, ends[-1] + 1e-9, 1 / rate)
    ball = np.zeros((len(t), 2))
    here = spots[parts[0][1]] + [0, 1.0]
    begin = 0.0
    for (what, who, seconds), end in zip(parts, ends, strict=True):
        during = (t >= begin - 1e-9) & (t <= end + 1e-9)
        share = (t[during] - begin)[:, None] / seconds
        if what == "hold":
            here = spots[who] + [0, 1.0]
            ball[during] = here + wiggle_ft * np.sin(2 * np.pi * 1.8 * (t[during] - begin))[:, None] * [0.6, 0.8]
        else:
            to = spots[who] + [0, 1.0] if isinstance(who, int) else np.asarray(who, float)
            ball[during] = here + share * (to - here)
            here = to
        begin = end
    players = np.repeat(spots[None], len(t), axis=0)
    return Places(t, ball, np.full(len(t), np.nan), players, np.repeat([0, 1], len(spots) // 2))


def told(places: Places, names: np.ndarray | None = None) -> list[tuple]:
    names = np.arange(places.players_ft.shape[1]) if names is None else names
    rows = touches_from_places(places, names, 0, NBA, RULES)
    return [(r["kind"], r["track"], r["to_track"]) for r in rows if r["kind"] not in ("hold", "dribble")]


PASSES = (("hold", 0, 1.5), ("fly", 1, 0.8), ("hold", 1, 1.0), ("fly", 3, 1.0), ("hold", 3, 1.0))
RING = (NBA.ring_to_baseline_ft, NBA.width_ft / 2)


@pytest.mark.parametrize("rate", [5.0, 8.33, 12.5, 25.0, 29.97, 50.0, 60.0])
def test_passes_at_any_rate(rate):
    assert told(play(*PASSES, rate=rate)) == [("pass", 0, 1), ("pass", 1, 3)]
    rows = touches_from_places(play(*PASSES, rate=rate), np.arange(10), 0, NBA, RULES)
    caught = [r["end_s"] for r in rows if r["kind"] == "pass"]
    assert caught == pytest.approx([2.3, 4.3], abs=0.5 / rate + 0.2)


def _from(places: Places, begin_s: float) -> Places:
    """The same play, recorded only from a moment on."""
    k = places.t_s >= begin_s - 1e-9
    return replace(
        places, t_s=places.t_s[k], ball_ft=places.ball_ft[k], ball_z_ft=places.ball_z_ft[k],
        players_ft=places.players_ft[k],
    )  # fmt: skip


@pytest.mark.parametrize("rate", [8.33, 25.0])
def test_a_ball_in_the_air_as_play_begins_was_thrown_by_the_mate_it_leaves(rate):
    assert told(_from(play(*PASSES, rate=rate), 1.55)) == [("pass", 0, 1), ("pass", 1, 3)]


def test_who_threw_it_is_not_said_of_a_ball_far_from_his_hands_or_near_a_defenders():
    assert told(_from(play(*PASSES), 1.9)) == [("pass", 1, 3)], "half way across"
    foe = SPOTS.copy()
    foe[5], foe[0] = SPOTS[0], SPOTS[0] + [4.0, 3.0]
    way = play(("hold", 5, 1.5), ("fly", 1, 0.8), ("hold", 1, 1.0), spots=foe)
    assert told(_from(way, 1.55)) == []


def test_a_pass_past_a_player_is_no_hold_of_his():
    spots = SPOTS.copy()
    spots[2] = 0.5 * (SPOTS[0] + SPOTS[4]) + [0.5, 1.5]  # a teammate beside the way
    spots[7] = 0.7 * SPOTS[4] + 0.3 * SPOTS[0] + [0, 2.0]  # and a defender
    flying = play(("hold", 0, 1.0), ("fly", 4, 0.9), ("hold", 4, 1.0), spots=spots)
    assert told(flying) == [("pass", 0, 4)]


def test_a_dribbled_ball_stays_his_beside_a_defender():
    spots = SPOTS.copy()
    spots[5] = SPOTS[0] + [-1.0, 2.6]  # nearer to the ball than the handler at every far bounce
    assert told(play(("hold", 0, 4.0), spots=spots, wiggle_ft=1.6)) == []


def test_a_redirected_ball_was_held_or_it_was_one_pass():
    quick = play(("hold", 0, 1.0), ("fly", 1, 0.7), ("hold", 1, 0.28), ("fly", 3, 0.9), ("hold", 3, 0.8))
    assert told(quick) == [("pass", 0, 1), ("pass", 1, 3)]


def test_hands_to_hands_is_a_handoff_and_a_throw_from_near_is_none():
    near = SPOTS.copy()
    near[1] = SPOTS[0] + [0.5, 4.0]
    assert told(play(("hold", 0, 1.0), ("fly", 1, 0.3), ("hold", 1, 1.0), spots=near)) == [("handoff", 0, 1)]
    near[1] = SPOTS[0] + [0.0, 9.0]
    assert told(play(("hold", 0, 1.0), ("fly", 1, 0.3), ("hold", 1, 1.0), spots=near)) == [("pass", 0, 1)]


@pytest.mark.parametrize(("comes_ft_s", "kind"), [(0.0, "pass"), (5.0, "handoff"), (-3.0, "pass")])
def test_from_beyond_arms_reach_only_who_comes_to_the_ball_is_handed_it(comes_ft_s: float, kind: str):
    near = SPOTS.copy()
    near[1] = SPOTS[0] + [0.0, 6.0]
    still = play(("hold", 0, 1.0), ("fly", 1, 0.3), ("hold", 1, 1.0), spots=near)
    players = still.players_ft.copy()
    before = np.minimum(still.t_s - 1.25, 0.0)  # there as the ball is
    players[:, 1, 1] = near[1, 1] - comes_ft_s * before
    assert told(replace(still, players_ft=players)) == [(kind, 0, 1)]


def test_a_shot_ends_at_the_ring_and_the_ball_is_taken_off_it():
    shot = play(*PASSES[:3], ("fly", RING, 1.0), ("fly", 9, 0.5), ("hold", 9, 0.8))
    kinds = told(shot)
    assert kinds[:2] == [("pass", 0, 1), ("shot", 1, None)]
    assert kinds[2][:2] == ("rebound", 9)
    release = next(r["start_s"] for r in touches_from_places(shot, np.arange(10), 0, NBA, RULES) if r["kind"] == "shot")
    assert release == pytest.approx(3.3, abs=0.15)


def test_a_ball_that_stays_under_the_ring_went_in():
    below = (RING[0] + 0.5, RING[1] - 0.5)
    made = play(*PASSES[:3], ("fly", RING, 1.0), ("fly", below, 0.8), ("fly", 9, 0.5), ("hold", 9, 0.8))
    assert told(made) == [("pass", 0, 1), ("shot", 1, None), ("loose", None, None)]
    stopped = play(*PASSES[:3], ("fly", RING, 1.0), ("fly", below, 0.3))
    assert told(stopped) == [("pass", 0, 1), ("shot", 1, None)], "not known yet"
    between = (RING[0] + 2.0, RING[1] - 2.0)
    slow = play(*PASSES[:3], ("fly", RING, 1.0), ("fly", between, 0.5), ("fly", 9, 0.5), ("hold", 9, 0.8))
    assert told(slow) == [("pass", 0, 1), ("shot", 1, None)], "a defender has it then, off the ring or out of the net"


def test_where_the_height_is_known_it_tells_what_went_in():
    below = (RING[0] + 0.5, RING[1] - 0.5)
    script = (*PASSES[:3], ("fly", RING, 1.0), ("fly", below, 0.8), ("fly", 9, 0.5), ("hold", 9, 0.8))
    places = play(*script)
    falls = np.interp(places.t_s, [3.2, 3.8, 4.3, 4.6, 5.0], [6.0, 15.0, 10.0, 7.0, 1.0])
    hangs = np.interp(places.t_s, [3.2, 3.8, 4.3, 4.9, 5.5, 5.7], [6.0, 15.0, 10.0, 11.0, 9.0, 6.0])
    assert told(replace(places, ball_z_ft=falls))[-1] == ("loose", None, None)
    assert told(replace(places, ball_z_ft=hangs))[-1][:2] == ("rebound", 9)


def test_play_may_stop_with_the_shot_in_the_air():
    almost = tuple(0.75 * np.array(RING) + 0.25 * SPOTS[1])
    assert told(play(*PASSES[:3], ("fly", almost, 0.8)))[-1] == ("shot", 1, None)


def test_a_ball_thrown_in_is_no_shot():
    spots = SPOTS.copy()
    spots[4] = [-2.0, 25.0]
    across = play(("hold", 4, 1.0), ("fly", (12.0, 25.0), 0.5), spots=spots)
    assert ("shot", 4, None) not in told(across)


def test_no_dribble_without_height_and_one_with_it():
    held = play(("hold", 0, 4.0))
    rows = touches_from_places(held, np.arange(10), 0, NBA, RULES)
    assert {r["kind"] for r in rows} == {"hold"}
    bounce = 0.4 + 2.4 * np.abs(np.sin(np.pi * 1.8 * held.t_s))
    seen = touches_from_places(replace(held, ball_z_ft=bounce), np.arange(10), 0, NBA, RULES)
    assert "dribble" in {r["kind"] for r in seen}


def test_a_ball_above_the_hands_is_not_held():
    over = play(("hold", 0, 2.0), ("hold", 0, 1.0))
    high = np.where(over.t_s > 2.0, 13.0, 5.0)
    state = ball_states(replace(over, ball_z_ft=high), NBA, RULES.places)
    assert (state[over.t_s < 1.9] == 0).all()
    assert (state[over.t_s > 2.1] != 0).all()


def test_nothing_known_is_nothing_said():
    some = play(*PASSES)
    unseen = replace(some, ball_ft=np.full_like(some.ball_ft, np.nan))
    assert touches_from_places(unseen, np.arange(10), 0, NBA, RULES) == []
    nobody = replace(some, players_ft=np.full_like(some.players_ft, np.nan))
    assert touches_from_places(nobody, np.arange(10), 0, NBA, RULES) == []
    for count in (0, 1, 2):
        few = Places(
            some.t_s[:count], some.ball_ft[:count], some.ball_z_ft[:count], some.players_ft[:count], some.teams
        )
        touches_from_places(few, np.arange(10), 0, NBA, RULES)


def test_a_short_gap_in_the_ball_breaks_nothing():
    some = play(*PASSES)
    ball = some.ball_ft.copy()
    ball[(some.t_s > 0.5) & (some.t_s < 0.8)] = np.nan
    assert told(replace(some, ball_ft=ball)) == [("pass", 0, 1), ("pass", 1, 3)]
    ball[(some.t_s > 2.2) & (some.t_s < 3.5)] = np.nan  # while the second player has it
    assert ("pass", 0, 1) not in told(replace(some, ball_ft=ball))


parts = st.lists(
    st.tuples(st.integers(0, 4), st.floats(0.5, 2.0), st.floats(0.45, 1.2)), min_size=2, max_size=5
)  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(parts, st.permutations(range(10)), st.sampled_from([8.33, 12.5, 25.0]))
def test_neither_mirror_nor_order_of_players_matters(legs, order, rate):
    script: list[tuple] = []
    for who, held_s, flight_s in legs:
        if script and script[-1][1] != who:
            script.append(("fly", who, flight_s))
        script.append(("hold", who, held_s))
    places = play(*script, rate=rate)
    before = told(places)
    flip = np.array([1.0, -1.0])
    mirrored = replace(
        places, ball_ft=places.ball_ft * flip + [0, 50], players_ft=places.players_ft * flip + [0, 50]
    )  # fmt: skip
    assert told(mirrored) == before
    chosen = np.array(order)
    shuffled = replace(places, players_ft=places.players_ft[:, chosen], teams=places.teams[chosen])
    assert told(shuffled, chosen) == before


@pytest.mark.parametrize("rate", [12.5, 25.0, 60.0])
@pytest.mark.parametrize("shake_ft", [0.3, 0.7])
def test_places_that_shake_tell_the_same(rate, shake_ft):
    rng = np.random.default_rng(8)
    calm = play(*PASSES, rate=rate)
    places = replace(
        calm,
        ball_ft=calm.ball_ft + rng.normal(0, shake_ft, calm.ball_ft.shape),
        players_ft=calm.players_ft + rng.normal(0, shake_ft, calm.players_ft.shape),
    )
    assert told(places) == [("pass", 0, 1), ("pass", 1, 3)]


def test_half_the_rate_finds_the_same():
    rng = np.random.default_rng(4)
    both: list[Counter] = [Counter(), Counter()]
    for _ in range(30):
        script: list[tuple] = [("hold", int(rng.integers(5)), 1.0)]
        for who in rng.permutation(5)[: int(rng.integers(2, 5))]:
            if who != script[-1][1]:
                script += [
                    ("fly", int(who), float(rng.uniform(0.5, 1.0))),
                    ("hold", int(who), float(rng.uniform(0.5, 2))),
                ]
        full = play(*script, rate=25.0)
        half = Places(full.t_s[::2], full.ball_ft[::2], full.ball_z_ft[::2], full.players_ft[::2], full.teams)
        for counts, places in zip(both, (full, half), strict=True):
            counts.update(told(places))
    assert sum(((both[0] - both[1]) + (both[1] - both[0])).values()) <= 0.05 * sum(both[0].values())
