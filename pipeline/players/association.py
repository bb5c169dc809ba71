"""Association: which sightings of one shot are the same body from frame to frame.

Every possible link is weighed by a log-likelihood ratio: how well the sighting fits where the body
should be, against a body turning up there by chance. Links of one frame are chosen together (optimal
assignment), once forwards and once backwards in time; a link that both directions choose joins a
tracklet, and where they differ the tracklet is cut and left to :mod:`pipeline.players.stitching`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.special import gammaln

from pipeline.players.motion import MotionModel, inverse_2x2, robust_update
from pipeline.players.settings import AssociationSettings
from pipeline.players.sightings import Population, Sightings

LOG_2PI = float(np.log(2 * np.pi))


@dataclass(slots=True, eq=False)
class _Bodies:
    """The bodies that are followed at present, as parallel arrays; private to :func:`follow`."""

    state: np.ndarray
    spread: np.ndarray
    size: np.ndarray
    size_variance: np.ndarray
    kit: np.ndarray
    kits: np.ndarray
    time: np.ndarray
    last: np.ndarray

    @classmethod
    def none(cls) -> _Bodies:
        return cls(
            np.zeros((0, 4)),
            np.zeros((0, 4, 4)),
            np.zeros((0, 2)),
            np.zeros((0, 2)),
            np.zeros((0, 6)),
            np.zeros(0),
            np.zeros(0),
            np.zeros(0, dtype=np.int64),
        )

    def keep(self, which: np.ndarray) -> _Bodies:
        return _Bodies(*(getattr(self, name)[which] for name in self.__slots__))

    def join(self, other: _Bodies) -> _Bodies:
        return _Bodies(*(np.concatenate([getattr(self, n), getattr(other, n)]) for n in self.__slots__))


def student_log_density(squared: np.ndarray, determinant: np.ndarray, dimensions: int, freedom: float) -> np.ndarray:
    """Logarithm of a multivariate Student density of Mahalanobis length² ``squared`` and scale ``determinant``.

    Boxes err with heavy tails: an arm goes up, a foot is hidden. With many degrees of freedom it is the normal density.
    """
    constant = gammaln((freedom + dimensions) / 2) - gammaln(freedom / 2) - 0.5 * dimensions * np.log(freedom * np.pi)
    return constant - 0.5 * np.log(determinant) - 0.5 * (freedom + dimensions) * np.log1p(squared / freedom)


def size_ratio(gap: np.ndarray, variance: np.ndarray, broad: np.ndarray, settings: AssociationSettings) -> np.ndarray:
    """Log-likelihood ratio that two log sizes (..., 2) apart by ``gap`` are of one body: (...,).

    One body's sizes differ with ``variance`` and heavy tails, two bodies' with the variance ``broad``.
    """
    same = student_log_density(gap**2 / variance, variance, 1, settings.freedom)
    other = -0.5 * gap**2 / broad - 0.5 * np.log(2 * np.pi * broad)
    return np.maximum(np.sum(same - other, axis=-1), -settings.size_floor)


def kit_ratio(
    kit: np.ndarray, kits: np.ndarray, other: np.ndarray, settings: AssociationSettings, population: Population
) -> np.ndarray:
    """Log-likelihood ratio that two kits are of one body: (..., 6) pairs to (...,). 0 where one is unread.

    The six coordinates of a body's kit differ between sightings with ``kit_sigma`` (light, folds, arms), and
    between bodies with the population's; they are strongly tied to each other, so all six together count as
    ``kit_weight`` independent ones. A gross misreading (another body in front) costs at most ``kit_floor``.
    """
    variance = settings.kit_sigma**2 * (1 + 1 / np.maximum(kits, 1))
    broad = 2 * population.kit_sigma**2
    gap = kit - other
    with np.errstate(invalid="ignore"):
        ratio = np.mean(-0.5 * gap**2 / variance[..., None] + 0.5 * gap**2 / broad, axis=-1) + 0.5 * np.log(
            broad / variance
        )
    ratio = np.where(np.isfinite(ratio), ratio, 0.0)
    return np.maximum(settings.kit_weight * ratio, -settings.kit_floor)


def _ratios(
    bodies: _Bodies, sightings: Sightings, rows: np.ndarray, settings: AssociationSettings, population: Population
) -> np.ndarray:
    """Log-likelihood ratio of every body (already moved to the moment) with every sighting; -inf beyond the gate."""
    innovation = sightings.position[rows][None, :, :] - bodies.state[:, None, :2]
    spread = bodies.spread[:, None, :2, :2] + sightings.covariance[rows][None]
    inverse, determinant = inverse_2x2(spread)
    distance = np.einsum("tni,tnij,tnj->tn", innovation, inverse, innovation)
    place = student_log_density(distance, determinant, 2, settings.freedom) + np.log(population.area)
    size_gap = sightings.log_size[rows][None] - bodies.size[:, None, :]
    variance = bodies.size_variance[:, None, :] + sightings.size_sigma[rows][None] ** 2
    broad = 2 * np.asarray(population.log_size_sigma) ** 2 + variance
    size = size_ratio(size_gap, variance, broad, settings)
    kit = kit_ratio(bodies.kit[:, None, :], bodies.kits[:, None], sightings.kit[rows][None], settings, population)
    total = place + size + kit
    return np.where(distance <= settings.gate_sigma**2, total, -np.inf)


def _assign(ratios: np.ndarray, least: float) -> tuple[np.ndarray, np.ndarray]:
    """Pairs (rows, columns) with the greatest total ratio, leaving unmatched what does not exceed ``least``."""
    gain = np.where(ratios > least, ratios - least, 0.0)
    rows, columns = linear_sum_assignment(-gain)
    taken = gain[rows, columns] > 0
    return rows[taken], columns[taken]


def follow(
    sightings: Sightings, model: MotionModel, settings: AssociationSettings, population: Population
) -> np.ndarray:
    """Follow bodies forwards through a shot.

    Parameters
    ----------
    sightings : Sightings
    model : MotionModel
        In the units of the sightings' plane.
    settings : AssociationSettings
    population : Population

    Returns
    -------
    ndarray of shape (N,), int64
        For each sighting the row of the one before it of the same body; -1 where the body is new or the
        sighting was too weak to begin one.
    """
    before = np.full(len(sightings), -1, dtype=np.int64)
    bodies = _Bodies.none()
    bounds = np.searchsorted(sightings.moment, np.arange(len(sightings.times_s) + 1))
    size_rate = np.array([settings.width_rate, settings.height_rate])
    reset_variance = np.asarray(population.log_size_sigma) ** 2
    for moment, now in enumerate(sightings.times_s):
        rows = np.arange(bounds[moment], bounds[moment + 1])
        alive = now - bodies.time <= settings.longest_coast_s
        bodies = bodies.keep(np.flatnonzero(alive))
        if not len(rows):
            continue
        moved = bodies
        if len(bodies.time):
            dt = now - bodies.time
            step, noise = model.transition(dt)
            moved = _Bodies(
                (step @ bodies.state[..., None])[..., 0],
                step @ bodies.spread @ np.swapaxes(step, 1, 2) + noise,
                bodies.size,
                np.minimum(bodies.size_variance + size_rate**2 * dt[:, None], reset_variance),
                bodies.kit,
                bodies.kits,
                bodies.time,
                bodies.last,
            )
        strong = sightings.score[rows] >= settings.strong_score
        pairs_body, pairs_row = np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        if len(moved.time):
            for stage, least in ((strong, settings.least_ratio), (~strong, settings.least_ratio_weak)):
                free = np.setdiff1d(np.arange(len(moved.time)), pairs_body)
                offered = rows[stage]
                if not len(free) or not len(offered):
                    continue
                ratios = _ratios(moved.keep(free), sightings, offered, settings, population)
                chosen, columns = _assign(ratios, least)
                pairs_body = np.concatenate([pairs_body, free[chosen]])
                pairs_row = np.concatenate([pairs_row, offered[columns]])
        before[pairs_row] = moved.last[pairs_body]
        if len(pairs_body):
            b, r = pairs_body, pairs_row
            state, spread = robust_update(
                moved.state[b], moved.spread[b], sightings.position[r], sightings.covariance[r], settings.freedom
            )
            variance = moved.size_variance[b]
            gain = variance / (variance + sightings.size_sigma[r] ** 2)
            kit, kits = moved.kit[b], moved.kits[b]
            read = np.isfinite(sightings.kit[r]).all(axis=1)
            weight = np.where(read, 1 / np.minimum(kits + 1, settings.kit_memory), 0.0)
            known = np.where(kits[:, None] > 0, kit, np.where(read[:, None], sightings.kit[r], np.nan))
            target = np.where(read[:, None], sightings.kit[r], known)
            renewed = _Bodies(
                state,
                spread,
                moved.size[b] + gain * (sightings.log_size[r] - moved.size[b]),
                (1 - gain) * variance,
                known + weight[:, None] * (target - known),
                kits + read,
                np.full(len(b), now),
                r,
            )
            untouched = np.setdiff1d(np.arange(len(bodies.time)), b)
            bodies = bodies.keep(untouched).join(renewed)
        fresh = np.setdiff1d(rows[strong], pairs_row)
        if len(fresh):
            state, spread = model.first(sightings.position[fresh], sightings.covariance[fresh])
            read = np.isfinite(sightings.kit[fresh]).all(axis=1)
            bodies = bodies.join(
                _Bodies(
                    state,
                    spread,
                    sightings.log_size[fresh],
                    sightings.size_sigma[fresh] ** 2,
                    sightings.kit[fresh],
                    read.astype(np.float64),
                    np.full(len(fresh), now),
                    fresh,
                )
            )
    return before


def tracklets(
    sightings: Sightings, model: MotionModel, settings: AssociationSettings, population: Population
) -> list[np.ndarray]:
    """Tracklets on which both directions of time agree.

    Returns
    -------
    list of ndarray of int
        Rows of the sightings, each list increasing; every strong sighting is in exactly one, weak ones in at
        most one. Ordered by first row.
    """
    if not len(sightings):
        return []
    forwards = follow(sightings, model, settings, population)
    backwards = follow(sightings.reversed(), model, settings, population)[::-1]
    last = len(sightings) - 1
    after = np.where(backwards >= 0, last - backwards, -1)
    agreed = np.full(len(sightings), -1, dtype=np.int64)
    linked = np.flatnonzero(forwards >= 0)
    same = after[forwards[linked]] == linked
    agreed[linked[same]] = forwards[linked[same]]
    has_next = np.zeros(len(sightings), dtype=bool)
    has_next[agreed[agreed >= 0]] = True
    used = (agreed >= 0) | has_next | (sightings.score >= settings.strong_score)
    following = np.full(len(sightings), -1, dtype=np.int64)
    following[agreed[agreed >= 0]] = np.flatnonzero(agreed >= 0)
    result = []
    for first in np.flatnonzero((agreed < 0) & used):
        chain = [int(first)]
        while following[chain[-1]] >= 0:
            chain.append(int(following[chain[-1]]))
        result.append(np.array(chain, dtype=np.int64))
    return result
