"""Places of players and ball by time, and how well a point lies in a place."""

import numpy as np
import pyarrow as pa
import pytest

from pipeline.ball.tables import BALL
from pipeline.court.attack_frame import to_court
from pipeline.court.places import PLACES
from pipeline.court.rule_books import FIBA, NBA
from pipeline.players.tables import TRACKS
from pipeline.sets.floor import END, HERE, START, Floor, _along, points_uv
from pipeline.sets.settings import SetSettings
from tests.sets.made_up_actions import action, cut, standing, thrown

SETTINGS = SetSettings()


def rolling(v_ft, end="left"):
    """A ball that is at u = 20 and at each v for a tenth of a second."""
    times = np.arange(len(v_ft)) / 10
    xy = to_court(np.column_stack([np.full(len(v_ft), 20.0), v_ft]), NBA, end)
    columns = {field.name: pa.nulls(len(v_ft), field.type) for field in BALL.schema}
    columns |= {"t_s": times, "shot": np.zeros(len(v_ft), np.int32), "x_ft": xy[:, 0], "y_ft": xy[:, 1]}
    return BALL.from_columns(columns)


def test_the_ball_in_the_middle_is_on_the_side_that_it_last_left():
    ball = rolling([0.0, 3.0, 8.0, 10.0, 2.0, -3.0, -5.9, -6.5, 0.0])
    floor = Floor(TRACKS.empty(), ball, NBA, SETTINGS)
    assert [floor.ball_side(0, t / 10, "left") for t in range(9)] == [0, 0, 1, 1, 1, 1, 1, -1, -1]
    assert floor.ball_side(0, 9.0, "left") == 0, "too long ago"
    assert floor.ball_side(1, 0.3, "left") == 0, "another shot"
    assert floor.ball_v(0, 0.25, "left") == pytest.approx(9.0)


@pytest.mark.parametrize("end", ["left", "right"])
def test_both_ends_are_one(end):
    floor = Floor(TRACKS.empty(), rolling([8.0, 9.0], end), NBA, SETTINGS)
    assert floor.ball_side(0, 0.1, end) == 1
    assert floor.ball_v(0, 0.1, end) == pytest.approx(9.0)


def test_players_are_where_their_tracks_are():
    floor = Floor(standing({3: (20.0, 5.0), 4: (2.0, -9.0)}, until_s=5.0), BALL.empty(), NBA, SETTINGS)
    assert floor.place_uv(0, 3, 2.5, "left") == pytest.approx((20.0, 5.0))
    assert np.isnan(floor.place_uv(0, 3, 7.0, "left")).all()
    assert np.isnan(floor.place_uv(0, 9, 2.5, "left")).all()
    assert floor.mates(0, 3, 2.5) == (3, 4)
    assert floor.mates(0, 9, 2.5) == ()
    assert floor.mates(0, 3, 30.0) == ()


def test_few_times_and_many_are_looked_up_the_same():
    floor = Floor(TRACKS.empty(), rolling([0.0, 3.0, 8.0, 10.0, 2.0, -3.0]), NBA, SETTINGS)
    path = floor._ball[0]
    times = np.array([-0.7, -0.2, 0.0, 0.033, 0.25, 0.5, 0.9, 1.2])
    few = _along(path, times, "right", NBA)
    many = _along(path, np.concatenate([times, times]), "right", NBA)[: len(times)]
    np.testing.assert_allclose(few, many, equal_nan=True)


def test_nothing_is_known_without_tables():
    floor = Floor(TRACKS.empty(), BALL.empty(), NBA, SETTINGS)
    assert np.isnan(floor.place_uv(0, 1, 0.0, "left")).all()
    assert np.isnan(floor.ball_v(0, 0.0, "left"))
    assert floor.grades(np.zeros((0, 2))).shape == (0, len(PLACES))


@pytest.mark.parametrize("book", [NBA, FIBA])
def test_a_place_is_met_nearly_met_or_not(book):
    floor = Floor(TRACKS.empty(), BALL.empty(), book, SETTINGS)
    edge_u = book.lane_length_ft - book.ring_to_baseline_ft
    paint = PLACES.index("paint")
    graded = floor.grades(np.array([[edge_u - 1, 0], [edge_u + 2, 0], [edge_u + 4, 0], [np.nan, 0]]))[:, paint]
    assert graded[:3].tolist() == [1.0, SETTINGS.near_share, 0.0]
    assert np.isnan(graded[3])


def test_points_of_actions():
    events = [
        cut("loop_cut", 4.0, 10, (24, 10), (15, -20)),
        thrown(5.0, 11, 12, (15, 20)),
        action("off_ball_screen", 6.0, {"screener": 11, "cutter": 12}, (3, 9)),
        action("drive", 50.0, {"handler": 13}, (9, 0)),
    ]
    floor = Floor(standing({11: (26.0, 0.0), 12: (15.0, 18.0)}, until_s=10.0), BALL.empty(), NBA, SETTINGS)
    found = points_uv(events, floor)
    assert found[0].tolist() == [[15, -20], [24, 10], [15, -20]]
    assert found[1, START] == pytest.approx([26.0, 0.0]), "the passer"
    assert found[1, END].tolist() == [15, 20]
    assert found[2, START] == pytest.approx([15.0, 18.0]), "the cutter, not the screener"
    assert found[2, HERE].tolist() == [3, 9]
    assert np.isnan(found[3, START]).all()
