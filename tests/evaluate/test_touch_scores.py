"""Touches and possessions against their truth."""

import pytest

from pipeline.evaluate.touch_scores import matched, possession_scores, touch_scores

SAME = {k: k for k in range(13)}


def _touch(kind, start_s, end_s, track, to=None, team=0):
    return {"kind": kind, "start_s": start_s, "end_s": end_s, "track": track, "to_track": to, "team": team}


def _possession(end, start_s, end_s, half_court_s=None):
    return {"attacked_end": end, "start_s": start_s, "end_s": end_s, "half_court_s": half_court_s}


TRUE = [
    _touch("hold", 0.0, 2.0, 1),
    _touch("dribble", 0.5, 1.5, 1),
    _touch("pass", 2.0, 2.6, 1, 2),
    _touch("hold", 2.6, 4.0, 2),
    _touch("handoff", 4.0, 4.2, 2, 3),
    _touch("shot", 6.0, 7.0, 3),
    _touch("rebound", 7.0, 8.0, 7, team=1),
    _touch("pass", 9.0, 9.5, 10, 1, team=-1),
]


def test_the_truth_scores_one_against_itself():
    scores = touch_scores(TRUE, TRUE, SAME, 0.5)
    for name, count in (("passes", 2), ("handoffs", 1), ("shots", 1), ("rebounds", 1)):
        assert (scores[name]["f1"], scores[name]["truth"]) == (1.0, count)
    assert scores["dribble"] == {"precision": 1.0, "recall": 1.0, "found_s": 1.0, "truth_s": 1.0}


def test_wrong_players_and_wrong_times_are_wrong_and_an_officials_throw_is_no_pass():
    found = [_touch("pass", 2.0, 2.6, 1, 4), _touch("pass", 4.9, 5.2, 2, 3), _touch("pass", 9.0, 9.5, 10, 1, team=-1)]
    scores = touch_scores(found, TRUE, SAME, 0.5)
    assert (scores["passes"]["right"], scores["passes"]["found"]) == (0, 2)
    late_end = touch_scores([_touch("handoff", 2.9, 2.9, 1, 2)], TRUE, SAME, 0.5)
    assert late_end["passes"]["right"] == 1  # its end is near; a handoff found for a short pass is a change of hands
    assert late_end["handoffs"]["right"] == 0


def test_nothing_found_or_true_is_null_not_zero():
    scores = touch_scores([], [], SAME, 0.5)
    assert scores["passes"]["f1"] is None
    assert scores["dribble"]["recall"] is None
    assert possession_scores([], [], 0.5)["possessions"]["f1"] is None
    assert matched([], TRUE, lambda found, true: found == true) == []


def test_possessions_need_the_ring_and_the_time():
    true = [_possession("left", 0, 10, 3.0), _possession("right", 12, 20, 15.0)]
    found = [_possession("left", 2, 10, 3.4), _possession("left", 12, 20, 15.0)]
    scores = possession_scores(found, true, 0.5)
    assert scores["possessions"]["right"] == 1
    assert scores["half_court"]["median_off_s"] == pytest.approx(0.4)
    assert possession_scores([_possession("left", 0, 4)], true, 0.5)["possessions"]["right"] == 0
