"""Stretches of play out of rows of tracking data."""

import numpy as np
import pyarrow as pa
import pytest
from tracking_data import SPOTS_FT, tracking_table, with_column

from pipeline.court.rule_books import NBA
from pipeline.errors import TrackingError
from pipeline.players.imported_play import games_of, imported_tracks, laid_apart, track_numbers
from pipeline.players.imported_rows import Convention, Source, read_rows
from pipeline.players.settings import ImportSettings
from pipeline.players.tables import TRACKS

SETTINGS = ImportSettings()


def games(table: pa.Table, convention: Convention | None = None):
    return games_of(read_rows(table, Source("a.csv", 2, "line"), NBA, convention or Convention()), NBA, SETTINGS)


def test_one_stretch_as_it_is():
    (stretch,) = games(tracking_table())[""]
    assert stretch.players_ft.shape == (80, 10, 2)
    assert stretch.tracks.tolist() == list(range(10))
    assert stretch.teams.tolist() == [0] * 5 + [1] * 5
    assert np.isnan(stretch.ball_z_ft).all()
    assert stretch.observed.all()
    assert (stretch.sigma_ft == SETTINGS.usual_sigma_ft).all()


def test_row_order_does_not_matter():
    table = tracking_table()
    shuffled = table.take(pa.array(np.random.default_rng(3).permutation(table.num_rows)))
    (one,), (other,) = games(table)[""], games(shuffled)[""]
    assert np.array_equal(one.players_ft, other.players_ft)
    assert np.array_equal(one.ball_ft, other.ball_ft)


def test_possessions_and_games_part_and_are_laid_end_to_end():
    parts = [tracking_table(possession=name, game=game) for name, game in (("a", "x"), ("b", "x"), ("c", "y"))]
    found = games(pa.concat_tables(parts))
    assert {name: [s.possession for s in part] for name, part in found.items()} == {"x": ["a", "b"], "y": ["c"]}
    first, second = laid_apart(found["x"], SETTINGS)
    assert second.t_s[0] - first.t_s[-1] == pytest.approx(SETTINGS.laid_apart_s)
    apart = laid_apart(games(pa.concat_tables([tracking_table(), tracking_table(start_s=60.0)]))[""], SETTINGS)
    assert [s.t_s[0] for s in apart] == [0.0, 60.0], "times that rise stay"


def test_a_short_gap_is_filled_and_says_so():
    table = tracking_table()
    gone = (table["agent"].to_numpy() == 4) & (np.abs(table["t_s"].to_numpy() - 3.0) < 0.15)
    (stretch,) = games(table.filter(pa.array(~gone)))[""]
    inside = np.flatnonzero(~stretch.observed[:, 4])
    assert len(inside) == gone.sum() > 0
    assert np.isfinite(stretch.players_ft[inside, 4]).all()
    assert (stretch.sigma_ft[inside, 4] > SETTINGS.usual_sigma_ft).all()
    gone = (table["agent"].to_numpy() == 4) & (np.abs(table["t_s"].to_numpy() - 3.0) < 0.6)
    (stretch,) = games(table.filter(pa.array(~gone)))[""]
    assert np.isnan(stretch.players_ft[~stretch.observed[:, 4], 4]).all(), "a long one stays unknown"


def test_tracks_have_velocities_and_skip_what_is_not_known():
    tracks = imported_tracks(games(tracking_table())[""], SETTINGS)
    TRACKS.check(tracks)
    assert tracks.num_rows == 800
    speed = np.hypot(tracks["vx_ft_s"].to_numpy(), tracks["vy_ft_s"].to_numpy())
    assert np.isfinite(speed).all()
    assert speed.max() < 2.0


def test_a_cut_parts_play():
    later = tracking_table(start_s=8.0)
    later = with_column(later, "x_ft", 94.0 - later["x_ft"].to_numpy())
    first, second = games(pa.concat_tables([tracking_table(), later]))[""]
    assert (len(first.t_s), len(second.t_s)) == (80, 80)
    assert second.t_s[0] == pytest.approx(8.0)


def test_numbers_of_tracks():
    assert track_numbers(("-1", "7", "12")).tolist() == [-1, 7, 12]
    assert track_numbers(("ball", "b", "a", "07")).tolist() == [-1, 2, 1, 0]


def test_jerseys_and_clock_come_along():
    table = tracking_table(period=2, clock_s=100.0)
    jerseys = [None if a < 0 else "00" if a == 0 else str(a) for a in table["agent"].to_pylist()]
    (stretch,) = games(with_column(table, "jersey", jerseys))[""]
    assert stretch.jerseys[:3] == ("00", "1", "2")
    assert (stretch.period == 2).all()
    assert (stretch.clock_s == 100.0).all()


def feet_as(scale: float, shift: tuple[float, float] = (0.0, 0.0)) -> pa.Table:
    table = tracking_table()
    for axis, name in enumerate(("x_ft", "y_ft")):
        table = with_column(table, name, table[name].to_numpy() * scale + shift[axis])
    return table


def moved_times(scale: float) -> pa.Table:
    return with_column(tracking_table(), "t_s", tracking_table()["t_s"].to_numpy() * scale)


def swapped() -> pa.Table:
    table = tracking_table()
    agents, moment = table["agent"].to_numpy().copy(), np.repeat(np.arange(80), 11)
    agents = np.where((moment % 2 == 1) & (agents == 1), 3, np.where((moment % 2 == 1) & (agents == 3), 1, agents))
    return with_column(table, "agent", agents)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (feet_as(1.0, (-47.0, -25.0)), "--origin centre"),
        (feet_as(0.3048), "looks like metres"),
        (feet_as(12.0), "check the units"),
        (moved_times(1000.0), "divide it by 1000"),
        (moved_times(10.0), "1 moments a second; the rules need 5 to 60"),
        (moved_times(0.1), "100 moments a second"),
        (with_column(tracking_table(), "t_s", np.arange(880) * 0.1), "give all bodies of one moment the same 't_s'"),
        (swapped(), "faster than anybody runs"),
        (with_column(tracking_table(), "x_ft", [float("nan")] * 880), "no player with a place"),
    ],
)
def test_data_that_does_not_fit_is_refused_with_advice(table, said):
    with pytest.raises(TrackingError) as refused:
        games(table)
    assert said in str(refused.value)
    assert str(refused.value).endswith(".")


def test_feet_in_metres_columns_are_told():
    table = tracking_table()
    named = table.rename_columns(["t_s", "agent", "x_m", "y_m"])
    with pytest.raises(TrackingError, match="look like feet in columns of metres"):
        games(named)


def test_one_agent_in_two_teams_is_refused():
    table = tracking_table()
    teams = [
        "a" if (a < 5 or t > 4) else "b" for a, t in zip(*(table[n].to_pylist() for n in ("agent", "t_s")), strict=True)
    ]
    with pytest.raises(TrackingError, match="in another team"):
        games(with_column(table, "team", teams))


@pytest.mark.parametrize("rate", [5.0, 8.33, 25.0, 60.0])
def test_any_rate(rate):
    (stretch,) = games(tracking_table(rate=rate))[""]
    assert len(stretch.t_s) == pytest.approx(8 * rate, abs=2)


def test_the_court_from_its_centre():
    (one,) = games(tracking_table())[""]
    (other,) = games(feet_as(1.0, (-47.0, -25.0)), Convention("centre"))[""]
    assert one.players_ft == pytest.approx(other.players_ft)
    assert np.abs(other.players_ft.mean(axis=0) - SPOTS_FT).max() < 1.5
