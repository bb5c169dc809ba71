"""Every fault on made-up play: there when its rule holds, gone with the near miss, silent where nothing was seen.

The actions that a situation belongs to are given as they would be found, so that only the spacing room is looked at.
"""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.actions.events import Event
from pipeline.actions.view_building import possession_views
from pipeline.actions.vocabulary import KIND, UNKNOWN, measure_names, trait_names
from pipeline.spacing.faults import MOMENTS, SPELLS, faults_of
from pipeline.spacing.rules import sentence_of, severity_of
from pipeline.spacing.scene import scene
from pipeline.spacing.settings import SpacingSettings, shipped_faults
from pipeline.spacing.situations import SITUATIONS
from pipeline.spacing.spells import moments_of
from tests.actions.made_up import NBA, RULES, along, play, times

MEASURING = SpacingSettings()
LIBRARY = {rule.name: rule for rule in shipped_faults().library}
T = times(step_s=0.04, end_s=6.0)


def action(kind, start_s, t_s, end_s, actors, measures=None, traits=None):
    """An action as a recogniser would emit it; what is not given is unknown."""
    known = dict.fromkeys(measure_names(kind), float("nan")) | {"sigma_ft": 0.0} | (measures or {})
    said = dict.fromkeys(trait_names(kind), UNKNOWN) | (traits or {})
    assert set(known) == set(measure_names(kind)), set(known) - set(measure_names(kind))
    assert {role for role, _ in actors} <= set(KIND[kind].roles)
    return Event(kind, 0, 0, start_s, end_s, t_s, tuple(actors), (20.0, 25.0), "left", known, 1.0, said)


def stand(u, v):
    return np.tile((float(u), float(v)), (len(T), 1))


def view_of(paths, *, holds=(), sigma_ft=0.0):
    p = play(paths, T, holds=holds, sigma_ft=sigma_ft)
    (view,) = possession_views(p.tracks, p.ball, p.touches, p.possessions, NBA, RULES)
    return replace(view, half_court_s=float(view.t_s[0]))


def found(name, paths, actions=(), **about):
    return faults_of(scene(view_of(paths, **about), actions, MEASURING), (LIBRARY[name],))


# ---- screen into traffic ---------------------------------------------------------------------------------------------


def turned(bodies):
    """The handler turns the corner at 3 s, 24 ft out, with so many bodies standing on his way."""
    spots = [(15.0, 2.0), (10.0, -3.0), (6.0, 4.0), (3.0, -2.0)]
    paths = {0: along(T, (2.5, 26, 8), (3.5, 18, 4)), 1: stand(26, 5), 5: stand(27, 8)}
    paths |= {who: stand(*spots[n]) for n, who in enumerate((6, 2, 7, 3)) if n < bodies}
    screen = action("on_ball_screen", 2, 2.5, 3, [("handler", 0), ("screener", 1)])
    corner = action("corner_turned", 3, 3, 3.3, [("handler", 0), ("screener", 1)])
    return paths, (screen, corner)


@pytest.mark.parametrize("bodies", range(5))
def test_bodies_on_the_way_make_traffic(bodies):
    faults = found("screen_into_traffic", *turned(bodies))
    assert len(faults) == (bodies >= 3)
    if faults:
        assert faults[0].measures["bodies_on_way"] == bodies
        assert faults[0].t_s == pytest.approx(3.0)
        assert len([r for r, _ in faults[0].actors if r == "on_way"]) == bodies


def test_who_runs_past_or_stands_behind_is_not_on_the_way():
    paths, actions = turned(3)
    runs = {**paths, 2: along(T, (2, 10, -13), (4, 10, 7))}
    assert not found("screen_into_traffic", runs, actions)
    behind = {**paths, 2: stand(28, 6)}
    assert not found("screen_into_traffic", behind, actions)


@pytest.mark.parametrize(("at_s", "u", "count"), [(2.6, 5.0, 1), (5.0, 5.0, 0), (2.6, 20.0, 0)])
def test_another_screen_in_the_paint_at_the_same_time_is_traffic(at_s, u, count):
    paths, (screen, _) = turned(0)
    other = action("off_ball_screen", at_s - 0.5, at_s, at_s + 0.5, [("screener", 2), ("cutter", 3)])
    faults = found("screen_into_traffic", {**paths, 2: stand(u, -4), 3: stand(u, -8)}, (screen, other))
    assert len(faults) == count


