"""Hulls, sides and gaps on places whose answers are known, and what mirroring and order must not change."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from pipeline.actions.events import events_from_table
from pipeline.actions.recognisers import actions_in
from pipeline.actions.view_building import possession_views
from pipeline.spacing.measures import centroid_distance_ft, hull_area_ft2, measure_spacing, spacing_table
from pipeline.spacing.possession_measures import possession_measures_table
from pipeline.spacing.settings import SpacingSettings
from pipeline.spacing.tables import FAULTS, POSSESSION_MEASURES, SPACING
from tests.actions.made_up import NBA, RULES, along, play, times

MEASURING = SpacingSettings()
PLACES = st.lists(st.tuples(st.floats(-5, 45), st.floats(-25, 25)), min_size=5, max_size=5)


def view_of(p):
    (view,) = possession_views(p.tracks, p.ball, p.touches, p.possessions, NBA, RULES)
    return view


def five_out(u=24.0):
    """Five attackers round the arc, their defenders a step nearer to the ring, for two seconds."""
    t = times(end_s=2.0)
    spots = [(u, 0.0), (20.0, 16.0), (20.0, -16.0), (2.0, 21.0), (2.0, -21.0)]
    still = {n: np.tile(spot, (len(t), 1)) for n, spot in enumerate(spots)}
    guards = {n + 5: 0.7 * path for n, path in still.items()}
    return play({**still, **guards}, t)


@pytest.mark.parametrize(
    ("points", "area"),
    [
        ([(0, 0), (10, 0), (10, 10), (0, 10), (5, 5)], 100.0),
        ([(0, 0), (4, 0), (0, 3), (1, 1), (1, 1)], 6.0),
        ([(0, 0), (1, 1), (2, 2), (3, 3), (4, 4)], 0.0),
        ([(7, 7)] * 5, 0.0),
    ],
)
def test_hulls_of_known_shapes(points, area):
    assert hull_area_ft2(np.array([points], float)) == pytest.approx([area], abs=1e-3)


@settings(max_examples=60, deadline=None)
@given(PLACES, st.permutations(range(5)))
def test_hulls_agree_with_qhull_in_any_order_and_mirrored(points, order):
    places = np.array([points], float) + np.random.default_rng(0).normal(0, 1e-3, (1, 5, 2))
    area = hull_area_ft2(places)[0]
    assert area == pytest.approx(ConvexHull(places[0]).volume, rel=1e-3, abs=0.01)
    assert hull_area_ft2(places[:, list(order)])[0] == pytest.approx(area, abs=0.01)
    assert hull_area_ft2(places * (1, -1))[0] == pytest.approx(area, abs=0.01)


def test_a_place_that_is_not_known_makes_no_hull():
    places = np.full((2, 5, 2), 3.0)
    places[1, 2] = np.nan
    assert np.isnan(hull_area_ft2(places)).tolist() == [False, True]
    assert hull_area_ft2(np.zeros((0, 5, 2))).shape == (0,)


def test_centroid_distance_is_the_mean_way_to_the_middle():
    cross = np.array([[(0, 0), (3, 0), (-3, 0), (0, 3), (0, -3)]], float)
    assert centroid_distance_ft(cross) == pytest.approx([12 / 5])


def test_spacing_of_five_out():
    view = view_of(five_out())
    m = measure_spacing(view, MEASURING)
    middle = len(view.t_s) // 2
    assert m.perimeter[middle].sum() == 5
    assert m.hull_attack_ft2[middle] > m.hull_defence_ft2[middle] > 0
    assert m.hull_defence_ft2[middle] == pytest.approx(0.49 * m.hull_attack_ft2[middle], rel=0.01)
    wing = np.hypot(18.0, 5.0)
    assert m.nearest_teammate_ft[middle, :5] == pytest.approx(
        [np.hypot(4, 16), np.hypot(4, 16), np.hypot(4, 16), *2 * [wing]], abs=1.6
    )
    assert np.isnan(m.nearest_teammate_ft[middle, 5:]).all()


def test_who_stands_in_the_middle_stands_on_no_side():
    t = times(end_s=2.0)
    spots = {0: (20.0, 15.0), 1: (24.0, 2.0), 2: (2.0, 20.0), 3: (3.0, 6.0), 4: (10.0, -15.0)}
    view = view_of(play({n: np.tile(s, (len(t), 1)) for n, s in spots.items()}, t))
    m = measure_spacing(view, MEASURING)
    assert m.on_ball_side[-1, :5].tolist() == [True, False, True, True, False]


def test_one_missing_of_five_makes_the_team_measures_unknown():
    p = five_out()
    without = p.tracks.filter(p.tracks["track"].to_numpy() != 3)
    m = measure_spacing(view_of(replace(p, tracks=without)), MEASURING)
    assert np.isnan(m.hull_attack_ft2).all()
    assert np.isfinite(m.hull_defence_ft2).any()


def test_tables_hold_every_moment_and_every_possession(tmp_path):
    view = view_of(five_out())
    table = spacing_table([view], MEASURING)
    assert table.num_rows == len(view.t_s)
    assert set(table["ball_side"].to_pylist()) <= {None, "left", "right"}
    SPACING.write(table, tmp_path)
    assert SPACING.read(tmp_path).equals(table)
    events = actions_in(view, RULES)
    row = possession_measures_table([view], events, MEASURING).to_pylist()[0]
    assert row["hull_attack_ft2"] == pytest.approx(np.nanmean(table["hull_attack_ft2"].to_numpy()), rel=0.01)
    assert row["placed_share"] == pytest.approx(1.0)
    assert row["touches"] == sum(e.kind == "touch" for e in events)


def test_no_possession_no_rows():
    assert spacing_table([], MEASURING).num_rows == 0
    assert possession_measures_table([], [], MEASURING).num_rows == 0
    assert POSSESSION_MEASURES.empty().num_rows == 0
    assert events_from_table(FAULTS.empty()) == ()


def test_the_first_action_and_the_seconds_per_touch():
    t = times(end_s=6.0)
    driver = along(t, (3.0, 26, 2), (4.5, 4, 2))
    p = play({0: np.tile((24.0, 10.0), (len(t), 1)), 1: driver}, t, holds=((0, 0.0, 1.5), (1, 2.2, 4.6)))
    view = view_of(p)
    row = possession_measures_table([view], actions_in(view, RULES), MEASURING).to_pylist()[0]
    assert row["passes"] == 1
    assert row["touches"] == 2
    assert row["seconds_per_touch_s"] == pytest.approx((1.5 + 2.4) / 2, abs=0.15)
    assert row["first_action"] == "drive"
    assert row["first_action_s"] == pytest.approx(3.0, abs=0.6)
