"""Off-ball screens: what makes one, its sort, and what cutter and defender did, on made-up and real play."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.actions.chased_way import off_way_ft
from pipeline.actions.off_ball_screens import OffBallScreens
from pipeline.actions.on_ball_screens import OnBallScreens
from pipeline.actions.screen_types import swept_deg
from pipeline.actions.view import PossessionView
from pipeline.actions.view_building import possession_views
from pipeline.actions.vocabulary import KIND, measure_names, trait_names
from pipeline.ball.imported_ball import play_tables
from pipeline.night.tracking_files import read_tracking
from pipeline.players.imported_play import games_of
from pipeline.players.imported_rows import Convention, read_rows
from pipeline.settings import Settings
from tests.actions.made_up import NBA, RULES, along, of_kind, play, times

SCREEN = "off_ball_screen"
Stops = tuple[tuple[float, float, float], ...]
TOP: Stops = ((0, 28, -8),)
"""The handler stands at the left slot with the ball."""


def screen(
    t_s: np.ndarray, cutter: Stops, screener: Stops, guard: Stops, big: Stops, *, side: int = 1, end: str = "left",
    order: tuple[int, int, int, int, int] = (0, 1, 2, 5, 6), sigma_ft: float = 0.0,
):  # fmt: skip
    """Handler, cutter, screener and the two defenders on their paths; ``side`` -1 mirrors them."""
    handler, *others = order
    paths = {
        who: along(t_s, *((t, u, v * side) for t, u, v in stops))
        for who, stops in zip((handler, *others), (TOP, cutter, screener, guard, big), strict=True)
    }
    return play(paths, t_s, handler=handler, end=end, sigma_ft=sigma_ft)


DOWN = (
    ((2.0, 4, 14), (2.3, 3, 13.2), (2.9, 10, 14.0), (3.9, 22, 12)),
    ((0.5, 20, 6), (1.8, 8.5, 11.2), (3.4, 8.5, 11.2)),
    ((2.3, 4, 11), (2.9, 5.8, 11.5), (3.4, 9, 14), (4.2, 19, 12)),
    ((0.5, 17, 5), (1.8, 6, 8), (3.4, 6, 8)),
)
"""The big comes down from the top; the corner man comes up off him to the wing, his defender after him."""
BACK = (
    ((2.0, 20, 16), (2.4, 20.6, 16.6), (3.0, 14.5, 16.6), (3.8, 4, 8)),
    ((0.5, 4, 8), (1.8, 15.5, 13.6), (3.4, 15.5, 13.6)),
    ((2.4, 17.5, 14.8), (3.2, 16.8, 14.4), (3.6, 13, 11.5), (4.3, 6, 7)),
    ((0.5, 2, 6), (1.8, 9, 9), (3.4, 9, 9)),
)
CROSS = (
    ((2.0, 4, 10), (2.3, 4, 11), (3.0, 1.8, 1.5), (3.7, 4, -9)),
    ((0.5, 5, -9), (1.8, 5, 1.6), (3.4, 5, 1.6)),
    ((2.3, 5, 8), (3.0, 6, 4.0), (4.0, 5, -6)),
    ((0.5, 4, -6), (1.8, 4.5, -1), (3.4, 4.5, -1)),
)
FLARE = (
    ((2.0, 24, 8), (2.3, 24, 7), (2.9, 24.5, 12.5), (3.6, 16, 20)),
    ((0.5, 14, 8), (1.8, 21.8, 11.5), (3.4, 21.8, 11.5)),
    ((2.3, 21.5, 7.6), (3.0, 20, 10), (3.8, 15, 17)),
    ((0.5, 12, 6), (1.8, 17, 8), (3.4, 17, 8)),
)
PIN_IN = (
    ((2.0, 1, 22), (2.3, 1, 21.4), (3.0, 7, 21.0), (3.9, 15, 19)),
    ((0.5, 16, 8), (1.8, 4, 16.4), (3.6, 4, 16.4)),
    ((2.3, 1.5, 15.5), (3.0, 2.5, 15.2), (3.5, 2.8, 14.5), (4.3, 9, 16)),
    ((0.5, 14, 7), (1.8, 6, 10), (3.4, 6, 10)),
)
TYPES = {"down": DOWN, "back": BACK, "cross": CROSS, "flare": FLARE, "pin_in": PIN_IN}


@pytest.mark.parametrize("kind", TYPES)
@pytest.mark.parametrize("side", [1, -1])
def test_types(kind, side):
    made = screen(times(end_s=5.0), *TYPES[kind])
    mirrored = made if side == 1 else _mirrored(kind)
    (found,) = of_kind(mirrored, SCREEN)
    assert dict(found.actors) == {"screener": 2, "cutter": 1, "cutter_defender": 5, "screener_defender": 6}
    assert found.traits["type"] == kind
    assert found.traits["group"] == "single"
    assert found.t_s == pytest.approx(2.95, abs=0.35)
    assert found.measures["contact_ft"] < 3.5


def _mirrored(kind: str):
    t = times(end_s=5.0)
    paths = {
        who: along(t, *((s, u, -v) for s, u, v in stops))
        for who, stops in zip((0, 1, 2, 5, 6), (TOP, *TYPES[kind]), strict=True)
    }
    return play(paths, t)


@pytest.mark.parametrize("step_s", [0.04, 0.12, 1 / 60, 0.2])
@pytest.mark.parametrize("end", ["left", "right"])
def test_any_rate_at_any_end(step_s, end):
    (found,) = of_kind(screen(times(step_s, 5.0), *DOWN, end=end), SCREEN)
    assert found.traits["type"] == "down"
    assert found.measures["screener_speed_ft_s"] < 1


def test_it_keeps_just_what_the_vocabulary_declares():
    (found,) = of_kind(screen(times(end_s=5.0), *DOWN), SCREEN)
    assert set(found.measures) == set(measure_names(SCREEN))
    assert set(found.traits) == set(trait_names(SCREEN))
    for trait in KIND[SCREEN].traits:
        assert found.traits[trait.name] in (*trait.values, "unknown")


def test_what_is_measured_of_it():
    t = times(0.04, 5.0)
    (found,) = of_kind(screen(t, *DOWN), SCREEN)
    cutter, guard = (along(t, *stops) for stops in (DOWN[0], DOWN[2]))
    gap = np.linalg.norm(cutter - guard, axis=1)
    for name, after_s in (("before", -0.3), ("at", 0.0), ("after", 0.7)):
        expected = gap[np.argmin(np.abs(t - found.t_s - after_s))]
        assert found.measures[f"separation_{name}_ft"] == pytest.approx(expected, abs=0.1)
    assert found.measures["set_up_ft"] == pytest.approx(1.0, abs=0.35)
    assert found.traits["set_up"] == "no"
    assert found.traits["route"] == "trails"
    assert found.traits["read"] == "right"


def test_a_step_away_first_sets_the_defender_up():
    cutter = ((1.7, 6, 14), (2.3, 2.5, 14.0), (3.0, 10, 14.0), (3.9, 22, 12))
    (found,) = of_kind(screen(times(end_s=5.0), cutter, *DOWN[1:]), SCREEN)
    assert found.traits["set_up"] == "yes"
    assert found.measures["set_up_ft"] == pytest.approx(3.5, abs=0.4)


def test_a_switch():
    guard = ((2.3, 4, 11), (2.9, 6.5, 10.4), (4.2, 7, 10))
    big = ((0.5, 17, 5), (1.8, 8, 8), (2.6, 9, 10), (3.4, 14, 12), (4.2, 20, 11))
    (found,) = of_kind(screen(times(end_s=5.5), DOWN[0], DOWN[1], guard, big), SCREEN)
    assert found.traits["route"] == "switches"


def test_a_defender_on_the_other_side_ahead_shoots_the_gap():
    guard = ((2.2, 5, 11), (2.6, 8.2, 8.6), (3.1, 13, 10.5), (4.2, 20, 11))
    (found,) = of_kind(screen(times(end_s=5.0), DOWN[0], DOWN[1], guard, DOWN[3]), SCREEN)
    assert found.traits["route"] == "shoots_gap"
    assert found.traits["read"] == "right"


def two_screens(t: np.ndarray, first: Stops, second: Stops, cutter: Stops, guard: Stops):
    paths = {0: TOP, 1: cutter, 2: first, 3: second, 5: guard, 6: ((0, 3, 5),), 7: ((0, 8, 1),)}
    return play({who: along(t, *stops) for who, stops in paths.items()}, t)


def test_two_in_a_row_are_a_stagger():
    t = times(end_s=6.0)
    cutter = ((2.2, 2, 19), (3.0, 8.5, 14.4), (3.8, 15.5, 9.0), (4.6, 25, 2))
    guard = ((2.2, 2.5, 16), (3.3, 9, 13.5), (4.1, 16, 8.2), (5.0, 24, 2.5))
    found = of_kind(
        two_screens(t, ((0.5, 16, 8), (1.8, 7.2, 12.2)), ((0.5, 22, 3), (1.8, 14.2, 7.0)), cutter, guard), SCREEN
    )
    assert [e.traits["group"] for e in found] == ["stagger", "stagger"]
    assert [e.actor("screener") for e in found] == [2, 3]


def test_two_at_one_spot_are_a_double_and_a_closing_door_an_elevator():
    t = times(end_s=6.0)
    cutter = ((2.2, 2, 1), (2.5, 1.5, 1), (3.6, 15.5, 0.0), (4.4, 26, 0))
    guard = ((2.4, 3.5, 0.2), (3.9, 14.2, 0.3), (4.8, 20, 0))
    apart = (((0.5, 20, 9), (1.8, 15, 2.6), (3.55, 15, 2.6)), ((0.5, 20, -9), (1.8, 15, -2.6), (3.55, 15, -2.6)))
    closing = tuple((*stops, (3.95, 15, np.sign(stops[-1][2]) * 1.1)) for stops in apart)
    for doors, word in ((closing, "elevator"), (apart, "double")):
        found = of_kind(two_screens(t, *doors, cutter, guard), SCREEN)
        assert [e.traits["group"] for e in found] == [word, word]


@pytest.mark.parametrize(
    ("screener", "why"),
    [
        (((0.5, 20, 6), (1.8, 8.5, 1.0)), "the cutter passes far off"),
        (((1.9, 22, 6), (2.9, 9, 11.5), (3.9, -3, 17)), "a runner"),
    ],
)
def test_what_is_no_screen(screener, why):
    assert not of_kind(screen(times(end_s=5.0), DOWN[0], screener, DOWN[2], DOWN[3]), SCREEN), why


def test_a_cutter_who_stands_or_a_defender_far_away_make_no_screen():
    t = times(end_s=5.0)
    assert not of_kind(screen(t, ((0, 10, 14),), DOWN[1], DOWN[2], DOWN[3]), SCREEN)
    assert not of_kind(screen(t, DOWN[0], DOWN[1], ((0, 4, 2),), DOWN[3]), SCREEN)


def test_who_has_the_ball_neither_screens_nor_is_screened_off_the_ball():
    t = times(end_s=5.0)
    paths = {who: along(t, *stops) for who, stops in zip((0, 1, 2, 5, 6), (TOP, *DOWN), strict=True)}
    for holder in (1, 2):
        assert not of_kind(play(paths, t, handler=holder), SCREEN)


def test_after_the_last_touch_nobody_screens():
    t = times(end_s=5.0)
    paths = {who: along(t, *stops) for who, stops in zip((0, 1, 2, 5, 6), (TOP, *DOWN), strict=True)}
    assert not of_kind(play(paths, t, holds=((0, 0.0, 2.0),)), SCREEN)


def test_order_uncertainty_and_unknown_defenders():
    t = times(end_s=5.0)
    (first,) = of_kind(screen(t, *DOWN), SCREEN)
    (second,) = of_kind(screen(t, *DOWN, order=(4, 3, 0, 9, 7)), SCREEN)
    assert first.traits == second.traits
    assert first.measures == pytest.approx(second.measures, nan_ok=True)
    scores = [of_kind(screen(t, *DOWN, sigma_ft=s), SCREEN)[0].score for s in (0.0, 0.8, 1.6)]
    assert scores[0] > scores[1] > scores[2]
    p = screen(t, *DOWN)
    alone = p.tracks.filter(np.asarray(p.tracks["track"]) < 5)
    (view,) = possession_views(alone, p.ball, p.touches, p.possessions, NBA, RULES)
    for found in OffBallScreens().find(view, [], RULES):
        assert found.traits["route"] == "unknown"
        assert np.isnan(found.measures["contact_ft"])


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(list(TYPES)), st.floats(0, 0.2))
def test_half_the_rate_gives_the_same_screen(kind, offset_s):
    t = times(0.08, 5.0) + offset_s
    (full,), (half,) = (of_kind(screen(x, *TYPES[kind]), SCREEN) for x in (t, t[::2]))
    assert full.actors == half.actors
    assert half.t_s == pytest.approx(full.t_s, abs=0.3)  # the corners of these paths are sharp
    assert half.measures["closest_ft"] == pytest.approx(full.measures["closest_ft"], abs=0.5)


def test_a_path_round_a_point():
    circle = np.radians(np.arange(0, 200, 10))
    path = np.column_stack([np.cos(circle), np.sin(circle)])
    assert swept_deg(np.zeros(2), path) == pytest.approx(190)
    assert swept_deg(np.zeros(2), path[::-1]) == pytest.approx(-190)
    assert np.isnan(swept_deg(np.zeros(2), path[:1]))


# ---- real play -------------------------------------------------------------------------------------------------------

READ = Path(__file__).resolve().parents[2] / ".." / "shared" / "data" / "possessions_read"
WITHIN_S = 0.8
"""A find and a reader's event of the same two players nearer in time than this are one (docs/real_play.md)."""


