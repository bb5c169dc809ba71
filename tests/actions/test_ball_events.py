"""Touches, passes, handoffs, shots, rebounds and lost balls on made-up play."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.actions.events import Event
from pipeline.ball.imported_ball import PlayTables
from pipeline.ball.tables import BALL, TOUCHES
from tests.actions.made_up import along, found, of_kind, play, times


def still(t_s: np.ndarray, u: float, v: float) -> np.ndarray:
    return np.tile((u, v), (len(t_s), 1)).astype(float)


def told(p: PlayTables, *rows: tuple[str, float, float, int | None]) -> PlayTables:
    """The same play with these touches: kind, start, end, who."""
    return replace(
        p,
        touches=TOUCHES.from_rows(
            [
                {
                    "touch": n, "shot": 0, "kind": kind, "start_s": a, "end_s": b, "track": who, "to_track": None,
                    "team": -1 if who is None else int(who >= 5), "score": 1.0,
                }
                for n, (kind, a, b, who) in enumerate(rows)
            ]
        ),
    )  # fmt: skip


def ball_seen(p: PlayTables, height_ft: float) -> PlayTables:
    """The same play with the ball's height seen throughout."""
    rows = [row | {"z_ft": height_ft} for row in p.ball.to_pylist()]
    return replace(p, ball=BALL.from_rows(rows))


def thrown(start: tuple[float, float], to: tuple[float, float], *, flight_s: float = 0.8, side: int = 1) -> Event:
    t = times(end_s=5.0)
    paths = {0: still(t, start[0], side * start[1]), 1: still(t, to[0], side * to[1])}
    (only,) = of_kind(play(paths, t, holds=((0, 0.0, 2.0), (1, 2.0 + flight_s, 5.0))), "pass")
    return only


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(
    ("start", "to", "sort"),
    [
        ((26, 0), (14, 20), "wing_entry"),
        ((14, 20), (26, 0), "reversal"),
        ((14, 20), (4, 9), "post_entry"),
        ((14, 20), (11, 11), "post_entry"),
        ((14, 20), (12, -20), "skip"),
        ((6, 2), (12, 21), "kick_out"),
        ((26, 2), (24, -10), "other"),
        ((8, 4), (4, 9), "other"),
    ],
)
def test_what_sort_of_pass_it_is(start, to, sort, side):
    event = thrown(start, to, side=side)
    assert event.traits["type"] == sort
    assert (event.actor("passer"), event.actor("receiver")) == (0, 1)


def test_a_pass_keeps_where_it_left_and_was_caught():
    event = thrown((26, 0), (14, 20), flight_s=0.76)
    assert event.measures["length_ft"] == pytest.approx(np.hypot(12, 20), abs=0.1)
    assert event.measures["flight_s"] == pytest.approx(0.76, abs=1e-6)
    assert event.measures["catch_ring_ft"] == pytest.approx(np.hypot(14, 20), abs=0.1)
    assert event.measures["catch_above_line_ft"] == pytest.approx(14 - 13.75, abs=0.1)
    assert event.t_s == pytest.approx(2.76, abs=1e-6)
    assert (event.traits["from_place"], event.traits["to_place"]) == ("top", "wing")
    assert event.traits["returned"] == "no"


def test_a_ball_that_comes_back_is_a_return_pass_and_one_that_swings_a_reversal():
    t = times(end_s=9.0)
    paths = {0: still(t, 14, 20), 1: still(t, 26, 0), 2: still(t, 14, -20)}
    holds = ((0, 0.0, 1.0), (1, 1.8, 3.0), (2, 3.8, 5.0), (1, 5.8, 6.5), (0, 7.3, 9.0))
    passes = of_kind(play(paths, t, holds=holds), "pass")
    assert [e.traits["type"] for e in passes] == ["reversal"] * 4
    assert [e.traits["returned"] for e in passes] == ["no", "no", "yes", "yes"]


def test_a_pass_that_takes_too_long_or_meets_a_defender_is_none():
    t = times(end_s=8.0)
    paths = {0: still(t, 26, 0), 1: still(t, 14, 20), 5: still(t, 20, 10)}
    assert not of_kind(play(paths, t, holds=((0, 0.0, 2.0), (1, 4.8, 8.0))), "pass")
    assert not of_kind(play(paths, t, holds=((0, 0.0, 2.0), (5, 2.4, 3.0), (1, 3.4, 8.0))), "pass")


def handed(*, gap_ft: float = 3.0, flight_s: float = 0.16, receiver_ft_s: float = 10.0) -> tuple[Event, ...]:
    t = times(0.04, end_s=4.0)
    giver = still(t, 20, 0)
    receiver = np.column_stack([np.full(len(t), 20.0 + gap_ft), (t - 2.0) * receiver_ft_s])
    return found(play({0: giver, 1: receiver}, t, holds=((0, 0.0, 2.0 - flight_s / 2), (1, 2.0 + flight_s / 2, 4.0))))


def test_a_handoff_and_what_is_none():
    kinds = [e.kind for e in handed()]
    assert "handoff" in kinds
    assert "pass" not in kinds
    for far in (handed(gap_ft=7.5), handed(flight_s=0.5), handed(receiver_ft_s=1.0)):
        kinds = [e.kind for e in far]
        assert "handoff" not in kinds
        assert "pass" in kinds


