"""Which team one sighting's clothes lean to, learnt from a film's own paths.

Team mates' looks differ in little, the two teams' in much: along the direction in which the two differ most, nearly
every clear sighting tells the team. That is worth more than the same colours are as one of many traits of a body, for
there are two teams only and nobody changes his: a body whose pieces lean to both teams at once is two bodies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.players.settings import LeanSettings, TeamSettings
from pipeline.players.teams import widest_split


@dataclass(frozen=True, slots=True, eq=False)
class TeamLean:
    """How sightings of one film lean to its two teams.

    Attributes
    ----------
    axis : (F,) ndarray
        Direction in what sightings wear.
    middle : float
        Between the teams.
    slope : (B,) ndarray
        Log odds of the teams by the distance from the middle, by how much of the box is covered.
    """

    axis: np.ndarray
    middle: float
    slope: np.ndarray

    def log_odds(self, worn: np.ndarray, covered: np.ndarray, settings: LeanSettings) -> np.ndarray:
        """Log odds of team 1 against team 0 of sightings that wear (N, F), covered to a share (N,); 0 where unread."""
        known = np.isfinite(worn).all(axis=1)
        along = np.where(known[:, None], worn, 0.0) @ self.axis - self.middle
        slope = self.slope[np.searchsorted(settings.covered, covered, side="right")]
        return np.where(known, np.clip(slope * along, -settings.most_odds, settings.most_odds), 0.0)


def fit_lean(
    worn: Sequence[np.ndarray],
    covered: Sequence[np.ndarray],
    votes: np.ndarray,
    settings: LeanSettings,
    teams: TeamSettings,
) -> TeamLean | None:
    """Learn the two teams' difference from paths that are mostly one body each.

    The paths are parted into two teams by what each wears on the whole; single sightings then are told apart along
    Fisher's direction with a shrunk covariance (Friedman 1989, *JASA* 84), and how far that is to be believed is fitted
    to the same sightings, apart for those that others cover more or less.

    Parameters
    ----------
    worn : sequence of (n_i, F) ndarray
        What the sightings of each path wear, NaN where unread.
    covered : sequence of (n_i,) ndarray
        Largest share of each box that one box in front of it covers.
    votes : (P,) ndarray
        How each path leans by its kit alone, -1 to 1; NaN unknown.

    Returns
    -------
    TeamLean or None
        None where there are too few paths, or all wear one kit.
    """
    read = [np.isfinite(own).all(axis=1) for own in worn]
    clear = [known & (share < settings.covered[0]) for known, share in zip(read, covered, strict=True)]
    said = [k for k, own in enumerate(clear) if own.sum() >= settings.least_clear and np.isfinite(votes[k])]
    if len(said) < teams.fewest_bodies:
        return None
    means = np.array([worn[k][clear[k]].mean(axis=0) for k in said])
    weight = np.array([clear[k].sum() for k in said], dtype=np.float64)
    group = widest_split(means, weight, votes[said], teams)
    if not 0 < group.mean() < 1:
        return None
    every, share = (np.concatenate([v[k][read[k]] for k in said]) for v in (worn, covered))
    team = np.repeat(group, [int(read[k].sum()) for k in said]).astype(np.int64)
    taught = share < settings.covered[0]
    centres = np.array([every[taught & (team == side)].mean(axis=0) for side in (0, 1)])
    away = every[taught] - centres[team[taught]]
    within = away.T @ away / len(away)
    size = len(within)
    floor = 1e-9 + settings.shrinkage * np.trace(within) / size
    axis = np.linalg.solve((1 - settings.shrinkage) * within + floor * np.eye(size), centres[1] - centres[0])
    middle = 0.5 * float(axis @ (centres[0] + centres[1]))
    towards = (every @ axis - middle) * np.where(team == 1, 1.0, -1.0)
    bins = np.searchsorted(settings.covered, share, side="right")
    slope = np.array([_slope(towards[bins == b], settings) for b in range(len(settings.covered) + 1)])
    return TeamLean(axis, middle, np.minimum.accumulate(slope))


def _slope(towards: np.ndarray, settings: LeanSettings) -> float:
    """Log odds by the distance from the middle that tell the right side best, bounded as they will be.

    ``towards`` (n,) is how far each sighting lies on its own team's side.
    """
    if len(towards) < settings.least_clear:
        return 0.0
    slopes = np.concatenate([[0.0], np.geomspace(0.01, 1.0, 21)])
    odds = np.clip(slopes[:, None] * towards[None], -settings.most_odds, settings.most_odds)
    return float(slopes[np.argmax(-np.logaddexp(0.0, -odds).mean(axis=1))])


def turns(log_odds: np.ndarray, change_cost: float) -> list[int]:
    """Places (k > 0) of a path at which its clothes turn from one team's to the other's.

    Two states by dynamic programming over the sightings' log odds (n,).
    """
    if len(log_odds) < 2:
        return []
    gain = 0.5 * np.column_stack([-log_odds, log_odds])
    best, came = gain[0], np.zeros((len(gain), 2), dtype=np.int64)
    for k in range(1, len(gain)):
        change = best[::-1] - change_cost
        came[k] = np.where(change > best, [1, 0], [0, 1])
        best = np.maximum(best, change) + gain[k]
    state = int(best.argmax())
    found = []
    for k in range(len(gain) - 1, 0, -1):
        before = int(came[k, state])
        if before != state:
            found.append(k)
        state = before
    return found[::-1]
