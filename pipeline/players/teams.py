"""Teams by kit: two groups of kits over a whole film, and which of them a track wears.

The fit is a trimmed two-means (Cuesta-Albertos, Gordaliza & Matrán 1997, *Annals of Statistics* 25): kits
far from both groups (officials, coaches, misread boxes) have no say in where the groups lie. Kits are
compared in CIELAB with lightness weighed down, for shade changes it and not the dye.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import ShapeError
from pipeline.players.settings import TeamSettings
from pipeline.players.tables import KIT_LENGTH

UNSURE = -1
"""Team of a body whose kit says neither."""


@dataclass(frozen=True, slots=True, eq=False)
class TeamKits:
    """What the two teams wear.

    Attributes
    ----------
    kits : (2, 6) ndarray
        Centre of each team in CIELAB, jersey then shorts. Team 0 is the prior's first, or else the lighter.
    gap : float
        Distance between them in weighted units.
    spread : float
        Median weighted distance of a kit to its team's centre.
    """

    kits: np.ndarray
    gap: float
    spread: float

    def __post_init__(self) -> None:
        self.kits.setflags(write=False)


def weighted(kits: np.ndarray, settings: TeamSettings) -> np.ndarray:
    """Kits (N, 6) in the units in which they are compared."""
    if kits.ndim != 2 or kits.shape[1] != KIT_LENGTH:
        raise ShapeError(f"kits must be (N, {KIT_LENGTH}), got {kits.shape}.")
    weights = np.array([settings.lightness_weight, 1, 1, settings.lightness_weight, 1, 1], dtype=np.float64)
    weights[3:] *= settings.shorts_weight
    return kits * weights


def fit_teams(
    kits: np.ndarray, settings: TeamSettings | None = None, *, prior: np.ndarray | None = None
) -> TeamKits | None:
    """Two teams' kits from many sightings.

    Parameters
    ----------
    kits : (N, 6) ndarray
        Kits of bodies on the floor; rows with NaN are left out. Their order does not matter.
    prior : (2, 3) or (2, 6) ndarray, optional
        Jersey (and shorts) CIELAB of team 0 and 1 as staff gave them: a start of the fit, and the order of the teams.

    Returns
    -------
    TeamKits or None
        None where there are too few kits, or the two groups differ too little to be two teams.
    """
    settings = settings or TeamSettings()
    known = kits[np.isfinite(kits).all(axis=1)].astype(np.float64)
    if len(known) < settings.fewest_kits:
        return None
    known = known[np.lexsort(known.T)]
    if len(known) > settings.most_kits:
        known = known[np.linspace(0, len(known) - 1, settings.most_kits).astype(np.int64)]
    points = weighted(known, settings)
    kept = max(2, round(len(points) * (1 - settings.trimmed_share)))
    rng = np.random.default_rng(len(points))
    starts = []
    if prior is not None:
        full = np.tile(np.median(known, axis=0), (2, 1))
        full[:, : prior.shape[1]] = prior
        starts.append(weighted(full, settings))
    for _ in range(settings.trials):
        first = points[rng.integers(len(points))]
        distance = np.sum((points - first) ** 2, axis=1)
        if distance.sum() <= 0:
            return None
        starts.append(np.array([first, points[rng.choice(len(points), p=distance / distance.sum())]]))
    best: tuple[float, np.ndarray, np.ndarray] | None = None
    for centres in starts:
        for _ in range(50):
            distance = np.linalg.norm(points[:, None] - centres[None], axis=2)
            inner = np.sort(np.argpartition(distance.min(axis=1), kept - 1)[:kept])
            group = np.argmin(distance[inner], axis=1)
            if np.bincount(group, minlength=2).min() == 0:
                break
            renewed = np.array([np.median(points[inner[group == g]], axis=0) for g in (0, 1)])
            settled = np.allclose(renewed, centres, atol=1e-6)
            centres = renewed
            if settled:
                break
        distance = np.linalg.norm(points[:, None] - centres[None], axis=2)
        nearest = distance.min(axis=1)
        # a group of a few odd kits is no team: the smaller of two teams still has a fifth of the bodies
        shares = np.bincount(np.argmin(distance, axis=1), minlength=2) / len(points)
        loss = float(np.sort(nearest)[:kept].sum()) * (1 if shares.min() >= 0.2 else 4)
        if best is None or loss < best[0]:
            best = (loss, centres, np.argmin(distance, axis=1))
    assert best is not None
    _, centres, group = best
    gap = float(np.linalg.norm(centres[0] - centres[1]))
    if gap < settings.least_gap or np.bincount(group, minlength=2).min() == 0:
        return None
    full_centres = np.array([np.median(known[group == g], axis=0) for g in (0, 1)])
    nearest = np.linalg.norm(points - centres[group], axis=1)
    if prior is not None:
        given = starts[0]
        straight = np.linalg.norm(centres - given, axis=1).sum()
        crossed = np.linalg.norm(centres[::-1] - given, axis=1).sum()
        swap = crossed < straight
    else:
        swap = bool(full_centres[0, 0] < full_centres[1, 0])
    order = [1, 0] if swap else [0, 1]
    return TeamKits(full_centres[order], gap, float(np.median(nearest)))


def team_of(kits: np.ndarray, teams: TeamKits | None, settings: TeamSettings | None = None) -> np.ndarray:
    """Team of each kit.

    Parameters
    ----------
    kits : (N, 6) ndarray
        NaN rows are unsure.

    Returns
    -------
    (N,) int8 ndarray
        0, 1, or -1 where the kit is nearly as near to the other team, or far from both.
    """
    settings = settings or TeamSettings()
    result = np.full(len(kits), UNSURE, dtype=np.int8)
    if teams is None or not len(kits):
        return result
    distance = team_distances(kits, teams, settings)
    known = np.isfinite(distance).all(axis=1)
    margin = np.abs(distance[known, 0] - distance[known, 1])
    clear = (margin >= settings.least_margin * teams.gap) & (
        distance[known].min(axis=1) <= settings.farthest * max(teams.gap, 4 * teams.spread)
    )
    result[np.flatnonzero(known)[clear]] = np.argmin(distance[known][clear], axis=1)
    return result


def team_distances(kits: np.ndarray, teams: TeamKits, settings: TeamSettings) -> np.ndarray:
    """Weighted distance of every kit to both teams, (N, 2); NaN where a kit is unread.

    Jersey and shorts each count for at most ``part_bound`` of the teams' gap, so that one misread part (floor, an arm,
    another body) is as far from both teams and leaves the decision to the other part.
    """
    away = weighted(np.asarray(kits, dtype=np.float64), settings)[:, None] - weighted(teams.kits, settings)[None]
    bound = settings.part_bound * teams.gap
    parts = [np.minimum(np.linalg.norm(away[..., part], axis=2), bound) for part in (slice(0, 3), slice(3, 6))]
    return np.hypot(*parts)


def track_team(kits: np.ndarray, teams: TeamKits | None, settings: TeamSettings | None = None) -> int:
    """Team of one track by the vote of its sightings' kits (N, 6): 0, 1, or -1 where too few speak or they disagree."""
    settings = settings or TeamSettings()
    votes = team_of(kits, teams, settings)
    clear = votes[votes != UNSURE]
    if len(clear) < max(1, settings.least_voting * len(kits)):
        return UNSURE
    share = float(np.mean(clear == 1))
    if max(share, 1 - share) < settings.least_majority:
        return UNSURE
    return int(share > 0.5)


def teams_in_picture(kits: np.ndarray, settings: TeamSettings | None = None) -> np.ndarray:
    """Teams of the players in one single picture, from their kits alone.

    Parameters
    ----------
    kits : (N, 6) ndarray
        Of the bodies that the detector calls players.

    Returns
    -------
    (N,) int8 ndarray
        0 (lighter) or 1; -1 where unsure, and for all where no two groups stand out.
    """
    settings = settings or TeamSettings()
    teams = fit_teams(kits, settings)
    return team_of(kits, teams, settings)