def test_the_longest_time_without_a_dribble_is_known_only_where_the_ball_was_seen():
    t = times(end_s=4.0)
    p = told(play({0: still(t, 24, 5)}, t), ("hold", 0.0, 4.0, 0), ("dribble", 1.0, 1.6, 0))
    (unseen,) = of_kind(p, "touch")
    assert np.isnan(unseen.measures["still_s"])
    assert unseen.traits["dribbled"] == "yes"
    (seen,) = of_kind(ball_seen(p, 4.0), "touch")
    assert seen.measures["still_s"] == pytest.approx(2.4)
    assert seen.measures["held_s"] == pytest.approx(4.0)
    without = told(p, ("hold", 0.0, 4.0, 0))
    assert of_kind(without, "touch")[0].traits["dribbled"] == "unknown"
    assert of_kind(ball_seen(without, 4.0), "touch")[0].traits["dribbled"] == "no"


@pytest.mark.parametrize(("height_ft", "dead"), [(4.0, True), (1.0, False), (float("nan"), False)])
def test_a_dead_dribble_needs_the_ball_in_the_hands(height_ft, dead):
    t = times(end_s=4.0)
    p = ball_seen(play({0: still(t, 24, 5)}, t), height_ft)
    died = of_kind(told(p, ("hold", 0.0, 4.0, 0), ("dribble", 0.4, 2.0, 0)), "dead_dribble")
    assert bool(died) is dead
    if dead:
        assert died[0].t_s == pytest.approx(2.0)
        assert died[0].measures["held_s"] == pytest.approx(2.0)
    assert not of_kind(told(p, ("hold", 0.0, 4.0, 0)), "dead_dribble")
    assert not of_kind(told(p, ("hold", 0.0, 4.0, 0), ("dribble", 0.4, 3.6, 0)), "dead_dribble")


def test_shot_and_rebound():
    t = times(end_s=4.0)
    p = play({0: still(t, 20, 5), 5: still(t, 16, 4), 6: still(t, 5, 0)}, t)
    p = told(p, ("hold", 0.0, 2.0, 0), ("shot", 2.0, 2.9, 0), ("rebound", 2.9, 3.4, 6), ("hold", 3.4, 4.0, 6))
    (shot,) = of_kind(p, "shot")
    assert (shot.actor("shooter"), shot.actor("shooter_defender")) == (0, 5)
    assert shot.measures["shooter_gap_ft"] == pytest.approx(np.hypot(4, 1), abs=0.05)
    assert shot.traits["made"] == "no"
    (rebound,) = of_kind(p, "rebound")
    assert rebound.traits["by"] == "defence"
    assert rebound.t_s == pytest.approx(3.4)
    assert not of_kind(p, "turnover")
    made = told(p, ("hold", 0.0, 2.0, 0), ("shot", 2.0, 2.9, 0), ("loose", 2.9, 3.8, None))
    assert of_kind(made, "shot")[0].traits["made"] == "yes"


def test_a_lost_ball():
    t = times(end_s=4.0)
    p = play({0: still(t, 24, 5), 6: still(t, 20, 0)}, t, holds=((0, 0.0, 2.0), (6, 2.3, 4.0)))
    (lost,) = of_kind(p, "turnover")
    assert (lost.actor("loser"), lost.actor("taker")) == (0, 6)
    back = play({0: still(t, 24, 5), 6: still(t, 20, 0)}, t, holds=((0, 0.0, 2.0), (6, 2.3, 2.6), (0, 2.9, 4.0)))
    assert not of_kind(back, "turnover")


def test_an_isolation_is_alone_and_goes_himself():
    t = times(end_s=6.0)
    handler = along(t, (0, 25, 6), (3.5, 25, 6), (4.9, 5, 1), (6, 5, 1))
    alone = play({0: handler, 5: handler * 0.85}, t)
    (one,) = of_kind(alone, "isolation")
    assert one.actor("handler") == 0
    assert one.measures["held_s"] == pytest.approx(6.0, abs=0.1)
    assert not of_kind(play({0: handler, 5: handler * 0.85, 1: still(t, 25, 12)}, t), "isolation")
    assert not of_kind(play({0: still(t, 25, 6), 5: still(t, 21, 5)}, t), "isolation")


def test_an_isolation_counts_teammates_from_his_rest_until_he_goes():
    t = times(end_s=8.0)
    handler = along(t, (0, 25, -6), (2, 25, 6), (5.5, 25, 6), (6.9, 5, 1), (8, 5, 1))
    mate = along(t, (0, 25, -18.5), (2, 25, -6.5), (3.5, 25, -8.5), (5.4, 25, -8.5), (6.5, 12, -2), (8, 12, -2))
    (one,) = of_kind(play({0: handler, 5: handler * 0.85, 1: mate}, t), "isolation")
    assert one.measures["u_ft"] == pytest.approx(25.0, abs=0.2)
    assert one.measures["v_ft"] == pytest.approx(6.0, abs=0.2)
    assert one.measures["nearest_teammate_ft"] == pytest.approx(14.5, abs=0.3)


