"""Drives, on-ball screens and turned corners on made-up play whose geometry is known."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.actions.corners import CornersTurned
from pipeline.actions.events import events_from_table, events_to_table
from pipeline.actions.recognisers import RECOGNISERS, find_actions
from pipeline.actions.settings import ActionSettings, DriveSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.tables import ACTIONS
from pipeline.actions.view import NOBODY
from pipeline.actions.view_building import possession_views
from pipeline.ball.imported_ball import PlayTables
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.players.tables import TRACKS
from tests.actions.made_up import NBA, RULES, found, play, straight, times


@pytest.mark.parametrize("step_s", [0.04, 0.08, 0.12, 1 / 12.5])
@pytest.mark.parametrize("end", ["left", "right"])
def test_a_straight_drive_is_found_where_and_when_it_was(step_s, end):
    t = times(step_s)
    drives = [e for e in found(play({0: straight(t, (26, 0), (4, 0), 1.0, 14)}, t, end=end)) if e.kind == "drive"]
    (drive,) = drives
    assert drive.actor("handler") == 0
    assert drive.attacked_end == end
    assert drive.start_s == pytest.approx(1.0, abs=0.15)
    # The free-throw line is 13.75 ft from the ring: 12.25 ft of way at 14 ft/s.
    assert drive.measures["paint_entry_s"] == pytest.approx(1.0 + 12.25 / 14, abs=step_s + 1e-6)
    assert drive.measures["gain_ft"] == pytest.approx(22, abs=2.5)
    assert drive.measures["top_speed_ft_s"] == pytest.approx(14, abs=0.1)
    assert drive.score == 1.0


@pytest.mark.parametrize(
    ("stop", "speed", "why"),
    [
        ((4, 0), 7.5, "too slow"),
        ((19.5, 0), 14, "stops far out"),
        ((26, 20), 14, "goes sideways"),
        ((38, 0), 14, "goes away"),
    ],
)
def test_what_is_no_drive(stop, speed, why):
    t = times()
    assert not [e for e in found(play({0: straight(t, (26, 0), stop, 1.0, speed)}, t)) if e.kind == "drive"], why


def test_a_short_gain_is_no_drive_unless_the_setting_says_so():
    t = times()
    p = play({0: straight(t, (18, 0), (11, 0), 1.0, 12)}, t)
    assert not [e for e in found(p) if e.kind == "drive"]
    rules = ActionSettings(drive=DriveSettings(gain_ft=5))
    assert [e for e in found(p, rules) if e.kind == "drive"]


def test_a_cut_without_the_ball_is_no_drive():
    t = times()
    assert not [e for e in found(play({1: straight(t, (26, 0), (4, 0), 1.0, 14)}, t)) if e.kind == "drive"]


def test_a_drive_along_the_baseline_enters_over_the_lane_line():
    t = times()
    (drive,) = [e for e in found(play({0: straight(t, (0, 22), (0, 2), 1.0, 14)}, t)) if e.kind == "drive"]
    assert drive.measures["paint_entry_s"] == pytest.approx(1.0 + 14 / 14, abs=0.09)


def test_gaps_in_the_handlers_own_hold_do_not_end_the_drive():
    t = times()
    p = play({0: straight(t, (26, 0), (4, 0), 1.0, 14)}, t)
    hold = p.touches.to_pylist()[0]
    parts = [{**hold, "touch": 0, "end_s": 1.5}, {**hold, "touch": 1, "start_s": 1.9}]
    cut = PlayTables(p.tracks, p.ball, TOUCHES.from_rows(parts), p.possessions)
    (drive,) = [e for e in found(cut) if e.kind == "drive"]
    assert drive.measures["gain_ft"] > 18


def test_the_ball_with_somebody_else_in_between_ends_the_hold():
    t = times()
    p = play({0: straight(t, (26, 0), (4, 0), 1.0, 14)}, t)
    hold = p.touches.to_pylist()[0]
    parts = [
        {**hold, "touch": 0, "end_s": 1.3},
        {**hold, "touch": 1, "track": 1, "start_s": 1.4, "end_s": 1.5},
        {**hold, "touch": 2, "start_s": 1.6, "end_s": 1.7},
    ]
    cut = PlayTables(p.tracks, p.ball, TOUCHES.from_rows(parts), p.possessions)
    assert not [e for e in found(cut) if e.kind == "drive"]


def screen_play(
    t: np.ndarray, *, mirror: int = 1, screener=(20.0, 6.0), mate: int = 1, end: str = "left"
) -> PlayTables:
    """The handler comes off a screen on the wing side and turns to the ring."""
    side = np.array([1, mirror])
    to_screen = straight(t, np.array((24, 0)) * side, np.array((22.0, 8.5)) * side, 1.0, 10)
    turn = 1.0 + np.linalg.norm(np.array((24, 0)) - np.array((22.0, 8.5))) / 10
    to_ring = straight(t, np.array((22.0, 8.5)) * side, np.array((4, 1)) * side, turn, 14)
    handler = np.where((t < turn)[:, None], to_screen, to_ring)
    guard = handler + np.array([-2.0, -1.0]) * side
    return play({0: handler, mate: np.tile(np.array(screener) * side, (len(t), 1)), 5: guard}, t, end=end)


@pytest.mark.parametrize("mirror", [1, -1])
@pytest.mark.parametrize("end", ["left", "right"])
def test_a_screen_and_the_corner_off_it(mirror, end):
    t = times()
    events = found(screen_play(t, mirror=mirror, end=end))
    (screen,) = [e for e in events if e.kind == "on_ball_screen"]
    assert (screen.actor("handler"), screen.actor("screener"), screen.actor("on_ball_defender")) == (0, 1, 5)
    assert screen.measures["closest_ft"] < 4
    assert screen.traits["contact"] == "yes"
    assert screen.measures["screener_speed_ft_s"] == pytest.approx(0.0, abs=1e-9)
    (corner,) = [e for e in events if e.kind == "corner_turned"]
    turn = 1.0 + np.hypot(2, 8.5) / 10
    assert turn - 0.1 <= corner.t_s <= turn + 0.5
    assert corner.measures["off_ring_deg"] <= 35


@pytest.mark.parametrize("place", [(12.0, 7.0), (30.0, 6.0), (20.0, -14.0)])
def test_a_mate_in_the_paint_behind_the_ball_or_far_off_sets_no_screen(place):
    assert not [e for e in found(screen_play(times(), screener=place)) if e.kind == "on_ball_screen"]


def test_a_handler_who_backs_off_turns_no_corner():
    t = times()
    handler = straight(t, (24, 0), (30, 9), 1.0, 10)
    events = found(play({0: handler, 1: np.tile((24.0, 4.0), (len(t), 1)), 5: handler - 2}, t))
    assert not [e for e in events if e.kind == "corner_turned"]


@pytest.mark.parametrize(("speed_ft_s", "turned"), [(9, True), (15, False)])
def test_a_way_that_only_grazes_the_ring_must_do_so_for_long(speed_ft_s, turned):
    t = times()
    way = 60 * np.array([-np.cos(np.radians(30.6)), np.sin(np.radians(30.6))])  # never surely, up to 35 for 5.5 ft
    handler = straight(t, (40, 0), way + np.array((40, 0)), 1.0, speed_ft_s)
    p = play({0: handler, 1: np.tile((40.0, -3.0), (len(t), 1)), 5: handler + np.array((-3, 3))}, t)
    (view,) = possession_views(p.tracks, p.ball, p.touches, p.possessions, NBA, RULES)
    (drawn,) = [e for e in found(screen_play(t)) if e.kind == "on_ball_screen"]
    corners = CornersTurned().find(view, [replace(drawn, t_s=0.9)], RULES)
    assert bool(corners) is turned
    assert all(corner.t_s == pytest.approx(1.0, abs=0.1) for corner in corners)


def test_player_order_does_not_matter():
    t = times()
    # those who stand all the time are sorted by their names, not by what they do
    first = [e for e in found(screen_play(t, mate=1)) if e.kind != "stand"]
    second = [e for e in found(screen_play(t, mate=3)) if e.kind != "stand"]
    assert [e.kind for e in first] == [e.kind for e in second]
    for a, b in zip(first, second, strict=True):
        assert a.t_s == b.t_s
        assert dict(a.measures) == pytest.approx(dict(b.measures), nan_ok=True)


def test_tables_without_rows_give_no_actions():
    empty = (TRACKS.empty(), BALL.empty(), TOUCHES.empty(), POSSESSIONS.empty())
    assert find_actions(*empty, NBA, RULES).num_rows == 0
    p = screen_play(times())
    assert find_actions(TRACKS.empty(), p.ball, p.touches, p.possessions, NBA, RULES).num_rows == 0
    nobodys_ball = find_actions(p.tracks, BALL.empty(), TOUCHES.empty(), p.possessions, NBA, RULES)
    assert set(nobodys_ball["kind"].to_pylist()) <= {"stand", "basket_cut"}


def test_officials_and_unplaced_tracks_stay_out():
    p = screen_play(times())
    rows = p.tracks.to_pylist()
    for row in rows:
        if row["track"] == 9:
            row["role"] = "official"
        if row["track"] == 8:
            row["x_ft"] = row["y_ft"] = None
    (view,) = possession_views(TRACKS.from_rows(rows), p.ball, p.touches, p.possessions, NBA, RULES)
    assert view.tracks.tolist() == list(range(8))
    assert set(view.handler.tolist()) <= {0, NOBODY}
    with pytest.raises(ValueError, match="read-only"):
        view.uv_ft[0] = 0


def test_a_track_with_holes_keeps_its_holes():
    p = screen_play(times())
    rows = [r for r in p.tracks.to_pylist() if not (r["track"] == 5 and 1.0 < r["t_s"] < 2.0)]
    (view,) = possession_views(TRACKS.from_rows(rows), p.ball, p.touches, p.possessions, NBA, RULES)
    seen = (view.t_s <= 0.96) | (view.t_s >= 2.0)
    assert np.isnan(view.uv_ft[(view.t_s > 1.0) & (view.t_s < 2.0), 5]).all()
    assert np.isfinite(view.uv_ft[seen, 5]).all()
    find_actions(TRACKS.from_rows(rows), p.ball, p.touches, p.possessions, NBA, RULES)


def test_events_survive_the_table():
    events = found(screen_play(times()))
    again = events_from_table(events_to_table(events, ACTIONS))
    for a, b in zip(events, again, strict=True):
        assert (a.kind, a.actors, a.t_s) == (b.kind, b.actors, b.t_s)
        assert a.measures.keys() == b.measures.keys()


def test_every_recogniser_says_what_it_finds():
    kinds = [kind for r in RECOGNISERS for kind in r.kinds]
    assert len(set(kinds)) == len(kinds)
    for recogniser in RECOGNISERS:
        assert type(recogniser).__doc__
        assert recogniser.needs


@given(st.lists(st.booleans(), max_size=40), st.floats(0, 1))
def test_stretches_and_bridges(mask, gap_s):
    mask = np.array(mask, bool)
    t = np.arange(len(mask)) * 0.1
    runs = list(stretches(mask))
    assert sum(b - a for a, b in runs) == mask.sum()
    assert all(b1 < a2 for (_, b1), (a2, _) in itertools.pairwise(runs))
    wide = bridged(mask, t, gap_s)
    assert (wide | mask == wide).all()
    if mask.any():
        assert not wide[: np.argmax(mask)].any()
    for (_, b1), (a2, _) in itertools.pairwise(stretches(wide)):
        assert t[a2] - t[b1 - 1] > gap_s


@settings(max_examples=25, deadline=None)
@given(st.floats(9, 24), st.floats(-18, 18), st.floats(16, 30))
def test_a_drive_mirrored_is_the_same_drive(speed, v, u):
    t = times()
    one, other = (
        [e for e in found(play({0: straight(t, (u, s * v), (3, 0), 0.5, speed)}, t)) if e.kind == "drive"]
        for s in (1, -1)
    )
    assert len(one) == len(other)
    for a, b in zip(one, other, strict=True):
        assert a.t_s == b.t_s
        assert a.measures["gain_ft"] == pytest.approx(b.measures["gain_ft"])