# ---- catches, touches, post-ups --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("u", "v", "traits", "severity"),
    [
        (22.0, 18.5, {"type": "other"}, "fault"),
        (25.0, 18.0, {"type": "other"}, "severe"),
        (20.0, 18.0, {"type": "other"}, None),
        (29.0, 3.0, {"type": "other"}, None),
        (29.0, 3.0, {"type": "other", "returned": "yes"}, "fault"),
    ],
)
def test_pushed_out_catches(u, v, traits, severity):
    far = float(np.hypot(u, v))
    caught = action(
        "pass", 2, 2.5, 2.5, [("passer", 0), ("receiver", 1)],
        {"catch_ring_ft": far, "catch_above_line_ft": u - 13.75, "length_ft": 20.0}, {"returned": "no", **traits},
    )  # fmt: skip
    faults = found("pushed_out_catch", {0: stand(24, 0), 1: stand(u, v), 2: stand(10, -20), 3: stand(5, 20)}, [caught])
    assert [severity_of(f, LIBRARY["pushed_out_catch"]).value for f in faults] == ([severity] if severity else [])


@pytest.mark.parametrize(("length_ft", "flight_s", "count"), [(22.0, 0.5, 1), (22.0, 0.0, 0), (5.0, 0.1, 0)])
def test_no_pass_is_faster_than_the_ball_and_none_is_handed(length_ft, flight_s, count):
    caught = action(
        "pass", 2.5 - flight_s, 2.5, 2.5, [("passer", 0), ("receiver", 1)],
        {"catch_ring_ft": 29.0, "catch_above_line_ft": 15.0, "length_ft": length_ft, "flight_s": flight_s},
        {"returned": "yes", "type": "other"},
    )  # fmt: skip
    assert len(found("pushed_out_catch", {0: stand(10, 10), 1: stand(29, 0)}, [caught])) == count


def test_a_catch_says_who_denied_it():
    caught = action(
        "pass", 2, 2.5, 2.5, [("passer", 0), ("receiver", 1)],
        {"catch_ring_ft": 29.0, "catch_above_line_ft": 9.0, "length_ft": 20.0}, {"returned": "yes", "type": "other"},
    )  # fmt: skip
    denial = action("denial", 1, 1, 2, [("receiver", 1), ("receiver_defender", 6)], {"lasted_s": 1.0})
    (fault,) = found("pushed_out_catch", {0: stand(24, 0), 1: stand(23, 17)}, [caught, denial])
    told = sentence_of(fault, LIBRARY["pushed_out_catch"], {1: "Number 11", 6: "number 4"}.get)
    assert told == (
        "Number 11 catches 29 feet from the ring, 9 feet above the free-throw line extended. "
        "Number 4 denied him before it."
    )


@pytest.mark.parametrize(
    ("held_s", "place", "then", "seen", "count"),
    [
        (2.6, "top", "pass", True, 1), (2.4, "top", "pass", True, 0), (2.6, "wing", "pass", True, 0),
        (2.6, "slot", "shot", True, 0), (2.6, "slot", "handoff", True, 0), (2.6, "slot", None, True, 1),
        (5.5, "slot", None, True, 0), (2.6, "top", "pass", False, 0),
    ],
)  # fmt: skip
def test_a_stalled_ball_is_held_still_at_the_top_and_then_goes_on(held_s, place, then, seen, count):
    touch = action("touch", 0.0, 0.0, held_s, [("handler", 0)], {"held_s": held_s}, {"place": place})
    actors = {
        "pass": [("passer", 0), ("receiver", 1)], "handoff": [("giver", 0), ("receiver", 1)], "shot": [("shooter", 0)],
    }  # fmt: skip
    after = [action(then, held_s, held_s + 0.5, held_s + 0.5, actors[then])] if then else []
    view = view_of({0: stand(24, 0)}, holds=[(0, 0.0, held_s)])
    view = replace(view, dribble=np.full(len(T), 0 if seen else -1, np.int8))
    assert len(faults_of(scene(view, [touch, *after], MEASURING), (LIBRARY["stalled_ball"],))) == count


