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

LEAST_LESS = 0.5
"""A body changes teams for the sake of numbers only where that spares at least half a body, over its own time."""

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


def split_teams(
    shown: np.ndarray, weight: np.ndarray, lean: np.ndarray, together: np.ndarray, settings: TeamSettings
) -> np.ndarray:
    """Part all bodies of a film into two teams by what they wear, each team with about half of all sightings.

    Begins with what the kits say; then bodies are put along the direction in which the two parts differ most for how
    bodies differ within them (Fisher's discriminant with a shrunk covariance), and parted where a gap is widest among
    splits that give both teams about as many sightings. Where more than five of one team were on the floor together,
    that one goes over after which the teams differ most.

    Parameters
    ----------
    shown : (C, F) ndarray
        What each body wears, any features; NaN rows are parted by ``lean`` alone.
    weight : (C,) ndarray
        Sightings of each.
    lean : (C,) ndarray
        From -1 (team 0 for sure) to 1 (team 1).
    together : (C, C) ndarray
        Share of the first's time in which the second was on the floor too; 1 with itself.

    Returns
    -------
    (C,) int8 ndarray
        0 or 1; -1 where nothing is known of a body.
    """
    result = np.full(len(lean), UNSURE, dtype=np.int8)
    said = np.isfinite(lean)
    result[said] = _five_a_side(
        _widest_gap(lean[said], weight[said], settings),
        lean[said, None],
        weight[said],
        together[np.ix_(said, said)],
        settings,
    )
    known = np.isfinite(shown).all(axis=1) & said if shown.size else np.zeros(len(lean), dtype=bool)
    if known.sum() < settings.fewest_bodies or not 0 < np.mean(result[known]) < 1:
        return result
    features, heavy = shown[known], weight[known]
    group = _parted(features, heavy, result[known], settings)
    result[known] = _five_a_side(group, features, heavy, together[np.ix_(known, known)], settings)
    return result


def widest_split(features: np.ndarray, weight: np.ndarray, lean: np.ndarray, settings: TeamSettings) -> np.ndarray:
    """Part bodies that wear ``features`` (C, F) into two teams of about as many sightings; 0 or 1, (C,).

    ``lean`` (C,) from -1 to 1 is what the kits say of each: where the parting begins, and which part is team 1.
    """
    start = _widest_gap(lean, weight, settings)
    return _parted(features, weight, start, settings) if 0 < start.mean() < 1 else start


def _parted(features: np.ndarray, weight: np.ndarray, start: np.ndarray, settings: TeamSettings) -> np.ndarray:
    """The parting along the direction in which its two parts differ most, again and again until it stays."""
    group = start
    for _ in range(5):
        renewed = _widest_gap(features @ difference(features, weight, group, settings)[0], weight, settings)
        if np.array_equal(renewed, group) or not 0 < renewed.mean() < 1:
            break
        group = renewed
    # which of the two is team 1 is what the kits said
    if np.sum(weight * (group == start)) < 0.5 * weight.sum():
        group = (1 - group).astype(np.int8)
    return group


def difference(
    features: np.ndarray, weight: np.ndarray, group: np.ndarray, settings: TeamSettings
) -> tuple[np.ndarray, float]:
    """Fisher's direction between two groups of bodies (C, F), and how far apart they are along it, in spreads²."""
    share = [np.where(group == g, weight, 0.0) for g in (0, 1)]
    centres = np.array([s @ features / s.sum() for s in share])
    away = (features - centres[group]) * np.sqrt(weight / weight.sum())[:, None]
    within = away.T @ away
    size = len(within)
    floor = 1e-9 + settings.shrinkage * np.trace(within) / size
    axis = np.linalg.solve((1 - settings.shrinkage) * within + floor * np.eye(size), centres[1] - centres[0])
    return axis, float(axis @ (centres[1] - centres[0]))


def _five_a_side(
    group: np.ndarray, features: np.ndarray, weight: np.ndarray, together: np.ndarray, settings: TeamSettings
) -> np.ndarray:
    """Move bodies to the other team while that lessens how much more than ``a_side`` of one team were together."""

    def excess(of: np.ndarray) -> float:
        mates = np.sum(together * (of[:, None] == of[None]), axis=1)
        return float(weight @ np.clip(mates - settings.a_side, 0, None) / weight.sum())

    group = group.copy()
    for _ in range(len(group)):
        now = excess(group)
        best, moved_to = -np.inf, None
        for body in range(len(group)):
            moved = group.copy()
            moved[body] = 1 - moved[body]
            if now - excess(moved) < LEAST_LESS * weight[body] / weight.sum() or not 0 < moved.mean() < 1:
                continue
            apart = difference(features, weight, moved, settings)[1]
            if apart > best:
                best, moved_to = apart, moved
        if moved_to is None:
            break
        group = moved_to
    return group


def _widest_gap(place: np.ndarray, weight: np.ndarray, settings: TeamSettings) -> np.ndarray:
    """1 for those above the widest gap in ``place`` (C,) that leaves both sides about half of all ``weight``."""
    if len(place) < 2:
        return (place > 0).astype(np.int8)
    order = np.argsort(place, kind="stable")
    below = np.cumsum(weight[order])[:-1] / weight.sum()
    gaps = np.diff(place[order])
    even = np.abs(below - 0.5)
    fair = even <= max(settings.uneven, float(even.min()))
    scale = max(float(place.max() - place.min()), 1e-12)
    # a gap counts less the less even it parts: half as much at the bound
    worth = np.where(fair, gaps / scale * (1 - 0.5 * even / max(settings.uneven, 1e-9)), -np.inf)
    cut = int(np.argmax(worth))
    result = np.zeros(len(place), dtype=np.int8)
    result[order[cut + 1 :]] = 1
    return result


def kit_lean(kits: np.ndarray, teams: TeamKits | None, settings: TeamSettings) -> float:
    """How a body leans to a team by the votes of its sightings' kits (N, 6): -1 team 0, 1 team 1, NaN with no vote."""
    votes = team_of(kits, teams, settings)
    clear = votes[votes != UNSURE]
    return float(2 * np.mean(clear == 1) - 1) if len(clear) else float("nan")


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
