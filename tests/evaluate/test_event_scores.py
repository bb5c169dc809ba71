"""Scores of events: what is right, what counts neither way, and what is compared."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.actions.events import Event, events_to_table
from pipeline.actions.tables import ACTIONS
from pipeline.actions.vocabulary import KINDS, UNKNOWN
from pipeline.errors import DataError
from pipeline.evaluate.event_scores import EventScoreSettings, leading_roles, score_events, score_sets, together
from pipeline.evaluate.games import Family, actors_of, as_lines, found_again, game_pairs, score_games
from pipeline.players.tables import TRACKS
from pipeline.settings import Settings
from pipeline.tables import TableSpec

ROOT = Path(__file__).resolve().parents[2]
RULE = EventScoreSettings()


def same(track: int, _t_s: float) -> int | None:
    """Tracks are actors."""
    return track


def an_event(kind: str = "pass", t_s: float = 5.0, actors: tuple = (("passer", 1), ("receiver", 2)), **more) -> Event:
    given = {"start_s": t_s - 0.5, "end_s": t_s + 0.5, "measures": {}, "traits": {}, **more}
    return Event(
        kind=kind, shot=0, possession=0, t_s=t_s, actors=actors, place_ft=(20.0, 25.0), attacked_end="left",
        score=1.0, **given,
    )  # fmt: skip


def test_leading_roles_end_before_the_first_defender():
    assert leading_roles("on_ball_screen") == ("handler", "screener")
    assert leading_roles("zipper_cut") == ("cutter",)
    assert leading_roles("denial") == ("receiver",)
    assert leading_roles("crowded_paint") == ()
    assert all(leading_roles(kind.name) for kind in KINDS)


def test_the_same_events_are_all_right():
    events = [an_event(), an_event("drive", 9.0, (("handler", 3),)), an_event("touch", 4.0, (("handler", 1),))]
    tallies = score_events(events, events, same, RULE)
    assert all((t.right, t.found, t.true) == (1, 1, 1) for t in tallies.values())
    assert together(tallies)["mean_f1"] == 1.0


@pytest.mark.parametrize(
    ("change", "right"),
    [
        ({"t_s": 5.7}, 1),
        ({"t_s": 5.9}, 0),
        ({"actors": (("passer", 1), ("receiver", 3))}, 0),
        ({"actors": (("passer", 2), ("receiver", 1))}, 0),
        ({"actors": (("passer", 1),)}, 0),
        ({"kind": "handoff"}, 0),
    ],
)
def test_what_makes_a_find_right(change: dict, right: int):
    tally = score_events([replace(an_event(), **change)], [an_event()], same, RULE)["pass"]
    assert tally.right == right


def test_a_defender_may_differ_and_is_told():
    true = an_event("drive", actors=(("handler", 1), ("on_ball_defender", 6)))
    found = an_event("drive", actors=(("handler", 1), ("on_ball_defender", 7)))
    tally = score_events([found], [true], same, RULE)["drive"]
    assert tally.right == 1
    assert tally.report()["other_roles_right"] == 0.0


def test_a_pair_of_alike_has_no_order():
    def twins(*who: int) -> Event:
        return an_event("twins", actors=tuple(zip(("player", "other"), who, strict=True)))

    for who, right in (((1, 2), 1), ((2, 1), 1), ((1, 3), 0)):
        assert score_events([twins(*who)], [twins(1, 2)], same, RULE)["twins"].right == right


def test_lasting_kinds_are_matched_by_shared_time():
    true = an_event("post_up", 5.0, (("poster", 4),), start_s=2.0, end_s=8.0)
    inside = an_event("post_up", 7.9, (("poster", 4),), start_s=6.0, end_s=8.0)
    apart = an_event("post_up", 8.1, (("poster", 4),), start_s=7.5, end_s=9.5)
    assert score_events([inside], [true], same, RULE)["post_up"].right == 1
    assert score_events([apart], [true], same, RULE)["post_up"].right == 0


def test_an_event_that_counts_neither_way():
    unsure = an_event(t_s=9.0)
    tally = score_events([an_event(), unsure], [an_event()], same, RULE, neither=[unsure])["pass"]
    assert (tally.right, tally.found, tally.true) == (1, 1, 1)
    tally = score_events([an_event()], [an_event()], same, RULE, neither=[unsure])["pass"]
    assert (tally.right, tally.found, tally.true) == (1, 1, 1)


def test_a_sure_event_is_served_before_an_unsure_one():
    tally = score_events([an_event(t_s=5.3)], [an_event()], same, RULE, neither=[an_event(t_s=5.3)])["pass"]
    assert (tally.right, tally.found, tally.true) == (1, 1, 1)


def test_measures_and_traits_are_compared_where_both_know():
    true = an_event(
        measures={"length_ft": 20.0, "flight_s": 0.5, "catch_ring_ft": float("nan")},
        traits={"type": "skip", "returned": "no", "denied": UNKNOWN},
    )
    found = an_event(
        measures={"length_ft": 20.5, "flight_s": float("nan")}, traits={"type": "reversal", "returned": UNKNOWN}
    )
    report = score_events([found], [true], same, RULE)["pass"].report()
    assert report["measures"] == {"length_ft": {"median": 0.5, "p95": 0.5, "count": 1}}
    assert report["traits"] == {"type": {"right": 0.0, "count": 1}}
    assert report["unknown"] == {"flight_s": 1, "returned": 1}


def test_sets_need_time_and_roles():
    roles = (("1", 1), ("2", 2), ("4", 4), ("5", 5))
    true = an_event("horns", 5.0, roles, start_s=0.0, end_s=10.0)
    half = an_event("horns", 5.0, (("1", 1), ("2", 2), ("4", 5), ("5", 4)), start_s=1.0, end_s=10.0)
    fewer = an_event("horns", 5.0, (("1", 1), ("2", 9), ("4", 5), ("5", 4)), start_s=1.0, end_s=10.0)
    short = an_event("horns", 5.0, roles, start_s=8.0, end_s=10.0)
    assert [score_sets([f], [true], same, RULE)["horns"].right for f in (half, fewer, short)] == [1, 0, 0]


@given(st.lists(st.floats(0, 60), max_size=8), st.lists(st.floats(0, 60), max_size=8), st.randoms())
def test_order_never_matters(found_s: list[float], true_s: list[float], order):
    found, true = ([an_event(t_s=t) for t in times] for times in (found_s, true_s))
    before = {k: t.report() for k, t in score_events(found, true, same, RULE).items()}
    order.shuffle(found)
    order.shuffle(true)
    after = {k: t.report() for k, t in score_events(found, true, same, RULE).items()}
    for kind, report in before.items():
        assert (report["right"], report["found"], report["truth"]) == tuple(
            after[kind][part] for part in ("right", "found", "truth")
        )
        assert report["right"] <= min(report["found"], report["truth"])


def tracks_of(paths: dict[int, np.ndarray], t_s: np.ndarray):
    """A tracks table of players that stand or move along (T, 2)."""
    rows = []
    for track, xy in paths.items():
        for k, t in enumerate(t_s):
            rows.append(
                {
                    "frame": k, "t_s": float(t), "shot": 0, "track": track, "role": "player", "team": 0,
                    "x_ft": float(xy[k, 0]), "y_ft": float(xy[k, 1]), "observed": True,
                }
            )  # fmt: skip
    return TRACKS.from_rows(rows)


def test_a_track_that_changes_bodies_is_judged_by_whom_it_follows_then():
    t = np.arange(0, 10, 0.1)
    a, b = np.tile([10.0, 10.0], (100, 1)), np.tile([40.0, 30.0], (100, 1))
    actor_of = actors_of(tracks_of({7: np.vstack([a[:50], b[50:]])}, t), tracks_of({1: a, 2: b}, t))
    assert actor_of(7, 2.0) == 1
    assert actor_of(7, 8.0) == 2
    assert actor_of(9, 2.0) is None
    assert actor_of(7, 60.0) is None


def test_games_are_pooled_and_the_lines_tell_them(tmp_path):
    t = np.arange(0, 10, 0.2)
    still = {n: np.tile([10.0 + 8 * n, 20.0], (50, 1)) for n in (1, 2)}

    def write(folder, events):
        for spec, table in ((TRACKS, tracks_of(still, t)), (ACTIONS, events_to_table(events, ACTIONS))):
            assert isinstance(spec, TableSpec)
            folder.mkdir(parents=True, exist_ok=True)
            spec.write(table, folder)

    write(tmp_path / "found" / "one", [an_event()])
    write(tmp_path / "found" / "two", [an_event()])
    write(tmp_path / "true" / "one_truth", [an_event()])
    write(tmp_path / "true" / "two_truth", [an_event(), an_event(t_s=8.0)])
    result = score_games(game_pairs(tmp_path / "found", tmp_path / "true"), Family.ACTIONS)
    assert result["games"] == 2
    assert result["kinds"]["pass"]["recall"] == pytest.approx(2 / 3)
    assert result["least_kind"] == "pass"
    assert any("| pass | 3 | 2 | 2 |" in line for line in as_lines(result))
    single = score_games(game_pairs(tmp_path / "found" / "one", tmp_path / "true" / "one_truth"), Family.ACTIONS)
    assert single["mean_f1"] == 1.0


def test_doubtful_truth_counts_neither_way(tmp_path):
    t = np.arange(0, 10, 0.2)
    for name, events in (("found", [an_event(), an_event(t_s=8.0)]), ("true", [an_event()])):
        (tmp_path / name).mkdir()
        TRACKS.write(tracks_of({n: np.tile([10.0 + 8 * n, 20.0], (50, 1)) for n in (1, 2)}, t), tmp_path / name)
        ACTIONS.write(events_to_table(events, ACTIONS), tmp_path / name)
    pairs = game_pairs(tmp_path / "found", tmp_path / "true")
    assert score_games(pairs, Family.ACTIONS)["kinds"]["pass"]["precision"] == 0.5
    doubtful = replace(ACTIONS, name="actions_unsure")
    doubtful.write(events_to_table([an_event(t_s=8.0)], doubtful), tmp_path / "true")
    assert score_games(pairs, Family.ACTIONS)["kinds"]["pass"]["precision"] == 1.0


def test_what_is_found_anew_from_the_tracks_alone(tmp_path):
    truth = ROOT / "sample_clips" / "crowded_drive_truth"
    again = found_again(truth, tmp_path / "again", Settings())
    result = score_games(game_pairs(again, truth), Family.FAULTS)
    assert result["kinds"]["crowded_paint"]["recall"] == 1.0


@pytest.mark.parametrize("called", ["held_1", "held-1", "held_1_seen", "held_1_truth"])
def test_films_and_truths_are_paired_by_name(called, tmp_path):
    truth = tmp_path / "truth" / "held_1_truth"
    TRACKS.write(TRACKS.empty(), truth)
    (tmp_path / "library" / "games" / called).mkdir(parents=True)
    assert game_pairs(tmp_path / "library", tmp_path / "truth") == {
        "held_1": (tmp_path / "library" / "games" / called, truth)
    }


def test_what_is_missing_is_said(tmp_path):
    with pytest.raises(DataError, match="no truth tables"):
        game_pairs(tmp_path, tmp_path)
    folder = tmp_path / "true" / "one_truth"
    folder.mkdir(parents=True)
    TRACKS.write(TRACKS.empty(), folder)
    with pytest.raises(DataError, match="no game 'one'"):
        game_pairs(tmp_path, tmp_path / "true")
    with pytest.raises(DataError, match="rule book"):
        found_again(folder, tmp_path / "again", Settings())
    with pytest.raises(DataError, match=r"actions\.parquet"):
        score_games(game_pairs(folder, folder), Family.ACTIONS)