@pytest.mark.parametrize(("unseen_s", "count"), [(0.4, 1), (0.8, 0)])
def test_a_ball_that_is_out_of_sight_for_a_while_may_have_been_passed_on_and_back(unseen_s, count):
    touch = action("touch", 0.0, 0.0, 4.0, [("handler", 0)], {"held_s": 4.0, "still_s": 4.0}, {"place": "top"})
    after = action("pass", 4.0, 4.5, 4.5, [("passer", 0), ("receiver", 1)])
    seen = np.where((T > 2.0) & (unseen_s > T - 2.0), -1, 0).astype(np.int8)
    view = replace(view_of({0: stand(24, 0)}, holds=[(0, 0.0, 4.0)]), dribble=seen)
    assert len(faults_of(scene(view, [touch, after], MEASURING), (LIBRARY["stalled_ball"],))) == count


@pytest.mark.parametrize(
    ("way_ft", "held_s", "extra", "count"),
    [
        (0.0, 2.5, None, 1),
        (5.0, 2.5, None, 1),
        (9.0, 2.5, None, 0),
        (0.0, 1.5, None, 0),
        (0.0, 2.5, "off_ball_screen", 0),
        (0.0, 2.5, "basket_cut", 0),
    ],
)
def test_a_post_up_without_movement(way_ft, held_s, extra, count):
    moves = along(T, (1, 24, 0), (3, 24, way_ft))
    paths = {0: stand(4, 9), 1: moves, 2: stand(20, 17), 3: stand(20, -17), 4: stand(2, -21)}
    holds = ((2, 0.0, 0.6), (0, 1.0, 1.0 + held_s), (2, 1.6 + held_s, 6.0))
    post = action("post_up", 1, 1, 5, [("poster", 0)], {"held_s": 4.0}, {"caught": "yes"})
    others = {
        None: [],
        "off_ball_screen": [action("off_ball_screen", 1.5, 2, 2.5, [("screener", 2), ("cutter", 1)])],
        "basket_cut": [action("basket_cut", 1.5, 2, 2.5, [("cutter", 2)])],
    }[extra]
    assert len(found("post_up_without_movement", paths, [post, *others], holds=holds)) == count


def test_a_post_up_that_never_gets_the_ball_is_another_matter():
    paths = {0: stand(4, 9), 1: stand(24, 0), 2: stand(20, 17), 3: stand(20, -17), 4: stand(2, -21)}
    post = action("post_up", 1, 1, 5, [("poster", 0)], {"held_s": 4.0}, {"caught": "no"})
    assert not found("post_up_without_movement", paths, [post], holds=((2, 0.0, 6.0),))


def test_a_post_up_is_not_judged_where_one_of_the_four_was_not_seen():
    post = action("post_up", 1, 1, 4, [("poster", 0)], {"held_s": 3.0}, {"caught": "yes"})
    paths = {0: stand(4, 9), 1: stand(24, 0), 2: stand(20, 17), 3: stand(20, -17)}
    assert found("post_up_without_movement", {**paths, 4: stand(2, -21)}, [post])
    assert not found("post_up_without_movement", {**paths, 4: np.full((len(T), 2), np.nan)}, [post])


# ---- screeners and handlers ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ends", "extra", "count"),
    [
        ((2, 21), None, 1),
        ((20, 17), None, 0),
        ((2, 21), "pass", 0),
        ((2, 21), "screen", 0),
        ((2, 21), "cut", 0),
    ],
)
def test_a_wasted_cutter(ends, extra, count):
    paths = {0: stand(24, 0), 1: along(T, (1, 8, 8), (3, *ends)), 2: stand(20, -17)}
    screen = action("off_ball_screen", 0.6, 1, 1.4, [("screener", 1), ("cutter", 2)])
    others = {
        None: [],
        "pass": [action("pass", 2, 2.5, 2.5, [("passer", 0), ("receiver", 1)])],
        "screen": [action("on_ball_screen", 2, 2.5, 3, [("handler", 0), ("screener", 1)])],
        "cut": [action("off_ball_screen", 2, 2.5, 3, [("screener", 2), ("cutter", 1)])],
    }[extra]
    assert len(found("wasted_cutter", paths, [screen, *others])) == count


def test_a_pass_thrown_in_time_saves_the_screener():
    paths = {0: stand(24, 0), 1: along(T, (1, 8, 8), (3, 2, 21)), 2: stand(20, -17)}
    screen = action("off_ball_screen", 0.6, 1, 1.4, [("screener", 1), ("cutter", 2)])
    late = action("pass", 3.8, 4.3, 4.3, [("passer", 0), ("receiver", 1)])
    assert not found("wasted_cutter", paths, [screen, late])


