"""Possessions, sides and dribbles by hand."""

import numpy as np
import pytest

from pipeline.ball.dribble import dribbles
from pipeline.ball.possessions import attacked_end, floor_of, possessions
from pipeline.ball.settings import DribbleSettings, SideSettings
from pipeline.ball.sides import attacked_sides, attacking_teams, owners_of_rings
from pipeline.ball.tables import TOUCHES
from pipeline.court.rule_books import RULE_BOOKS
from pipeline.players.tables import TRACKS

BOOK = RULE_BOOKS["nba"]


def _touches(*rows):
    """(kind, start, end, track, team) in film shot 1, or 0 with a sixth value."""
    return TOUCHES.from_rows(
        [
            {
                "touch": k,
                "shot": row[5] if len(row) > 5 else 1,
                "kind": row[0],
                "start_s": row[1],
                "end_s": row[2],
                "track": row[3],
                "to_track": None,
                "team": row[4],
                "score": 0.8,
            }
            for k, row in enumerate(rows)
        ]
    )


def _tracks(x_ft, seconds=40.0, shot=1, y_ft=None):
    """Ten players, 0-4 of team 0; ``x_ft`` a number or a function of time, ``y_ft`` ten values."""
    rows = []
    for t in np.arange(0, seconds, 0.1):
        for n in range(10):
            x = x_ft(t) if callable(x_ft) else x_ft
            x = x if np.isscalar(x) else x[n]
            rows.append(
                {"frame": round(t * 10), "t_s": float(t), "shot": shot, "track": n, "role": "player", "team": n // 5}
                | {"x_ft": float(x), "y_ft": float(5 + 4 * n if y_ft is None else y_ft[n]), "observed": True}
            )
    return TRACKS.from_rows(rows)


def _spans(table):
    return [(r["team"], r["attacked_end"], round(r["start_s"], 1), round(r["end_s"], 1)) for r in table.to_pylist()]


def test_a_shot_ends_one_and_the_rebound_begins_another():
    touches = _touches(
        ("hold", 0.0, 10.0, 1, 0), ("shot", 10.0, 11.0, 1, 0), ("rebound", 11.0, 12.0, 7, 1), ("hold", 12.0, 20.0, 7, 1)
    )
    tracks = _tracks(lambda t: 20.0 if t < 15 else 70.0)
    assert _spans(possessions(touches, tracks, BOOK)) == [(0, "left", 0.0, 11.0), (1, "right", 12.0, 20.0)]


def test_a_misread_team_does_not_part_a_possession():
    touches = _touches(("hold", 0.0, 6.0, 1, 0), ("hold", 6.5, 8.0, 2, 1), ("hold", 8.5, 14.0, 3, 0))
    assert _spans(possessions(touches, _tracks(20.0), BOOK)) == [(0, "left", 0.0, 14.0)]


def test_a_real_turnover_parts_it():
    touches = _touches(("hold", 0.0, 8.0, 1, 0), ("hold", 9.0, 20.0, 7, 1))
    tracks = _tracks(lambda t: 20.0 if t < 11 else 70.0)
    assert _spans(possessions(touches, tracks, BOOK)) == [(0, "left", 0.0, 8.0), (1, "right", 9.0, 20.0)]


def test_a_rebound_before_a_cut_is_no_possession_but_at_the_end_of_the_film_it_is():
    rows = [("hold", 0.0, 10.0, 1, 0), ("shot", 10.0, 11.0, 1, 0), ("hold", 12.0, 14.0, 7, 1)]
    tracks = _tracks(20.0)
    assert len(possessions(_touches(*rows), tracks, BOOK)) == 2
    later = ("hold", 20.0, 25.0, 2, 0, 2)  # in another shot, of which nobody is known
    assert _spans(possessions(_touches(*rows, later), tracks, BOOK)) == [(0, "left", 0.0, 11.0)]


def test_free_throws_are_no_possession():
    line = BOOK.lane_length_ft + 1.0
    x = np.array([line, 40, 40, 10, 14, 6, 10, 14, 40, 40], dtype=float)
    y = np.array([25, 10, 40, 15, 35, 35, 35, 15, 15, 30], dtype=float)
    touches = _touches(
        ("hold", 0.0, 5.0, 0, 0),
        ("shot", 5.0, 6.0, 0, 0),
        ("hold", 10.0, 14.0, 0, 0),
        ("shot", 14.0, 15.0, 0, 0),
        ("hold", 16.0, 25.0, 7, 1),
    )

    def places(t):
        return x if t < 15 else np.full(10, 60.0)

    assert _spans(possessions(touches, _tracks(places, y_ft=y), BOOK)) == [(1, "right", 16.0, 25.0)]
    crowded = x.copy()
    crowded[5] = line - 3  # a defender before him: a jump shot
    y[5] = 25
    found = possessions(touches, _tracks(lambda t: crowded if t < 15 else np.full(10, 60.0), y_ft=y), BOOK)
    assert len(found) == 3


def test_the_half_court_phase_begins_with_ball_and_four_past_half():
    touches = _touches(("hold", 0.0, 12.0, 1, 0))

    def places(t):
        x = np.full(10, 70.0 - 6 * t)
        x[2] = 80.0  # one stays behind
        return x

    found = possessions(touches, _tracks(places, seconds=12), BOOK).to_pylist()
    assert found[0]["half_court_s"] == pytest.approx((70 - 47) / 6, abs=0.15)
    never = possessions(touches, _tracks(lambda t: 60.0 if t < 11 else 30.0, seconds=11), BOOK).to_pylist()
    assert never[0]["attacked_end"] == "right"


def test_nobody_known_means_no_end():
    assert attacked_end(floor_of(TRACKS.empty()), 0.0, 1.0, BOOK) == (None, 0.0)
    assert possessions(_touches(("hold", 0.0, 5.0, 1, 0)), TRACKS.empty(), BOOK).num_rows == 0


# ---- sides ----


def _game(flip_s=1e9, seconds=240.0, step=0.5):
    """Team 0 attacks the left ring and team 1 the right one in turns of 20 s; a third of the holders is misread."""
    rng = np.random.default_rng(0)
    times = np.arange(0, seconds, step)
    team = (times // 20 % 2).astype(int)
    side = np.where(times < flip_s, team, 1 - team)
    seen = np.where(rng.random(len(times)) < 0.33, 1 - team, team)
    return times, side, team, seen


def test_the_team_that_mostly_holds_the_ball_at_a_side_attacks_it():
    times, side, team, seen = _game()
    found = attacking_teams(times, side, seen, np.full(len(times), 0.5), SideSettings())
    np.testing.assert_array_equal(found, team)
    assert owners_of_rings(side, found) == (0, 1)
    assert owners_of_rings(side, 1 - found) == (1, 0)
    assert owners_of_rings(np.zeros(0, int), np.zeros(0, int)) == (-1, -1)


def test_teams_may_change_sides_at_half_time():
    times, side, team, seen = _game(flip_s=1200.0, seconds=2400.0)
    found = attacking_teams(times, side, seen, np.full(len(times), 0.5), SideSettings())
    away = np.abs(times - 1200)
    np.testing.assert_array_equal(found[away > 300], team[away > 300])
    wrong = (found != team) & (found >= 0)
    assert not wrong[away > 60].any()  # near the change it is unsure, not wrong


def test_an_unclear_vote_or_none_says_nothing():
    times = np.arange(40.0)
    even = np.arange(40) % 2
    weights = np.ones(40)
    assert (attacking_teams(times, np.zeros(40, int), even, weights, SideSettings()) == -1).all()
    assert (attacking_teams(times, np.full(40, -1), even, weights, SideSettings()) == -1).all()
    assert (attacking_teams(times, np.zeros(40, int), np.full(40, -1), weights, SideSettings()) == -1).all()
    assert len(attacking_teams(np.zeros(0), np.zeros(0, int), np.zeros(0, int), np.zeros(0), SideSettings())) == 0


def test_play_is_where_the_players_will_be():
    times = np.arange(10) * 1.0
    x = np.tile(np.where(times < 5, 20.0, 70.0)[:, None], (1, 4))
    x[9] = np.nan
    sides = attacked_sides(times, x, BOOK, SideSettings())
    np.testing.assert_array_equal(sides, [0, 0, 0, 1, 1, 1, 1, -1, -1, -1])
    np.testing.assert_array_equal(attacked_sides(times, 94 - x, BOOK, SideSettings())[:7], 1 - sides[:7])
    assert (attacked_sides(times, np.zeros((10, 0)), BOOK, SideSettings()) == -1).all()


# ---- dribbles ----


def test_a_bouncing_ball_is_a_dribble_and_a_still_or_hidden_one_is_not():
    times = np.arange(60) * 0.08
    height = np.where(times < 2.4, 0.4 + 2.3 * np.abs(np.cos(np.pi * times / 0.56)), 3.9)
    found = dribbles(times, height, DribbleSettings())
    assert len(found) == 1
    assert times[found[0][0]] < 0.3
    assert abs(times[found[0][1] - 1] - 2.4) < 0.35
    assert dribbles(times, np.full(60, 3.9), DribbleSettings()) == []
    assert dribbles(times, np.full(60, np.nan), DribbleSettings()) == []
    hidden = np.where((times > 0.8) & (times < 1.8), np.nan, height)
    assert len(dribbles(times, hidden, DribbleSettings())) == 2
