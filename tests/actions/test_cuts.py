"""Cuts, post-ups, denials and stands on made-up play."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.actions.cuts import CUTS
from pipeline.actions.events import Event
from pipeline.actions.posts import PostUps
from pipeline.actions.runs import corners
from pipeline.actions.view_building import possession_views
from pipeline.ball.imported_ball import PlayTables
from tests.actions.made_up import NBA, RULES, along, found, of_kind, play, times

Stops = tuple[tuple[float, float, float], ...]


def cut(
    *way: tuple[float, float],
    speed_ft_s: float = 13.0,
    ball: Stops = ((0, 28, 8),),
    others: dict[int, Stops] | None = None,
    passer: bool = False,
    step_s: float = 0.08,
    side: int = 1,
    end: str = "left",
) -> PlayTables:
    """Player 1 runs a way from 1 s on; the ball is with 0, or 1 has passed it to him just before."""
    t = times(step_s, end_s=6.0)
    legs = np.hypot(*np.diff(np.array(way), axis=0).T)
    at = 1.5 + np.concatenate([[0.0], np.cumsum(legs)]) / speed_ft_s
    runner = along(t, *((float(a), u, side * v) for a, (u, v) in zip(at, way, strict=True)))
    paths = {0: along(t, *((a, u, side * v) for a, u, v in ball)), 1: runner}
    paths |= {who: along(t, *((a, u, side * v) for a, u, v in stops)) for who, stops in (others or {}).items()}
    holds = ((1, 0.0, 0.8), (0, 1.4, 6.0)) if passer else ((0, 0.0, 6.0),)
    return play(paths, t, holds=holds, end=end)


def cuts_of(p: PlayTables) -> list[Event]:
    return [e for e in found(p) if e.kind in CUTS and e.actor("cutter") == 1]


SHAPES = {
    "zipper_cut": cut(( 3.0, 8.0), (26.0, 7.0)),
    "iverson_cut": cut((16, 21), (17, 8), (17, -8), (16, -21), ball=((0, 30, 0),)),
    "loop_cut": cut((25, 8), (15, 0), (12, -18), ball=((0, 14, 21),), passer=True),
    "ucla_cut": cut((26, 9), (14, 10), (3, 9), ball=((0, 14, 21),), passer=True, others={2: ((0, 14, 6.5),)}),
    "basket_cut": cut((24, 4), (2, 1), ball=((0, 14, 21),)),
    "deep_cut": cut((20, 19), (2, 16), (19, 21), ball=((0, 28, 0),)),
    "flash_cut": cut((3, -9), (15, 0), ball=((0, 22, 16),)),
    "shallow_cut": cut((15, 21), (26, 6), ball=((0, 27, 0), (1.4, 27, 0), (3.0, 17, 18))),
}  # fmt: skip


@pytest.mark.parametrize("kind", SHAPES)
def test_each_shape_has_its_name_and_no_other(kind):
    (one,) = cuts_of(SHAPES[kind])
    assert one.kind == kind
    assert one.start_s == pytest.approx(1.5, abs=0.2)
    assert one.measures["top_speed_ft_s"] == pytest.approx(13, abs=0.6)


def test_a_ball_that_comes_his_way_makes_no_flash():
    coming = ((0, 22, -21), (1.5, 22, -21), (2.2, 19, -10))
    assert not cuts_of(cut((4.5, 4.7), (13, 7.8), ball=coming))


def test_who_was_at_an_elbow_already_does_not_flash_to_the_other():
    assert not cuts_of(cut((12.3, 8.0), (13, -4.0), ball=((0, 22, -16),)))
    (flash,) = cuts_of(cut((8.0, 14.0), (13, -4.0), ball=((0, 22, -16),)))
    assert flash.kind == "flash_cut"


def test_a_run_to_the_ring_with_the_ball_in_reach_is_no_cut():
    """One body seen twice, a foot and a half apart: the ball is told of the other track."""
    beside = ((0, 24, 5.5), (1.5, 24, 5.5), (3.2, 2, 2.5))
    assert not cuts_of(cut((24, 4), (2, 1), ball=beside))


def test_a_back_cut_is_denied_first():
    way = ((18, 20), (3, 3))
    denier = ((0, 18, 17), (1.5, 18, 17), (3.2, 8, 10))
    (back,) = cuts_of(cut(*way, ball=((0, 24, 2),), others={5: denier}))
    assert back.kind == "back_cut"
    (free,) = cuts_of(cut(*way, ball=((0, 24, 2),), others={5: ((0, 8, 8),)}))
    assert free.kind == "basket_cut"


@pytest.mark.parametrize(
    ("way", "end"),
    [
        (((3, 8), (14, 8), (26, 6)), "straight"),
        (((3, 8), (15, 8), (18, 5), (14, 1), (6, 0)), "curl"),
        (((3, 8), (15, 8), (20, 2), (21, -9)), "curl"),
        (((3, 8), (14, 8.5), (17, 21)), "fade"),
    ],
)
@pytest.mark.parametrize("side", [1, -1])
def test_how_a_zipper_ends(way, end, side):
    (one,) = cuts_of(cut(*way, ball=((0, 29, -6),), side=side))
    assert one.kind == "zipper_cut"
    assert one.traits["end"] == end
    assert one.measures["rise_ft"] == pytest.approx(max(u for u, _ in way) - 3, abs=0.7)


def test_a_zipper_past_the_inner_side_of_a_standing_screener_is_rejected():
    way = ((3, 8), (14, 4), (26, 3))
    (one,) = cuts_of(cut(*way, ball=((0, 29, -6),), others={2: ((0, 12, 8.5),)}))
    assert one.traits["end"] == "rejected"


def test_a_defender_on_the_cutters_way_trails():
    way = ((3, 8), (26, 7))
    behind = ((0, 1, 8), (1.8, 1, 8), (3.6, 23, 7))
    ahead = ((0, 9, 3), (1.5, 9, 3), (3.0, 22, 2))
    trailed, beaten = (cuts_of(cut(*way, ball=((0, 29, -6),), others={5: d}))[0] for d in (behind, ahead))
    assert (trailed.traits["defender_trails"], trailed.traits["end_right"]) == ("yes", "no")
    assert (beaten.traits["defender_trails"], beaten.traits["end_right"]) == ("no", "yes")


@pytest.mark.parametrize("way", [((60, 5), (40, 5)), ((24, 8), (20, 8)), ((3, 22), (12, 22))])
def test_running_up_the_floor_and_small_moves_are_no_cuts(way):
    assert not cuts_of(cut(*way))


def test_a_walk_is_no_cut():
    assert not cuts_of(cut((24, 4), (2, 1), speed_ft_s=5.0))


@pytest.mark.parametrize("step_s", [1 / 30, 0.1, 0.2])
def test_any_frame_rate_gives_the_same_cut(step_s):
    way = ((3, 8), (15, 8), (18, 5), (14, 1), (6, 0))
    (one,) = cuts_of(cut(*way, ball=((0, 29, -6),)))
    (other,) = cuts_of(cut(*way, ball=((0, 29, -6),), step_s=step_s))
    assert (one.kind, one.traits["end"]) == (other.kind, other.traits["end"])
    assert other.t_s == pytest.approx(one.t_s, abs=0.15)
    for name in ("start_u_ft", "end_u_ft", "rise_ft", "length_ft"):
        assert other.measures[name] == pytest.approx(one.measures[name], abs=0.7), name


@settings(max_examples=15, deadline=None)
@given(st.floats(2, 26), st.floats(-22, 22), st.floats(2, 26), st.floats(-22, 22), st.sampled_from(["left", "right"]))
def test_mirrored_play_has_the_same_cuts(u1, v1, u2, v2, end):
    way = ((u1, v1), (u2, v2), (u1, v2))
    one = cuts_of(cut(*way))
    other = cuts_of(cut(*way, side=-1, end=end))
    assert [(e.kind, e.t_s) for e in one] == [(e.kind, e.t_s) for e in other]
    for a, b in zip(one, other, strict=True):
        assert dict(a.traits) == dict(b.traits)
        assert a.measures["end_v_ft"] == pytest.approx(-b.measures["end_v_ft"], abs=1e-6)


def test_corners_of_a_path():
    bent = np.array([[0.0, 0], [5, 0], [10, 0], [10, 5], [10, 10]])
    assert corners(bent, 1.0) == [2]
    assert corners(bent[:3], 1.0) == []
    assert corners(bent[:1], 1.0) == []
    assert corners(np.zeros((5, 2)), 1.0) == []


# ---- in place ----------------------------------------------------------------------------------------------------


def post(
    place: tuple[float, float], *, guard_ft: float = 2.5, caught: bool = True, until_s: float = 5.0
) -> list[Event]:
    t = times(end_s=until_s)
    u, v = place
    paths = {
        0: along(t, (0, 14, 21)),
        1: along(t, (0, u, v)),
        5: along(t, (0, u, v - guard_ft)),
        6: along(t, (0, 12, 17)),
    }
    holds = ((0, 0.0, 1.5), (1, 2.2, until_s)) if caught else ((0, 0.0, until_s),)
    return of_kind(play(paths, t, holds=holds), "post_up")


def test_a_post_up_is_where_the_ball_comes_in_with_a_man_on_the_back():
    (one,) = post((4, 10))
    assert (one.actor("poster"), one.actor("post_defender")) == (1, 5)
    assert one.t_s == pytest.approx(2.2, abs=0.05)
    assert one.start_s < 0.1
    assert one.measures["catch_ring_ft"] == pytest.approx(np.hypot(4, 10), abs=0.1)
    assert one.measures["defender_gap_ft"] == pytest.approx(2.5, abs=0.1)
    assert one.traits["caught"] == "yes"
    assert post((10, 11))
    assert not post((4, 10), guard_ft=5.5)
    assert not post((22, 10))


@pytest.mark.parametrize(("missing", "count"), [((5,), 1), ((5, 9), 1), ((), 0)])
def test_a_guard_who_goes_out_of_sight_on_his_back_is_still_on_him(missing, count):
    t = times(end_s=5.0)
    guard = along(t, (0, 4, 7.5))
    guard[t > 1.8] = np.nan if missing else (20.0, 0.0)
    paths = {0: along(t, (0, 14, 21)), 1: along(t, (0, 4, 10)), 5: guard, 6: along(t, (0, 12, 17))}
    if 9 in missing:
        paths[9] = np.full((len(t), 2), np.nan)
    found = of_kind(play(paths, t, holds=((0, 0.0, 1.5), (1, 2.2, 5.0))), "post_up")
    assert sum(one.end_s > 4.5 for one in found) == count
    for one in found:
        assert one.actor("post_defender") == 5
        assert one.score < (0.8 if count else 1.01)


@pytest.mark.parametrize(("hidden", "count"), [((2.0, 3.2), 1), ((2.9, 3.2), 0), ((3.4, 4.6), 0)])
def test_a_catch_out_of_sight_at_the_post_is_as_late_as_the_ball_is_seen_again(hidden, count):
    t = times(0.04, end_s=6.0)
    paths = {
        0: along(t, (0, 14, 21)), 1: along(t, (0, 2, 21), (1.5, 2, 21), (2.5, 4, 10)),
        5: along(t, (0, 4, 18), (1.5, 4, 18), (2.5, 5, 8)), 6: along(t, (0, 12, 17)),
    }  # fmt: skip
    p = play(paths, t, holds=((1, 0.0, 6.0),))
    (view,) = possession_views(p.tracks, p.ball, p.touches, p.possessions, NBA, RULES)
    view = replace(view, ball_seen=(view.t_s < hidden[0]) | (view.t_s > hidden[1]))
    posts = PostUps().find(view, [], RULES)
    assert len(posts) == count
    for post_up in posts:
        assert post_up.t_s == pytest.approx(hidden[1], abs=0.1)
        assert post_up.measures["catch_ring_ft"] == pytest.approx(np.hypot(4, 10), abs=0.3)


@pytest.mark.parametrize(("u", "v", "shoots_s", "count"), [(4.0, 4.0, 3.4, 0), (4.0, 4.0, 4.2, 1), (4.0, 9.0, 3.4, 1)])
def test_who_catches_in_the_lane_and_shoots_at_once_finishes(u, v, shoots_s, count):
    t = times(0.04, end_s=6.0)
    guard = along(t, (0, u, v - 2.5), (shoots_s, u, v - 2.5), (shoots_s + 0.2, 15, 0))
    paths = {0: along(t, (0, 14, 21)), 1: along(t, (0, u, v)), 5: guard, 6: along(t, (0, 12, 17))}
    assert len(of_kind(play(paths, t, holds=((0, 0.0, 1.5), (1, 2.2, shoots_s))), "post_up")) == count


@pytest.mark.parametrize(("pause_s", "count"), [(0.6, 1), (1.6, 2)])
def test_a_post_up_goes_on_after_a_pause(pause_s, count):
    t = times(0.04, end_s=8.0)
    steps = (3.6, 3.7, 3.6 + pause_s, 3.7 + pause_s)
    guard = along(t, *((s, 4, v) for s, v in zip((0, *steps), (7.5, 7.5, 2.5, 2.5, 7.5), strict=True)))
    paths = {0: along(t, (0, 14, 21)), 1: along(t, (0, 4, 10)), 5: guard, 6: along(t, (0, 12, 17))}
    holds = ((0, 0.0, 1.5), (1, 2.2, 3.6), (1, 3.6 + pause_s, 8.0))
    assert len(of_kind(play(paths, t, holds=holds), "post_up")) == count


@pytest.mark.parametrize(("gives_s", "count"), [(4.5, 1), (2.6, 0)])
def test_who_gives_the_ball_on_at_once_has_not_posted_up(gives_s, count):
    t = times(end_s=5.0)
    paths = {0: along(t, (0, 14, 21)), 1: along(t, (0, 4, 10)), 5: along(t, (0, 4, 7.5)), 6: along(t, (0, 12, 17))}
    holds = ((0, 0.0, 1.5), (1, 2.2, gives_s), (0, gives_s + 0.5, 5.0))
    assert len(of_kind(play(paths, t, holds=holds), "post_up")) == count


def test_of_two_touches_at_the_post_the_longer_one_is_the_post_up():
    t = times(end_s=6.0)
    paths = {0: along(t, (0, 14, 21)), 1: along(t, (0, 4, 10)), 5: along(t, (0, 4, 7.5)), 6: along(t, (0, 12, 17))}
    (one,) = of_kind(play(paths, t, holds=((1, 0.0, 0.3), (0, 0.8, 2.5), (1, 3.2, 6.0))), "post_up")
    assert one.t_s == pytest.approx(3.2, abs=0.1)


def test_waiting_at_the_post_is_a_post_up_only_after_long():
    assert not post((4, 10), caught=False, until_s=3.5)
    (waits,) = post((4, 10), caught=False, until_s=5.0)
    assert waits.traits["caught"] == "no"
    assert np.isnan(waits.measures["catch_ring_ft"])
    assert not post((4, -10), caught=False)


def denied(defender: tuple[float, float], *, receiver: tuple[float, float] = (16, 20)) -> list[Event]:
    t = times()
    paths = {0: along(t, (0, 26, 0)), 1: along(t, (0, *receiver)), 5: along(t, (0, *defender)), 6: along(t, (0, 22, 0))}
    return [e for e in of_kind(play(paths, t), "denial") if e.actor("receiver") == 1]


def test_denial_is_near_the_man_and_in_the_way_of_the_pass():
    (one,) = denied((18, 17))
    assert (one.actor("receiver_defender"), one.actor("handler")) == (5, 0)
    assert one.measures["gap_ft"] == pytest.approx(np.hypot(2, 3), abs=0.05)
    assert one.measures["line_gap_ft"] < 1.5
    assert not denied((20.5, 11))  # in the way, but off the man
    assert not denied((11.5, 18))  # on the man, but off the way
    assert not denied((15, 22))  # behind him
    assert not denied((9, 2), receiver=(7, 1))  # deep in the paint


def test_a_short_moment_is_no_denial():
    t = times()
    passing = along(t, (0, 6, 12), (1.0, 6, 12), (1.6, 22, 20), (4, 22, 20))
    p = play({0: along(t, (0, 26, 0)), 1: along(t, (0, 16, 20)), 5: passing}, t)
    assert not [e for e in of_kind(p, "denial") if e.actor("receiver") == 1]


def test_a_denial_between_unsure_places_needs_longer():
    t = times()
    passing = along(t, (0, 6, 12), (1.0, 6, 12), (1.5, 18, 17), (2.05, 18, 17), (2.5, 6, 12))
    paths = {0: along(t, (0, 26, 0)), 1: along(t, (0, 16, 20)), 5: passing}

    def spells(sigma_ft: float) -> int:
        return len([e for e in of_kind(play(paths, t, sigma_ft=sigma_ft), "denial") if e.actor("receiver") == 1])

    assert spells(0.0) == 1
    assert spells(0.2) == 1
    assert spells(2.0) == 0


def test_two_at_the_elbows_stand_there():
    t = times()
    p = play({0: along(t, (0, 28, 0)), 1: along(t, (0, 14, 8)), 2: along(t, (0, 2, 20), (1, 2, 20), (2, 14, -8))}, t)
    stands = {e.actor("player"): e for e in of_kind(p, "stand") if e.traits["place"] == "elbow"}
    assert set(stands) == {1, 2}
    assert stands[1].measures["lasted_s"] == pytest.approx(4.0, abs=0.1)
    assert stands[2].start_s == pytest.approx(2.0, abs=0.3)