def test_a_possession_that_ends_too_soon_tells_nothing_of_the_screener():
    paths = {0: stand(24, 0), 1: stand(2, 21), 2: stand(20, -17)}
    screen = action("off_ball_screen", 4, 4.5, 5, [("screener", 1), ("cutter", 2)])
    assert not found("wasted_cutter", paths, [screen])


@pytest.mark.parametrize(("lost_s", "count"), [(3.5, 1), (2.0, 0)])
def test_who_leaves_the_picture_in_the_corner_is_in_the_corner(lost_s, count):
    drifts = along(T, (1, 8, 8), (3, 2, 21))
    drifts[lost_s < T] = np.nan
    screen = action("off_ball_screen", 0.6, 1, 1.4, [("screener", 1), ("cutter", 2)])
    assert len(found("wasted_cutter", {0: stand(24, 0), 1: drifts, 2: stand(20, -17)}, [screen])) == count


@pytest.mark.parametrize(("set_s", "count"), [(2.5, 1), (0.8, 0)])
def test_a_screen_for_a_dead_dribble(set_s, count):
    way = along(T, (set_s - 1.2, 12, 8), (set_s - 0.15, 23.5, 3.0))
    paths = {0: stand(24, 0), 1: way, 5: stand(21.5, 0.5)}
    dead = action("dead_dribble", 1.5, 1.5, 4, [("handler", 0)], {"held_s": 2.5})
    faults = found("dead_dribble_early", paths, [dead])
    assert len(faults) == count
    for fault in faults:
        assert fault.measures["screener_set_after_s"] == pytest.approx(set_s - 1.5, abs=0.25)
        assert fault.actor("screener") == 1


@pytest.mark.parametrize(
    ("moves", "at_go_ft_s", "stops_s", "slipped", "sigma_ft", "count"),
    [
        (True, 7.0, 2.9, "no", 0.0, 1),
        (False, 7.0, 2.9, "no", 0.0, 0),
        (True, 2.0, 2.9, "no", 0.0, 0),
        (True, 7.0, 3.5, "no", 0.0, 0),
        (True, 7.0, 3.5, "no", 0.6, 1),
        (True, 7.0, 4.5, "no", 0.6, 0),
        (True, 7.0, 2.9, "yes", 0.0, 0),
        (True, 7.0, 2.9, "no", 1.5, 0),
    ],
)
def test_leaving_early(moves, at_go_ft_s, stops_s, slipped, sigma_ft, count):
    screener = along(T, (1, 14, 8), (stops_s, 14 + 6 * (stops_s - 1), 8 - 2 * (stops_s - 1))) if moves else stand(22, 5)
    screen = action(
        "on_ball_screen", 2, 2.5, 3, [("handler", 0), ("screener", 1)],
        {"screener_speed_ft_s": at_go_ft_s, "closest_ft": 3.0, "sigma_ft": sigma_ft},
        {"slipped": slipped, "left_early": "yes"},
    )  # fmt: skip
    assert len(found("left_early", {0: stand(24, 0), 1: screener}, [screen])) == count


@pytest.mark.parametrize(
    ("off_deg", "radius_ft", "trails", "count"),
    [
        (20.0, 4.0, "yes", 0), (45.0, 4.0, "yes", 1), (20.0, 8.0, "yes", 1), (45.0, 8.0, "no", 0),
        (45.0, 8.0, UNKNOWN, 0), (45.0, float("nan"), "yes", 0),
    ],
)  # fmt: skip
def test_a_wide_curl(off_deg, radius_ft, trails, count):
    cut = action(
        "zipper_cut", 1, 2, 3, [("cutter", 1)], {"turn_off_ring_deg": off_deg, "turn_radius_ft": radius_ft},
        {"end": "curl", "defender_trails": trails},
    )  # fmt: skip
    assert len(found("wide_curl", {1: stand(20, 3)}, [cut])) == count


def test_unsure_places_do_not_make_one_walk_who_stands():
    paths = {0: stand(24, 0), 1: stand(20, 14) + 0.3 * np.column_stack([np.sin(4 * T), np.cos(5 * T)])}
    sure, unsure = (scene(view_of(paths, sigma_ft=sigma_ft), (), MEASURING) for sigma_ft in (0.0, 0.4))
    assert unsure.path_ft(1, 1.0, 5.0) < 0.5 * sure.path_ft(1, 1.0, 5.0)
    walks = scene(view_of({0: stand(24, 0), 1: along(T, (1, 20, 14), (5, 20, -2))}, sigma_ft=0.4), (), MEASURING)
    assert walks.path_ft(1, 1.0, 5.0) == pytest.approx(16, rel=0.1)


