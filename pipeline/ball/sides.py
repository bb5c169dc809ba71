"""Sides: which half play is in, and which team attacks it.

Ten players tell where play is better than one small ball does, and a team attacks the same ring for a whole
half of the game. So the half in which most players will stand in a moment says where the attack goes, and the
team that mostly holds the ball there, over minutes, is the one that attacks it.
"""

from __future__ import annotations

import warnings

import numpy as np

from pipeline.ball.settings import SideSettings
from pipeline.court.rule_books import RuleBook

LEFT, RIGHT, UNKNOWN = 0, 1, -1


def attacked_sides(times_s: np.ndarray, x_ft: np.ndarray, book: RuleBook, settings: SideSettings) -> np.ndarray:
    """The half in which play is or is about to be.

    Parameters
    ----------
    times_s : (F,) ndarray
    x_ft : (F, N) ndarray
        Of all players, NaN where not known.

    Returns
    -------
    (F,) int ndarray
        ``LEFT`` or ``RIGHT``, the half of the players' median ``ahead_s`` later (or at the end of the shot);
        ``UNKNOWN`` where nobody is known then.
    """
    if not len(times_s):
        return np.zeros(0, dtype=np.int64)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # frames in which nobody is known
        middle = np.nanmedian(x_ft, axis=1) if x_ft.shape[1] else np.full(len(times_s), np.nan)
    later = np.minimum(np.searchsorted(times_s, times_s + settings.ahead_s), len(times_s) - 1)
    ahead = middle[later]
    return np.where(np.isfinite(ahead), np.where(ahead < book.length_ft / 2, LEFT, RIGHT), UNKNOWN)


def attacking_teams(
    times_s: np.ndarray, sides: np.ndarray, teams: np.ndarray, weights: np.ndarray, settings: SideSettings
) -> np.ndarray:
    """The team that attacks the side of each moment.

    Parameters
    ----------
    times_s, sides, teams : (M,) ndarray
        Moments of the whole film with the side of play and the team that seems to hold the ball, -1 unknown.
    weights : (M,) ndarray
        Seconds that each moment stands for.

    Returns
    -------
    (M,) int ndarray
        0 or 1: the team with at least ``least_share`` of the held time at that side, counted within ``window_s``, and
        on the other side for the other team (teams attack opposite rings); -1 where the vote is unclear or rests on
        less than ``least_votes_s``.
    """
    result = np.full(len(times_s), UNKNOWN, dtype=np.int64)
    votes = (sides != UNKNOWN) & (teams >= 0)
    # a vote for team 0 attacking the left ring, or, which is the same, team 1 the right one
    straight = np.where(votes & ((teams == 0) == (sides == LEFT)), weights, 0.0)
    crossed = np.where(votes, weights, 0.0) - straight
    order = np.argsort(times_s, kind="stable")
    sorted_s = times_s[order]
    sums = [np.concatenate([[0.0], np.cumsum(v[order])]) for v in (straight, crossed)]
    low = np.searchsorted(sorted_s, times_s - settings.window_s, side="left")
    high = np.searchsorted(sorted_s, times_s + settings.window_s, side="right")
    for_straight, for_crossed = (s[high] - s[low] for s in sums)
    total = for_straight + for_crossed
    clear = (total >= settings.least_votes_s) & (
        np.maximum(for_straight, for_crossed) >= settings.least_share * np.maximum(total, 1e-9)
    )
    clear &= sides != UNKNOWN
    team = np.where((for_straight >= for_crossed) == (sides == LEFT), 0, 1)
    result[clear] = team[clear]
    return result


def owners_of_rings(sides: np.ndarray, attacking: np.ndarray) -> tuple[int, int]:
    """The teams that attack the left and the right ring, -1 unknown.

    Parameters
    ----------
    sides, attacking : (M,) int ndarray
        Side of play and attacking team of moments of one half of the game.
    """
    known = (sides != UNKNOWN) & (attacking >= 0)
    left = np.where(sides == LEFT, attacking, 1 - attacking)[known]
    if not len(left):
        return UNKNOWN, UNKNOWN
    owner = int(np.mean(left) > 0.5)
    return owner, 1 - owner