def heights(p: PlayTables, z_ft) -> PlayTables:
    """The same play with the ball's height by time."""
    return replace(p, ball=BALL.from_rows([row | {"z_ft": float(z_ft(row["t_s"]))} for row in p.ball.to_pylist()]))


def test_bounces_that_were_not_told_show_in_the_balls_height():
    t = times(end_s=5.0)
    p = heights(play({0: still(t, 24, 5)}, t), lambda s: (2.6 if round(s / 0.24) % 2 else 2.1) if s < 3.2 else 4.0)
    (died,) = of_kind(told(p, ("hold", 0.0, 5.0, 0), ("dribble", 0.4, 2.0, 0)), "dead_dribble")
    assert died.t_s == pytest.approx(3.3, abs=0.3)
    assert not of_kind(told(p, ("hold", 0.0, 3.6, 0), ("dribble", 0.4, 2.0, 0)), "dead_dribble")


def doubted(p: PlayTables, number: int, score: float) -> PlayTables:
    """The same play with one touch less sure."""
    rows = [row | {"score": score if row["touch"] == number else row["score"]} for row in p.touches.to_pylist()]
    return replace(p, touches=TOUCHES.from_rows(rows))


def test_a_doubtful_hold_that_no_pass_could_reach_is_none():
    t = times(end_s=4.0)
    holds = ((0, 0.0, 1.5), (1, 1.52, 2.5), (0, 2.52, 4.0))
    p = play({0: still(t, 24, 5), 1: still(t, 24, -15)}, t, holds=holds)
    assert len(of_kind(p, "pass")) == 2
    assert not of_kind(doubted(p, 1, 0.4), "pass")
    assert len(of_kind(doubted(p, 1, 0.4), "touch")) == 1
    thrown_back = ((0, 0.0, 1.2), (1, 1.5, 2.5), (0, 2.8, 4.0))
    flown = play({0: still(t, 24, 5), 1: still(t, 24, -10)}, t, holds=thrown_back)
    assert len(of_kind(doubted(flown, 1, 0.4), "pass")) == 2


def test_a_ball_as_high_as_the_ring_was_a_shot_and_a_doubtful_hold_takes_nothing():
    t = times(end_s=4.0)
    paths = {0: still(t, 24, 5), 6: still(t, 20, 0)}
    p = play(paths, t, holds=((0, 0.0, 2.0), (6, 2.6, 4.0)))
    assert of_kind(ball_seen(p, 6.0), "turnover")
    assert not of_kind(heights(p, lambda s: 11.0 if 2.0 < s < 2.6 else 4.0), "turnover")


def test_ends_that_film_tells_a_little_wrong():
    t = times(end_s=4.0)
    p = play({0: still(t, 20, 5), 6: still(t, 5, 0)}, t)
    early = told(p, ("hold", 0.0, 2.0, 0), ("shot", 2.0, 2.9, 0), ("rebound", 2.75, 3.4, 6), ("hold", 3.4, 4.0, 6))
    assert len(of_kind(early, "rebound")) == 1
    beside = play({0: still(t, 24, 5), 1: along(t, (1.4, 24, 13), (3.0, 24, 3))}, t)
    handed_to = told(beside, ("hold", 0.0, 2.0, 0), ("handoff", 2.0, 2.45, 0), ("hold", 2.45, 4.0, 1))
    assert len(of_kind(handed_to, "handoff")) == 1
    standing = play({0: still(t, 24, 5), 1: still(t, 24, 8)}, t)
    tossed = told(standing, ("hold", 0.0, 2.0, 0), ("handoff", 2.0, 2.45, 0), ("hold", 2.45, 4.0, 1))
    assert not of_kind(tossed, "handoff"), "the receiver of a handoff moves"


def test_who_stops_for_the_ball_and_goes_off_with_it_took_a_handoff():
    t = times(end_s=4.0)
    held = (("hold", 0.0, 2.0, 0), ("handoff", 2.0, 2.1, 0), ("hold", 2.1, 4.0, 1))
    stops = play({0: still(t, 24, 5), 1: along(t, (0.8, 24, 16), (1.6, 24, 8), (2.5, 24, 8), (3.3, 16, 8))}, t)
    assert len(of_kind(told(stops, *held), "handoff")) == 1


@pytest.mark.parametrize(("giver_u", "receiver_u", "count"), [(6.0, 9.5, 0), (9.5, 12.5, 1)])
def test_who_drives_under_the_basket_dumps_the_ball_off(giver_u, receiver_u, count):
    t = times(end_s=4.0)
    paths = {
        0: along(t, (1.0, giver_u + 10, 0), (2.0, giver_u, 0)),
        1: along(t, (1.4, receiver_u, 8), (2.2, receiver_u, 1)),
    }
    p = told(play(paths, t), ("hold", 0.0, 2.0, 0), ("handoff", 2.0, 2.1, 0), ("hold", 2.1, 4.0, 1))
    assert len(of_kind(p, "handoff")) == count
    assert len(of_kind(p, "pass")) == 1 - count