# ---- spells ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("gap_ft", "lasts_s", "count"), [(6.0, 2.0, 1), (6.0, 1.2, 0), (9.0, 3.0, 0)])
def test_twins_are_near_for_long_enough(gap_ft, lasts_s, count):
    away = along(T, (0.99, 20, 24), (1.0, 20, 14 + gap_ft), (1.0 + lasts_s, 20, 14 + gap_ft), (1.01 + lasts_s, 20, 24))
    faults = found("twins", {0: stand(24, -10), 1: stand(20, 14), 2: away})
    assert len(faults) == count
    for fault in faults:
        assert fault.measures["gap_ft"] == pytest.approx(gap_ft, abs=0.3)
        assert fault.measures["lasted_s"] == pytest.approx(lasts_s, abs=0.15)
        assert {track for _, track in fault.actors} == {1, 2}


@pytest.mark.parametrize(
    "explained",
    [
        action("off_ball_screen", 2, 2.5, 3, [("screener", 1), ("cutter", 2)]),
        action("handoff", 2, 2.5, 3, [("giver", 2), ("receiver", 1)]),
        action("shallow_cut", 0, 3, 6, [("cutter", 2)]),
    ],
    ids=lambda event: event.kind,
)
def test_twins_are_none_who_screen_hand_off_or_cut(explained):
    paths = {0: stand(24, -10), 1: stand(20, 14), 2: stand(20, 20)}
    assert found("twins", paths)
    assert not found("twins", paths, [explained])


def test_twins_after_the_possession_are_none():
    away = along(T, (4.0, 20, 24), (4.2, 20, 20))
    view = view_of({0: stand(24, -10), 1: stand(20, 14), 2: away})
    assert faults_of(scene(view, (), MEASURING), (LIBRARY["twins"],))
    assert not faults_of(scene(replace(view, end_s=5.0), (), MEASURING), (LIBRARY["twins"],))


def test_twins_told_once_though_unsure_places_part_them_for_a_moment():
    away = along(T, (2.4, 20, 20), (2.6, 20, 24), (3.2, 20, 24), (3.4, 20, 20))
    (fault,) = found("twins", {0: stand(24, -10), 1: stand(20, 14), 2: away})
    assert fault.end_s == pytest.approx(T[-1], abs=0.1)


def test_two_inside_or_bringing_the_ball_up_are_no_twins():
    assert not found("twins", {0: stand(24, -10), 1: stand(8, 8), 2: stand(8, 13)})
    assert not found("twins", {0: stand(24, -10), 1: stand(36, 8), 2: stand(36, 13)})


@pytest.mark.parametrize(("fourth", "count"), [((4, 9), 1), ((4, 2), 0), ((4, -9), 0)])
@pytest.mark.parametrize("mirror", [1, -1])
def test_an_overloaded_side(fourth, count, mirror):
    spots = [(20, 14), (24, 7), (2, 21), fourth, (20, -17)]
    faults = found("overloaded_side", {n: stand(u, v * mirror) for n, (u, v) in enumerate(spots)})
    assert len(faults) == count
    assert all(f.actor("handler") == 0 for f in faults)


def spread_out(factor):
    """The ball comes inside 28 ft at about 2.5 s; the defenders stand ``factor`` times as far from the ring."""
    spots = {1: (20, 16), 2: (20, -16), 3: (2, 21), 4: (2, -21)}
    paths = {0: along(T, (1, 40, 0), (4, 16, 0)), **{n: stand(*spot) for n, spot in spots.items()}}
    return {**paths, 5: stand(14, 0), **{n + 5: factor * stand(*spot) for n, spot in spots.items()}}


@pytest.mark.parametrize(("factor", "count"), [(0.7, 0), (1.15, 1)])
def test_shrunk_spacing(factor, count):
    faults = found("shrunk_spacing", spread_out(factor))
    assert len(faults) == count
    for fault in faults:
        assert fault.t_s == pytest.approx(2.5, abs=0.2)
        assert fault.measures["hull_lead_ft2"] < 0


