"""The ball's story when only places are known: in whose hands, in the air, at a ring, or loose, moment by moment.

Every state has a cost a second by how well the places fit it, every change of state a price, and the cheapest story is
found by dynamic programming. That is the published hold rule (ball within 5 ft, slower than 25 ft/s; Hauri & Vucetic
2022, arXiv:2209.00451) with continuity: a pass that flies past a player is no hold of his, and a contested place goes
to who had the ball before and has it after. All costs are by the second, so that the rate does not matter; how much
places shake is told from the data.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.ball.settings import PlacesSettings
from pipeline.court.attack_frame import ENDS, ring_ft
from pipeline.court.rule_books import RuleBook
from pipeline.players.slopes import shake_of, smoothed, velocities

NOBODY = -1
IN_AIR = 3
"""States of a ball in the air: last had by team 0, by team 1, by nobody known."""
RINGS = 2
FREE = 1
OTHER_STATES = IN_AIR + RINGS + FREE
"""After the players' states: in the air (3), at the left and right ring, loose."""


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places of one unbroken stretch of play: T moments, N players.

    Attributes
    ----------
    t_s : (T,) ndarray
        Rising; steps may differ.
    ball_ft : (T, 2) ndarray
        Floor point under the ball, court frame; NaN where not known.
    ball_z_ft : (T,) ndarray
        Its height; NaN where not known.
    players_ft : (T, N, 2) ndarray
        NaN where not known.
    teams : (N,) int ndarray
        0, 1 or -1.
    """

    t_s: np.ndarray
    ball_ft: np.ndarray
    ball_z_ft: np.ndarray
    players_ft: np.ndarray
    teams: np.ndarray


def ball_states(places: Places, book: RuleBook, rules: PlacesSettings) -> np.ndarray:
    """The cheapest story: per moment the holder's column, or N plus the state as in :data:`OTHER_STATES`.

    Returns
    -------
    (T,) int ndarray
        Empty for no moment.
    """
    cost = _state_costs(*_steadied(places, rules), book, rules) * _seconds(places.t_s, rules)[:, None]
    change = _change_costs(places.teams, rules)
    count, states = cost.shape
    if not count:
        return np.zeros(0, dtype=np.int64)
    came = np.zeros((count, states), dtype=np.int64)
    every = np.arange(states)
    best = cost[0] + np.where(every < states - OTHER_STATES, 0.0, rules.begin_cost)
    for k in range(1, count):
        total = best[:, None] + change
        came[k] = total.argmin(axis=0)
        best = total[came[k], every] + cost[k]
    rings = slice(states - FREE - RINGS, states - FREE)
    best[rings] -= rules.end_at_ring_gain
    state = np.zeros(count, dtype=np.int64)
    state[-1] = int(best.argmin())
    for k in range(count - 1, 0, -1):
        state[k - 1] = came[k, state[k]]
    known = np.isfinite(places.ball_ft).all(axis=1)
    state[~bridged(known, places.t_s, rules.longest_unseen_s)] = states - FREE
    return state


def bridged(known: np.ndarray, t_s: np.ndarray, longest_s: float) -> np.ndarray:
    """Moments known, or between two known ones no farther apart than ``longest_s``; (T,) bool."""
    at = np.flatnonzero(known)
    if not len(at):
        return known.copy()
    here = np.arange(len(known))
    later = np.searchsorted(at, here)
    inner = (later > 0) & (later < len(at))
    before, after = at[np.maximum(later - 1, 0)], at[np.minimum(later, len(at) - 1)]
    return known | (inner & (t_s[after] - t_s[before] <= longest_s + 1e-9))


def _seconds(t_s: np.ndarray, rules: PlacesSettings) -> np.ndarray:
    """Time that each moment stands for; a gap counts no longer than ``longest_step_s``."""
    step = np.minimum(np.diff(t_s), rules.longest_step_s)
    half = np.concatenate([[0.0], step, [0.0]]) / 2
    return half[:-1] + half[1:] if len(t_s) > 1 else np.full(len(t_s), rules.longest_step_s)


def _steadied(places: Places, rules: PlacesSettings) -> tuple[Places, float]:
    """Places that shake are smoothed; and the one-sigma error of what comes out, told from the players' steps."""
    count, players = places.players_ft.shape[:2]
    flat = places.players_ft.reshape(count, 2 * players)
    shake_ft = shake_of(places.t_s, flat)
    if shake_ft <= rules.steady_ft:
        return places, 0.0
    calm = smoothed(places.t_s, flat, rules.smooth_s).reshape(places.players_ft.shape)
    ball = smoothed(places.t_s, places.ball_ft, rules.smooth_s)
    together = 1.0 + 2.0 * np.floor(rules.smooth_s / float(np.median(np.diff(places.t_s))) + 1e-6)
    return replace(places, players_ft=calm, ball_ft=ball), shake_ft / float(np.sqrt(together))


