"""Gains and costs: what a state of the ball earns in a frame, and what a change of state costs.

All are log ratios, for the dynamic programme of :mod:`pipeline.ball.story`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.ball.evidence import NOBODY, PICTURE_FT2, Bodies, Evidence, hold_fit
from pipeline.ball.flights import Flights, possible_flights
from pipeline.ball.settings import BallSettings, EvidenceSettings, StorySettings


@dataclass(frozen=True, slots=True, eq=False)
class Clues:
    """What does not depend on who attacks: fits and flights of one shot."""

    fit: np.ndarray  # (K, N + 2); the last two columns: off the left and the right ring
    flights: Flights


def clues_of(evidence: Evidence, settings: BallSettings) -> Clues:
    """Fits of every detection to every body and ring, and all possible flights."""
    count = len(evidence.bodies.names)
    fit = np.full((len(evidence.moment), count + 2), -np.inf)
    fit[:, :count] = hold_fit(evidence.beside[:, :count], settings.evidence)
    if count and len(fit):
        body = fit[:, :count].argmax(axis=1)
        shoe = worn(
            evidence.moment, body, evidence.beside[np.arange(len(body)), body], evidence.step_s, settings.evidence
        )
        fit[:, :count] -= np.where(shoe, settings.evidence.worn_cost, 0.0)[:, None]
    aside, height = evidence.beside[:, count:, 0], evidence.beside[:, count:, 1]
    wide = settings.flight.after_ring_ft
    high = float(evidence.rings_ft[0, 2]) + 4.0
    density = np.log(PICTURE_FT2 / (settings.evidence.clutter * wide * np.sqrt(2 * np.pi) * high))
    with np.errstate(invalid="ignore"):
        inside = (height > -1.0) & (height < high)
        fit[:, count:] = np.where(inside, density - 0.5 * (aside / wide) ** 2, -np.inf)
    return Clues(fit, possible_flights(evidence, fit[:, :count], settings))


def _same(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Whether teams are known and the same."""
    return (a >= 0) & (a == b)