def test_shrunk_spacing_needs_all_five_attackers_and_a_defence_that_is_surely_wider():
    unseen = np.full((len(T), 2), np.nan)
    assert not found("shrunk_spacing", {**spread_out(1.15), 9: unseen})
    (fault,) = found("shrunk_spacing", {**spread_out(1.6), 9: unseen})
    assert fault.measures["players_placed"] == 9
    assert not found("shrunk_spacing", {**spread_out(1.6), 4: unseen})


@pytest.mark.parametrize(("hole_s", "moves_ft", "count"), [(4.0, 0.0, 1), (4.0, 12.0, 0), (7.0, 0.0, 0)])
def test_who_is_not_placed_for_a_while_and_went_nowhere_stood_there(hole_s, moves_ft, count):
    spots = [(20, 14), (24, 7), (2, 21), (4, 9), (20, -17)]
    paths = {n: stand(*spot) for n, spot in enumerate(spots)}
    paths[3] = np.where((0.5 + hole_s > T)[:, None], stand(4, 9), stand(4 + moves_ft, 9))
    paths[3][(T > 0.5) & (0.5 + hole_s > T)] = np.nan
    faults = found("overloaded_side", paths)
    assert len(faults) == count
    assert all(f.start_s < 0.5 and f.score < 0.6 for f in faults)


def test_the_side_is_overloaded_for_whoever_has_the_ball_longest():
    spots = [(20, 14), (24, 7), (2, 21), (4, 9), (20, -17)]
    paths = {n: stand(*spot) for n, spot in enumerate(spots)}
    (fault,) = found("overloaded_side", paths, holds=[(0, 0.0, 1.5), (2, 2.0, 7.0)])
    assert fault.actor("handler") == 2


def test_unsure_places_lower_the_score():
    paths = spread_out(1.15)
    (sure,), (unsure,) = found("shrunk_spacing", paths), found("shrunk_spacing", paths, sigma_ft=3.0)
    assert sure.score > unsure.score > 0
    near = {0: stand(24, -10), 1: stand(20, 14), 2: stand(20, 21)}
    (sure,), (unsure,) = found("twins", near), found("twins", near, sigma_ft=2.0)
    assert sure.score > 0.95 > unsure.score > 0


def test_what_is_hardly_sure_is_not_told():
    near = {0: stand(24, -10), 1: stand(20, 14), 2: stand(20, 21)}
    one = scene(view_of(near, sigma_ft=2.0), (), MEASURING)
    (told,) = faults_of(one, (LIBRARY["twins"],))
    strict = scene(one.view, (), MEASURING.model_copy(update={"least_score": told.score + 0.01}))
    assert not faults_of(strict, (LIBRARY["twins"],))


def test_finders_emit_what_is_declared_and_nothing_else():
    paths, actions = turned(3)
    extra = [
        action("pass", 2, 2.5, 2.5, [("passer", 0), ("receiver", 1)]),
        action("touch", 0.5, 0.5, 3.5, [("handler", 0)]),
        action("post_up", 1, 1, 4, [("poster", 3)]),
        action("off_ball_screen", 1, 1.5, 2, [("screener", 2), ("cutter", 3)]),
        action("zipper_cut", 1, 2, 3, [("cutter", 1)]),
        action("drive", 2, 3, 4, [("handler", 0)], {"paint_entry_s": 3.5}),
        action("dead_dribble", 1.5, 1.5, 4, [("handler", 0)]),
    ]
    one = scene(view_of({**paths, **spread_out(1.0)}), [*actions, *extra], MEASURING)
    everywhere = np.ones(len(one.view.t_s), bool)
    for situation in SITUATIONS:
        if situation.name in MOMENTS:
            events = [m.event for m in MOMENTS[situation.name](one)]
        else:
            spells = list(SPELLS[situation.name](one))
            events = [m.event for spell in spells for m in moments_of(one, spell, everywhere, 0.0)]
        assert events, situation.name
        for event in events:
            assert event.kind == situation.name
            assert set(event.measures) == {m.name for m in situation.measures}, situation.name
            assert set(event.traits) == {t.name for t in situation.traits}, situation.name
            assert {role for role, _ in event.actors} <= {
                *situation.roles,
                *(r for a in situation.actions for r in KIND[a].roles),
            }
            for trait in situation.traits:
                assert event.traits[trait.name] in (*trait.values, UNKNOWN)
