"""On-ball screens: what makes one, how it was used and covered, on made-up, simulated-like and real play."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.actions.grades import at_least, at_most
from pipeline.actions.on_ball_screens import OnBallScreens, closest_approaches
from pipeline.actions.view_building import possession_views
from pipeline.actions.vocabulary import KIND, measure_names, trait_names
from tests.actions.made_up import NBA, RULES, along, of_kind, play, times

SCREEN = "on_ball_screen"


def middle_screen(
    t_s: np.ndarray,
    *,
    side: int = 1,
    end: str = "left",
    mates: tuple[int, int] = (0, 1),
    guards: tuple[int, int] = (5, 6),
    guard_way: str = "over",
    screener_stops: bool = True,
    used: bool = True,
    sigma_ft: float = 0.0,
):
    """A big comes up to the handler's right (``side`` 1) at 25 ft and stands; the handler goes by him at 2.5 s.

    The defender follows over the screen, goes under it, or stays while the big's defender takes the handler.
    """
    handler, screener = mates
    guard, big = guards

    def at(*stops):
        return along(t_s, *((t, u, v * side) for t, u, v in stops))

    wide = 1 if used else -1
    h = at((2.5, 26, 0), (3.0, 25, 6.0 * wide), (3.6, 20, 10.0 * wide), (4.4, 10, 8.0 * wide))
    if screener_stops:
        s = at((0.5, 12, 6), (1.7, 24.5, 3.2), (3.4, 24.5, 3.2), (4.4, 14, 1))
    else:
        s = at((1.6, 12, 10), (2.6, 22, 6), (3.1, 25, 3.4), (4.0, 30, -4))
    d = {
        "over": at((2.5, 23.5, 1.0), (2.9, 25.5, 1.4), (3.3, 25.8, 4.6), (3.8, 19.5, 8), (4.4, 12, 7)),
        "under": at((2.5, 23.5, 1.0), (3.1, 21.5, 3.0), (3.6, 18, 7.5), (4.4, 9, 7)),
        "switch": at((2.5, 23.5, 1.0), (3.4, 23, 2), (4.4, 13, 0)),
    }[guard_way]
    b = {
        "switch": at((0.5, 10, 5), (1.8, 20, 4), (3.0, 20, 6), (3.6, 17, 8), (4.4, 8, 7)),
    }.get(guard_way, at((0.5, 10, 5), (1.8, 20, 4), (3.4, 19, 4), (4.4, 11, 0)))
    return play({handler: h, screener: s, guard: d, big: b}, t_s, handler=handler, end=end, sigma_ft=sigma_ft)


@pytest.mark.parametrize("step_s", [0.04, 0.12, 1 / 60, 0.2])
@pytest.mark.parametrize("end", ["left", "right"])
@pytest.mark.parametrize("side", [1, -1])
def test_a_screen_is_found_at_any_rate_on_any_side_of_any_end(step_s, end, side):
    (screen,) = of_kind(middle_screen(times(step_s, 5.0), side=side, end=end), SCREEN)
    assert dict(screen.actors) == {"handler": 0, "screener": 1, "on_ball_defender": 5, "screener_defender": 6}
    assert screen.t_s == pytest.approx(2.85, abs=0.2)
    assert screen.measures["closest_ft"] < 3.5
    assert screen.measures["v_ft"] * side > 0
    assert screen.traits["side"] == "middle"
    assert screen.traits["sent"] == "sideline"
    assert screen.traits["contact"] == "yes"
    assert screen.traits["slipped"] == "no"
    assert screen.traits["left_early"] == "no"
    assert screen.measures["early_s"] == 0.0
    assert screen.traits["phase"] == "half_court"
    assert screen.traits["again"] == "no"


def test_it_keeps_just_what_the_vocabulary_declares():
    (screen,) = of_kind(middle_screen(times(end_s=5.0)), SCREEN)
    assert set(screen.measures) == set(measure_names(SCREEN))
    assert set(screen.traits) == set(trait_names(SCREEN))
    for trait in KIND[SCREEN].traits:
        assert screen.traits[trait.name] in (*trait.values, "unknown")


@pytest.mark.parametrize("way", ["over", "under", "switch"])
def test_coverages(way):
    (screen,) = of_kind(middle_screen(times(end_s=5.0), guard_way=way), SCREEN)
    assert screen.traits["coverage"] == way


def rejected_screen(screener_v_ft: float):
    """The handler goes left at 2.5 s; the screener stands to the right of his defender, who stands at v = 1."""
    t = times(end_s=5.0)
    paths = {
        0: along(t, (2.5, 26, -1.0), (3.0, 25, -6.0), (3.6, 20, -10.0), (4.4, 10, -8.0)),
        1: along(t, (0.5, 12, 6), (1.7, 23.8, screener_v_ft), (3.4, 23.8, screener_v_ft), (4.4, 14, 1)),
        5: along(t, (2.6, 23.5, 1.0), (3.2, 23.0, -4.0), (3.8, 18, -8), (4.4, 9, -7)),
        6: along(t, (0.5, 10, 5), (1.8, 20, 4), (3.4, 19, 4), (4.4, 11, 0)),
    }
    return play(paths, t)


def test_a_handler_who_goes_the_other_way_rejects_it():
    (screen,) = of_kind(rejected_screen(2.2), SCREEN)
    assert screen.traits["sent"] == "rejected"


def test_a_screener_beside_a_defender_whom_he_does_not_touch_screens_nobody_who_goes_the_other_way():
    assert of_kind(rejected_screen(4.0), SCREEN) == []


def test_a_trap():
    t = times(end_s=5.0)
    paths = {
        0: along(t, (2.5, 26, 0), (3.0, 26, 6), (5.0, 28, 8)),
        1: along(t, (0.5, 12, 6), (1.7, 24.5, 3.2)),
        5: along(t, (2.5, 23.5, 1.0), (2.9, 25.5, 1.4), (3.3, 26.0, 3.5), (5.0, 28, 5)),
        6: along(t, (0.5, 10, 5), (1.8, 20, 4), (3.2, 23.5, 8), (5.0, 25.5, 9)),
    }
    (screen,) = of_kind(play(paths, t), SCREEN)
    assert screen.traits["coverage"] == "trap"


def test_a_side_screen_with_the_defender_on_the_screens_side_is_iced():
    t = times(end_s=5.0)
    paths = {
        0: along(t, (2.6, 15, 18), (4.0, 2, 19)),
        1: along(t, (0.5, 14, 5), (1.8, 16.9, 14.2), (5.0, 16.9, 14.2)),
        5: along(t, (1.5, 13.0, 16.0), (2.2, 16.2, 15.6), (2.7, 15.2, 15.8), (4.1, 4, 17.0)),
        6: along(t, (0.5, 12, 4), (1.8, 12, 12), (4.0, 5, 14)),
    }
    (screen,) = of_kind(play(paths, t), SCREEN)
    assert screen.traits["side"] == "side"
    assert screen.traits["sent"] == "rejected"
    assert screen.traits["coverage"] == "iced"


def test_a_handler_who_goes_before_the_screener_stands_leaves_early():
    t = times(end_s=5.0)
    paths = {
        0: along(t, (2.0, 26, 0), (2.7, 25, 6.5), (3.6, 14, 9)),
        1: along(t, (0.9, 10, 6), (2.35, 24.0, 3.2), (5.0, 24.0, 3.2)),
        5: along(t, (2.0, 23.5, 0.8), (2.6, 25.4, 2.2), (3.6, 16, 7)),
        6: along(t, (0.9, 8, 6), (2.2, 19, 4)),
    }
    (screen,) = of_kind(play(paths, t), SCREEN)
    assert screen.traits["left_early"] == "yes"
    assert screen.measures["screener_speed_ft_s"] > 4
    assert screen.measures["early_s"] == pytest.approx(0.35, abs=0.2)


def test_a_screener_who_turns_before_contact_slips():
    t = times(end_s=5.0)
    paths = {
        0: along(t, (2.3, 26, 0), (3.2, 25, 6)),
        1: along(t, (0.8, 10, 8), (2.2, 22.5, 5.2), (2.35, 22.5, 5.2), (3.6, 5, 3)),
        5: along(t, (2.3, 23.2, 0.6), (3.5, 23, 4)),
        6: along(t, (0.8, 8, 6), (2.2, 16, 4), (3.4, 12, 3)),
    }
    (screen,) = of_kind(play(paths, t), SCREEN)
    assert screen.traits["contact"] == "no"
    assert screen.traits["slipped"] == "yes"


def test_the_same_pair_again_and_a_step_away_before_the_use():
    t = times(end_s=7.0)
    paths = {
        0: along(t, (2.0, 26, 0), (2.6, 25.5, 7), (3.4, 27, 9), (4.6, 26.5, 9), (5.3, 25.5, 1.5), (6.2, 12, -3)),
        1: along(t, (0.5, 12, 6), (1.5, 24.5, 3.2), (2.7, 24.5, 3.2), (3.3, 21, 5), (4.2, 25.0, 6.0), (7, 25.0, 6.0)),
        5: along(t, (2.0, 23.5, 1), (2.5, 25.3, 1.8), (3.4, 24.5, 8), (4.6, 24, 8), (5.3, 22.5, 4), (6.2, 12, -1)),
        6: along(t, (0.5, 10, 5), (1.8, 20, 4), (6.2, 18, 3)),
    }
    first, second = of_kind(play(paths, t), SCREEN)
    assert (first.traits["again"], second.traits["again"]) == ("no", "yes")
    assert second.measures["since_last_s"] == pytest.approx(second.t_s - first.t_s)
    jab = {
        **paths,
        0: along(t, (2.0, 26, 0), (2.3, 26, 1.4), (2.7, 26.5, -2.5), (3.4, 26.5, -2.5), (4.1, 25.8, 5), (5, 12, 9)),
        1: along(t, (0.5, 12, 6), (1.5, 24.5, 3.2)),
        5: along(t, (2.0, 23.5, 1), (3.4, 23.8, 0.0), (3.9, 25.4, 2), (5, 14, 7)),
    }
    (once,) = of_kind(play(jab, t), SCREEN)
    assert once.t_s == pytest.approx(3.9, abs=0.2)


@pytest.mark.parametrize(
    ("screener", "why"),
    [
        (((0, 12, 7),), "in the paint"),
        (((0.5, 12, -14), (1.5, 20, -14)), "far off"),
        (((0.5, 40, 6), (1.7, 30.5, 3.0)), "behind the handler"),
        (((1.6, 8, 9), (3.0, 24.5, 3.2), (4.0, 36, -2)), "a runner who passes by"),
    ],
)
def test_what_is_no_screen(screener, why):
    t = times(end_s=5.0)
    made = middle_screen(t)
    assert of_kind(made, SCREEN)
    paths = {
        0: along(t, (2.5, 26, 0), (3.0, 25, 6.0), (3.6, 20, 10.0), (4.4, 10, 8.0)),
        1: along(t, *screener),
        5: along(t, (2.5, 23.5, 1.0), (3.0, 24, 6.5), (3.6, 18, 9), (4.4, 9, 7)),
    }
    assert not of_kind(play(paths, t), SCREEN), why


def test_two_who_just_stand_beside_each_other_make_no_screen():
    t = times(end_s=6.0)
    paths = {0: along(t, (0, 26, 0)), 1: along(t, (0, 25, 4)), 5: along(t, (0, 23.5, 2))}
    assert not of_kind(play(paths, t), SCREEN)


def test_a_ball_from_hand_to_hand_is_no_screen():
    t = times(end_s=5.0)
    paths = {
        0: along(t, (1.5, 30, 10), (2.6, 25.5, 4.5), (3.6, 15, 0)),
        1: along(t, (0.5, 12, 6), (1.7, 24.5, 3.2)),
        5: along(t, (1.5, 27, 9), (2.6, 25, 2.8), (3.6, 16, 2)),
        6: along(t, (0.5, 10, 5), (1.8, 20, 4)),
    }
    assert not of_kind(play(paths, t, holds=((1, 0.0, 2.5), (0, 2.6, 5.0))), SCREEN)
    assert of_kind(play(paths, t, holds=((0, 0.0, 5.0),)), SCREEN)


def test_uncertain_places_lower_the_score_and_none_is_no_error():
    t = times(end_s=5.0)
    scores = [of_kind(middle_screen(t, sigma_ft=s), SCREEN)[0].score for s in (0.0, 1.0, 2.0)]
    assert scores[0] > scores[1] > scores[2]
    p = middle_screen(t)
    alone = p.tracks.filter(np.asarray(p.tracks["track"]) < 5)
    (view,) = possession_views(alone, p.ball, p.touches, p.possessions, NBA, RULES)
    assert OnBallScreens().find(view, [], RULES) == []


def test_the_order_of_players_does_not_matter():
    t = times(end_s=5.0)
    (first,) = of_kind(middle_screen(t), SCREEN)
    (second,) = of_kind(middle_screen(t, mates=(3, 2), guards=(9, 7)), SCREEN)
    assert dict(second.actors) == {"handler": 3, "screener": 2, "on_ball_defender": 9, "screener_defender": 7}
    assert first.traits == second.traits
    assert first.measures == pytest.approx(second.measures, nan_ok=True)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.0, 0.2), st.sampled_from(["over", "under", "switch"]))
def test_mirrored_and_at_half_the_rate_it_is_the_same(offset_s, way):
    t = times(0.08, 5.0) + offset_s
    (one,), (other,) = (of_kind(middle_screen(t, side=side, guard_way=way), SCREEN) for side in (1, -1))
    assert one.traits == other.traits
    assert one.t_s == other.t_s
    assert one.measures["contact_ft"] == pytest.approx(other.measures["contact_ft"])
    (half,) = of_kind(middle_screen(t[::2], guard_way=way), SCREEN)
    assert half.t_s == pytest.approx(one.t_s, abs=0.15)
    assert half.measures["closest_ft"] == pytest.approx(one.measures["closest_ft"], abs=0.5)


@given(st.floats(-20, 20), st.floats(-20, 20), st.floats(0.1, 5), st.floats(0, 5))
def test_grades_are_shares_that_uncertainty_draws_to_half(value, limit, soft, sigma):
    sharp, blurred = at_most(value, limit, soft), at_most(value, limit, soft, sigma)
    assert 0 <= sharp <= 1
    assert abs(blurred - 0.5) <= abs(sharp - 0.5) + 1e-12
    assert at_least(value, limit, soft) == pytest.approx(1 - sharp)
    assert at_most(float("nan"), limit, soft) == 0.5


def test_closest_approaches():
    gap = np.array([9, 5, 3, 4, 8, 12, 7, 2, 2, 6, np.nan, 4.0])
    assert closest_approaches(gap, 6.0, 2) == [2, 7, 11]
    assert closest_approaches(gap, 2.5, 2) == [7]
    assert closest_approaches(np.full(3, np.nan), 6.0, 2) == []


@pytest.mark.parametrize(("first", "screeners"), [(True, [1, 2]), (False, [])])
def test_a_second_screener_need_not_meet_a_defender_whom_the_first_held_up(first, screeners):
    t_s = times(end_s=5.5)
    big = ((0.5, 12, 6), (1.7, 24.5, 3.2), (3.6, 24.5, 3.2), (4.6, 14, 1)) if first else ((0.5, 6, -20),)
    paths = {
        0: ((2.5, 26, 0), (3.0, 26, 6.0), (3.6, 26.2, 15.5), (4.5, 14, 18)),
        1: big,
        2: ((0.5, 10, 16), (1.9, 22.5, 12.5), (4.2, 22.5, 12.5), (5.2, 12, 16)),
        5: ((2.5, 23.5, 1.0), (2.9, 25.5, 1.4), (3.3, 25.8, 3.2), (4.0, 25.6, 7.2), (4.8, 20, 9)),
        6: ((0.5, 10, 5), (1.8, 20, 3), (3.6, 19, 3), (4.6, 11, 0)) if first else ((0.5, 4, -16),),
        7: ((0.5, 8, 14), (1.9, 15, 12), (5.2, 10, 13)),
    }
    found = of_kind(play({who: along(t_s, *stops) for who, stops in paths.items()}, t_s, handler=0), SCREEN)
    assert [screen.actor("screener") for screen in found] == screeners


@pytest.mark.parametrize(
    ("screener", "screeners"),
    [
        (((0.3, 14, 3), (1.6, 25, 3.6), (3.0, 25, 3.6), (4.2, 12, 1)), [1]),
        (((0.3, 25, 3.6), (3.0, 25, 3.6), (4.2, 12, 1)), []),
        (((0.3, 14, 3), (1.7, 18, 3.6), (3.0, 30, 3.6), (4.2, 42, 3)), []),
    ],
    ids=["came and waits", "stood there all along", "runs by"],
)
def test_who_brushes_past_one_who_came_and_waits_is_screened_for_wherever_his_defender_is(screener, screeners):
    t_s = times(end_s=5.0)
    paths = {
        0: ((0.4, 38, 0), (2.0, 30, 4.0), (2.6, 25.5, 6.2), (3.6, 14, 9)),
        1: screener,
        5: ((0.4, 34, -5), (2.0, 27, -4), (2.6, 24, -3.5), (3.6, 11, 5)),
        6: ((0.4, 8, 1), (2.0, 12, 2), (4.0, 8, 1)),
    }
    found = of_kind(play({who: along(t_s, *stops) for who, stops in paths.items()}, t_s, handler=0), SCREEN)
    assert [event.actor("screener") for event in found] == screeners


def test_time_since_half_court_is_told_from_the_hands_that_bring_the_ball_over():
    t_s = times(end_s=5.0)
    paths = {
        0: ((0.4, 46, 0), (2.0, 30, 4.0), (2.6, 25.5, 6.2), (3.6, 14, 9)),
        1: ((0.3, 14, 3), (1.6, 25, 3.6), (3.0, 25, 3.6), (4.2, 12, 1)),
        5: ((0.4, 34, -5), (2.0, 27, -4), (2.6, 24, -3.5), (3.6, 11, 5)),
    }
    view = play({who: along(t_s, *stops) for who, stops in paths.items()}, t_s, handler=0)
    (screen,) = (one for one in of_kind(view, SCREEN) if one.actor("screener") == 1)
    over_s = t_s[np.flatnonzero(along(t_s, *paths[0])[:, 0] <= 41.75)[0]]
    assert screen.measures["since_half_court_s"] == pytest.approx(screen.t_s - over_s, abs=0.1)