def _differ(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Whether teams are known and not the same."""
    return (a >= 0) & (b >= 0) & (a != b)


def worn(
    moment: np.ndarray, body: np.ndarray, beside: np.ndarray, step_s: float, settings: EvidenceSettings
) -> np.ndarray:
    """Detections that stay at one spot of a body, below the knee or at the head: shoes and heads, (K,) bool.

    ``moment`` (K,) are frames in order, ``body`` (K,) and ``beside`` (K, 2) the body that fits best and the place
    beside it. A dribbled ball goes up and down, and a ball is held at the head for moments only.
    """
    result = np.zeros(len(moment), dtype=bool)
    around = settings.worn_s / max(step_s, 1e-3)
    first = np.searchsorted(moment, moment - around)
    last = np.searchsorted(moment, moment + around, side="right")
    apart = (beside[:, 1] < settings.knee_ft) | (beside[:, 1] > settings.chin_ft)
    for row in np.flatnonzero(apart):
        window = slice(first[row], last[row])
        near = beside[window][body[window] == body[row]]
        near = near[np.abs(near[:, 0] - beside[row, 0]) < 3.0]
        same = np.abs(near - beside[row]).max(axis=1) < settings.worn_ft
        result[row] = same.sum() >= settings.worn_count and same.mean() >= settings.worn_share
    return result


def held_gains(
    evidence: Evidence, clues: Clues, attacking: np.ndarray | None, costs: StorySettings
) -> tuple[np.ndarray, np.ndarray]:
    """Gain of each body holding the ball in each frame (F, N), and by which detection."""
    e = evidence
    frames, count = e.bodies.place_ft.shape[:2]
    known = np.isfinite(e.bodies.place_ft[..., 0])
    gain = np.where(known, -costs.hidden_held, -costs.hidden_held - 1.0)
    row = np.full((frames, count), NOBODY)
    for k, view in e.views.items():
        rows = e.rows(k)
        if count:
            px = view.project_floor(np.nan_to_num(e.bodies.place_ft[k]))
            outside = ~np.all((px >= 0) & (px <= np.asarray(view.size_px)), axis=1) & known[k]
            gain[k, outside] = -0.5 * costs.hidden_held
        if rows.stop == rows.start or not count:
            continue
        seen = clues.fit[rows, :count] + e.gain[rows, None]
        best = seen.argmax(axis=0)
        top = seen[best, np.arange(count)]
        better = top > gain[k]
        gain[k, better], row[k, better] = top[better], rows.start + best[better]
    blind = np.array([k for k in range(frames) if k not in e.views], dtype=np.int64)
    gain[blind] = 0.0
    gain *= costs.weight
    if attacking is not None and count:
        teams = e.bodies.teams
        defends = (attacking[:, None] >= 0) & (teams[None] >= 0) & (teams[None] != attacking[:, None])
        gain = gain - np.where(defends, costs.defender_cost, 0.0)
    return gain, row


def ring_gains(evidence: Evidence, clues: Clues, costs: StorySettings) -> tuple[np.ndarray, np.ndarray]:
    """Gain of the ball having come off each ring in each frame (F, 2), and by which detection."""
    e = evidence
    frames, count = e.bodies.place_ft.shape[:2]
    gain = np.full((frames, 2), -costs.hidden_loose)
    row = np.full((frames, 2), NOBODY)
    for k in e.views:
        rows = e.rows(k)
        if rows.stop == rows.start:
            continue
        seen = clues.fit[rows, count:] + e.gain[rows, None]
        best = seen.argmax(axis=0)
        top = seen[best, [0, 1]]
        better = top > gain[k]
        gain[k, better], row[k, better] = top[better], rows.start + best[better]
    return gain * costs.weight, row


def change_costs(bodies: Bodies, costs: StorySettings) -> np.ndarray:
    """Extra cost of the ball's going from body to body, (N, N)."""
    teams, official = bodies.teams, bodies.official
    other = (teams[:, None] >= 0) & (teams[None] >= 0) & (teams[:, None] != teams[None])
    return np.where(other, costs.steal_cost, 0.0) + np.where(official[None], costs.official_cost, 0.0)


def rebound_costs(bodies: Bodies, owners: np.ndarray, costs: StorySettings) -> np.ndarray:
    """Extra cost of a rebound at each ring by each body, (2, N): rebounds are rather the defence's."""
    return costs.offence_rebound_cost * _same(owners[:, None], bodies.teams[None])


def flight_costs(
    evidence: Evidence, flights: Flights, change: np.ndarray, owners: np.ndarray, costs: StorySettings
) -> np.ndarray:
    """Cost of each flight (S,), by its kind, its ends and how long it hangs in the air.

    ``change`` (N, N) is from :func:`change_costs`; ``owners`` (2,) are the teams that attack the rings, -1 unknown.
    """
    extra = rebound_costs(evidence.bodies, owners, costs)
    count = len(evidence.bodies.names)
    shot, rebound = flights.to >= count, flights.by >= count
    price = np.where(shot, costs.shot_cost, np.where(rebound, costs.rebound_cost, costs.pass_cost))
    passed = ~(shot | rebound)
    if count:
        price = price + np.where(rebound & evidence.bodies.official[np.minimum(flights.to, count - 1)], 2.0, 0.0)
    price[passed] += change[flights.by[passed], flights.to[passed]]
    # shots at the own ring are none, and rebounds are rather the defence's
    teams = evidence.bodies.teams
    price[shot] += costs.wrong_ring_cost * _differ(owners[flights.to[shot] - count], teams[flights.by[shot]])
    price[rebound] += extra[flights.by[rebound] - count, flights.to[rebound]]
    lasts = evidence.times_s[flights.end] - evidence.times_s[flights.start]
    length = np.zeros(len(lasts))
    ends = [
        evidence.bodies.place_ft[f[passed], w[passed]]
        for f, w in ((flights.start, flights.by), (flights.end, flights.to))
    ]
    length[passed] = np.linalg.norm(ends[1] - ends[0], axis=1)
    late = np.maximum(lasts - 1 / 3 - length / costs.usual_ft_s, 0.0)
    price = price + np.where(passed, costs.hang_cost_s * late, 0.0)
    return price