@pytest.fixture(scope="module")
def real() -> dict[str, PossessionView]:
    if not READ.is_dir():
        pytest.skip("no folder ../shared/data/possessions_read beside the repository")
    return _views(READ, mirror=False)


def _views(folder: Path, *, mirror: bool) -> dict[str, PossessionView]:
    table, source = read_tracking(folder)
    if mirror:
        across = table.schema.get_field_index("y_ft")
        table = table.set_column(across, "y_ft", [NBA.width_ft - np.asarray(table["y_ft"])])
    rules = Settings()
    views = {}
    for stretches in games_of(read_rows(table, source, NBA, Convention()), NBA, rules.imported).values():
        for stretch in stretches:
            p = play_tables([stretch], NBA, rules.imported, rules.ball)
            (view,) = possession_views(p.tracks, p.ball, p.touches, p.possessions, NBA, rules.actions)
            views[str(stretch.possession)] = view
    return views


@pytest.mark.parametrize(
    ("recogniser", "kind", "roles", "least"),
    [
        (OnBallScreens(), "on_ball_screens", ("handler", "screener"), 0.8),
        (OffBallScreens(), "off_ball_screens", ("screener", "cutter"), 0.65),
    ],
)
def test_finds_agree_with_readers(real, recogniser, kind, roles, least):
    labels = json.loads((READ / "labels.json").read_text(encoding="utf-8"))
    hits = missed = false = 0
    for name, view in real.items():
        found = [(tuple(e.actor(r) for r in roles), e.t_s) for e in recogniser.find(view, [], RULES)]
        for label in sorted(labels[name][kind], key=lambda one: -one["readers"]):
            who = tuple(label[r] for r in roles)
            match = next((f for f in found if f[0] == who and abs(f[1] - label["t"]) <= WITHIN_S), None)
            if match is not None:
                found.remove(match)
            if label["readers"] == 2:
                hits, missed = hits + (match is not None), missed + (match is None)
        false += len(found)
    assert hits + missed >= 12
    assert 2 * hits / (2 * hits + missed + false) >= least