def _state_costs(places: Places, shake_ft: float, book: RuleBook, rules: PlacesSettings) -> np.ndarray:
    """Costs a second of every state at every moment, (T, N + 6); ``shake_ft`` is the error of a single place.

    What the error alone adds to a squared speed on average is taken off.
    """
    count, players = places.players_ft.shape[:2]
    cost = np.zeros((count, players + OTHER_STATES))
    away = places.players_ft - places.ball_ft[:, None]
    gap = np.linalg.norm(away, axis=2)
    apart = np.linalg.norm(
        velocities(places.t_s, away.reshape(count, 2 * players), rules.speed_s).reshape(away.shape), axis=2
    )
    speed = np.linalg.norm(velocities(places.t_s, places.ball_ft, rules.speed_s), axis=1)
    known = np.isfinite(places.ball_ft).all(axis=1)
    high = places.ball_z_ft > rules.hold_below_ft  # NaN: not known, so not high
    slack = 2.0 * (shake_ft / rules.speed_s) ** 2  # of a speed over ``speed_s`` before and after, both axes
    hold = (np.maximum(gap - rules.arm_ft - shake_ft, 0) / rules.arm_sigma_ft) ** 2
    hold += np.maximum(np.nan_to_num(apart) ** 2 - 2 * slack, 0) / rules.apart_sigma_ft_s**2
    speed = np.sqrt(np.maximum(np.nan_to_num(speed) ** 2 - slack, 0))
    cost[:, :players] = np.where(np.isfinite(gap) & (gap <= rules.hold_within_ft) & ~high[:, None], hold, np.inf)
    slow = np.clip(1 - speed / rules.slow_ft_s, 0, 1)
    turn = np.maximum(_turns(places.t_s, places.ball_ft, rules.speed_s) ** 2 - 6 * slack, 0) / rules.turn_ft_s**2
    turn = np.minimum(turn, rules.most_turn_cost)
    cost[:, players : players + IN_AIR] = (rules.air_cost + rules.slow_air_cost * slow + turn)[:, None]
    for ring, place in enumerate(rings_ft(book)):
        off = np.linalg.norm(places.ball_ft - place, axis=1)
        low = places.ball_z_ft < rules.ring_above_ft
        at = (off / rules.ring_sigma_ft) ** 2 - rules.ring_gain
        cost[:, players + IN_AIR + ring] = np.where((off <= rules.ring_within_ft) & ~low, at, np.inf)
    cost[:, -1] = rules.free_cost + (speed / rules.roll_ft_s) ** 2
    unknown = np.concatenate([np.where(np.isfinite(places.players_ft[..., 0]), 0.0, np.inf), np.zeros((count, 6))], 1)
    cost[~known] = unknown[~known] + rules.unseen_cost
    cost[~known, players + IN_AIR : players + IN_AIR + RINGS] = np.inf
    return cost


def _change_costs(teams: np.ndarray, rules: PlacesSettings) -> np.ndarray:
    """Price of going from one state (row) to another (column)."""
    players = len(teams)
    change = np.full((players + OTHER_STATES,) * 2, np.inf)
    np.fill_diagonal(change, 0.0)
    same = teams[:, None] == teams[None]
    hands = np.where(same, rules.handoff_cost, rules.handoff_cost + rules.steal_cost)
    change[:players, :players] = np.where(np.eye(players, dtype=bool), 0.0, hands)
    for air, team in enumerate((0, 1, NOBODY)):
        column = players + air
        change[:players, column] = np.where(teams == team, rules.leave_cost, np.inf)
        change[column, :players] = rules.catch_cost + np.where(
            (teams == team) | (team == NOBODY), 0.0, rules.steal_cost
        )
        change[column, players + IN_AIR : -1] = rules.at_ring_cost
    change[:players, players + IN_AIR : -1] = rules.leave_cost + rules.at_ring_cost
    change[: players + IN_AIR, -1] = rules.lose_cost
    change[players + IN_AIR : -1, -1] = 0.0
    change[players + IN_AIR : -1, :players] = rules.catch_cost
    change[-1, :players] = rules.catch_cost
    change[-1, players + IN_AIR : -1] = rules.at_ring_cost
    return change


def _turns(t_s: np.ndarray, ball_ft: np.ndarray, within_s: float) -> np.ndarray:
    """How much the ball's velocity changes at each moment, (T,) ft/s: free flight turns nowhere."""
    if len(t_s) < 3:
        return np.zeros(len(t_s))
    here = np.arange(len(t_s))
    early = np.maximum(np.searchsorted(t_s, t_s - within_s - 1e-9), 0)
    early = np.minimum(early, np.maximum(here - 1, 0))
    late = np.minimum(np.searchsorted(t_s, t_s + within_s + 1e-9) - 1, len(t_s) - 1)
    late = np.maximum(late, np.minimum(here + 1, len(t_s) - 1))
    before = (ball_ft - ball_ft[early]) / np.maximum(t_s - t_s[early], 1e-9)[:, None]
    after = (ball_ft[late] - ball_ft) / np.maximum(t_s[late] - t_s, 1e-9)[:, None]
    turn = np.linalg.norm(after - before, axis=1)
    turn[[0, -1]] = 0.0
    return np.nan_to_num(turn)


def rings_ft(book: RuleBook) -> np.ndarray:
    """Points under the left and the right ring, (2, 2)."""
    return np.array([ring_ft(book, end) for end in ENDS])
