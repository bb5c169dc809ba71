"""Which team a sighting's clothes lean to, and where a path's clothes turn."""

import numpy as np
import pytest

from pipeline.players.settings import LeanSettings, TeamSettings
from pipeline.players.team_lean import fit_lean, turns

SETTINGS, TEAMS = LeanSettings(), TeamSettings()


def dressed(apart, seed=0, bodies=10, count=60):
    """What each path of a film wears (team of a body: its parity), how much is covered, and its kit's vote."""
    rng = np.random.default_rng(seed)
    own = rng.normal(0, 0.5, (bodies, 8))
    own[:, 0] += apart * (np.arange(bodies) % 2)
    covered = [rng.uniform(0, 0.8, count) for _ in range(bodies)]
    # where others cover a body, what is read of it is partly theirs
    worn = [
        own[k] + rng.normal(0, 1, (count, 8)) + (share > 0.6)[:, None] * rng.normal(0, 6, (count, 8))
        for k, share in enumerate(covered)
    ]
    return worn, covered, np.where(np.arange(bodies) % 2, 0.9, -0.8)


def test_clear_sightings_tell_the_team_and_covered_ones_say_less():
    worn, covered, votes = dressed(apart=8.0)
    lean = fit_lean(worn, covered, votes, SETTINGS, TEAMS)
    assert lean is not None
    assert np.all(np.diff(lean.slope) <= 0)
    for body, (own, share) in enumerate(zip(worn, covered, strict=True)):
        odds = lean.log_odds(own, share, SETTINGS) * (1 if body % 2 else -1)
        assert np.mean(odds[share < 0.3] > 0) > 0.95
        assert np.abs(odds).max() <= SETTINGS.most_odds
        assert np.abs(odds[share > 0.7]).mean() < np.abs(odds[share < 0.3]).mean()
    unread = np.full((3, 8), np.nan)
    assert np.all(lean.log_odds(unread, np.zeros(3), SETTINGS) == 0)


def test_teams_are_named_as_the_kits_say():
    worn, covered, votes = dressed(apart=8.0)
    here, there = (fit_lean(worn, covered, sign * votes, SETTINGS, TEAMS) for sign in (1, -1))
    assert here is not None
    assert there is not None
    odds = [lean.log_odds(worn[1], covered[1], SETTINGS) for lean in (here, there)]
    assert odds[0] == pytest.approx(-odds[1])


def test_too_few_paths_or_unread_ones_teach_nothing():
    worn, covered, votes = dressed(apart=8.0)
    assert fit_lean(worn[:4], covered[:4], votes[:4], SETTINGS, TEAMS) is None
    assert fit_lean([np.full_like(w, np.nan) for w in worn], covered, votes, SETTINGS, TEAMS) is None
    assert fit_lean([], [], np.zeros(0), SETTINGS, TEAMS) is None


def test_a_path_turns_where_its_clothes_do_and_not_for_one_odd_sighting():
    odds = np.concatenate([np.full(20, 1.0), np.full(15, -1.0), np.full(20, 1.0)])
    assert turns(odds, 3.0) == [20, 35]
    odd = np.full(30, 1.0)
    odd[12] = -4.0
    assert turns(odd, 3.0) == []
    assert turns(-odds[::-1], 3.0) == [20, 35]
    assert turns(np.zeros(0), 3.0) == turns(np.zeros(5), 3.0) == []