@pytest.mark.parametrize("recogniser", [OnBallScreens(), OffBallScreens()])
def test_real_play_mirrored_gives_the_same(real, recogniser):
    other = _views(READ, mirror=True)
    for name, view in real.items():
        one, two = (recogniser.find(v, [], RULES) for v in (view, other[name]))
        assert [(e.actors, e.t_s, dict(e.traits)) for e in one] == [(e.actors, e.t_s, dict(e.traits)) for e in two]


def test_a_cutter_who_comes_to_stand_beside_a_teammate_has_used_no_screen():
    cutter = ((2.0, 4, 14), (2.3, 3, 13.2), (2.9, 10, 14.0), (3.4, 9.5, 13.0))
    assert len(of_kind(screen(times(end_s=5.0), *DOWN), SCREEN)) == 1
    assert not of_kind(screen(times(end_s=5.0), cutter, *DOWN[1:]), SCREEN)


def test_a_defender_who_stays_to_watch_the_ball_was_not_screened():
    """He is touched, and his man runs away from him: but he does not go after him."""
    watches = ((1.6, 4, 11), (2.3, 5.8, 11.5), (4.2, 5.6, 11.2))
    assert not of_kind(screen(times(end_s=5.0), DOWN[0], DOWN[1], watches, DOWN[3]), SCREEN)


def test_a_defender_who_trails_round_one_who_came_and_stands_was_screened():
    """Shoulder to shoulder past him and the defender in the cutter's footsteps, a step farther back than before."""
    trails = ((2.0, 4.5, 12.0), (2.45, 3.2, 12.4), (3.15, 9.6, 14.4), (4.25, 21, 12.2))
    (found,) = of_kind(screen(times(end_s=5.0), DOWN[0], DOWN[1], trails, DOWN[3]), SCREEN)
    assert found.traits["route"] == "trails"


def test_a_defender_who_runs_through_between_the_two_was_not_screened():
    """The screener stands on the far side of him: near, but not on his way, and the gap stays as it was."""
    guard = ((2.0, 3.5, 12.6), (2.3, 3, 12.0), (2.95, 9.2, 13.1), (3.95, 20.5, 11.6))
    beside = ((0.5, 20, 6), (1.8, 8.5, 10.0), (3.4, 8.5, 10.0))
    assert not of_kind(screen(times(end_s=5.0), DOWN[0], beside, guard, DOWN[3]), SCREEN)
    assert len(of_kind(screen(times(end_s=5.0), DOWN[0], DOWN[1], DOWN[2], DOWN[3]), SCREEN)) == 1


@given(st.floats(-40, 40), st.floats(-40, 40), st.floats(0, 360), st.floats(2, 30), st.floats(-5, 35), st.floats(0, 10))
def test_how_far_off_a_way(u, v, deg, length, along, aside):
    """Between its ends a way is as far off as aside of it; its first part, the defender's own body, is not on it."""
    way = np.array([np.cos(np.radians(deg)), np.sin(np.radians(deg))])
    start = np.array([[u, v]])
    place = start + along * way + aside * np.array([-way[1], way[0]])
    expected = np.hypot(aside, along - np.clip(along, 0.8, length))
    assert off_way_ft(place, start, start + length * way, 0.8) == pytest.approx([expected], abs=1e-6)


def test_what_was_not_seen_is_not_known():
    nowhere = np.full((1, 2), np.nan)
    assert np.isnan(off_way_ft(nowhere, np.zeros((1, 2)), np.ones((1, 2)), 0.8)).all()
    assert off_way_ft(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros((0, 2)), 0.8).shape == (0,)
