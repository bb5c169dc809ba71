"""Stitching: which tracklets are one body across the gaps between them.

All tracklets of a shot are joined at once. Choosing for every tracklet's end at most one later
tracklet's start, so that the summed log-likelihood ratio is greatest, is a linear assignment (the path
cover form of Zhang, Li & Nevatia 2008, *Global Data Association for Multi-Object Tracking Using Network
Flows*, CVPR). With a capacity, only so many paths may begin and end, and a tracklet that no path can
carry is left out at a cost: ten players stay ten.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.optimize import linear_sum_assignment

from pipeline.players.association import LOG_2PI, kit_ratio, size_ratio, student_log_density
from pipeline.players.motion import MotionModel, smooth
from pipeline.players.settings import AssociationSettings, StitchSettings
from pipeline.players.sightings import Population, Sightings

FORBIDDEN = 1e6
"""Cost of what may not be, far above any sum of real costs."""

SIZE_SIGHTINGS = 4
"""A body's size at the ends of a tracklet is the mean over so many sightings."""

LARGEST_BATCH = 200_000
"""States smoothed at once, to bound memory."""


class InView(Protocol):
    """Says whether places were in the picture: (moments (N,), positions (N, 2)) to (N,) bool."""

    def __call__(self, moments: np.ndarray, positions: np.ndarray) -> np.ndarray: ...


@dataclass(frozen=True, slots=True, eq=False)
class Paths:
    """Smoothed states of tracklets at their sightings, and what each looks like.

    Attributes
    ----------
    rows : list of (n_i,) int ndarray
        Sightings of each.
    states, spreads : list of (n_i, 4) and (n_i, 4, 4) ndarray
    size : (T, 2)
        Median log size.
    begin_size, end_size : (T, 2)
        Mean log size over the first and the last few sightings.
    counts : (T,)
        Sightings that those means are of.
    stature : (T,)
        Median stature; NaN where never known.
    kit : (T, 6)
        Median kit; NaN where never read.
    kits : (T,)
        How many sightings had a kit.
    official : (T,)
        Share of sightings called official; NaN where the detector never said.
    """

    rows: list[np.ndarray]
    states: list[np.ndarray]
    spreads: list[np.ndarray]
    size: np.ndarray
    begin_size: np.ndarray
    end_size: np.ndarray
    counts: np.ndarray
    stature: np.ndarray
    kit: np.ndarray
    kits: np.ndarray
    official: np.ndarray

    def of(self, members: np.ndarray) -> Paths:
        """Only some of the tracklets."""
        chosen = members.tolist()
        return Paths(
            [self.rows[m] for m in chosen],
            [self.states[m] for m in chosen],
            [self.spreads[m] for m in chosen],
            *(
                getattr(self, name)[members]
                for name in ("size", "begin_size", "end_size", "counts", "stature", "kit", "kits", "official")
            ),
        )


def smooth_rows(
    sightings: Sightings, rows: list[np.ndarray], model: MotionModel
) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Smoothed states (n_i, 4) and spreads (n_i, 4, 4) of each tracklet at its own sightings."""
    states: list[np.ndarray] = [np.zeros((0, 4))] * len(rows)
    spreads: list[np.ndarray] = [np.zeros((0, 4, 4))] * len(rows)
    order = sorted(range(len(rows)), key=lambda i: len(rows[i]))
    start = 0
    while start < len(order):
        # paths of like length share a batch: at most 1.5 times the shortest and bounded memory
        stop = start + 1
        shortest = len(rows[order[start]])
        while (
            stop < len(order)
            and len(rows[order[stop]]) <= 1.5 * shortest + 10
            and (stop + 1 - start) * len(rows[order[stop]]) <= LARGEST_BATCH
        ):
            stop += 1
        batch = order[start:stop]
        length = len(rows[batch[-1]])
        times = np.zeros((len(batch), length))
        positions = np.full((len(batch), length, 2), np.nan)
        covariances = np.tile(np.eye(2), (len(batch), length, 1, 1))
        for line, name in enumerate(batch):
            own = rows[name]
            times[line, : len(own)] = sightings.time[own]
            times[line, len(own) :] = sightings.time[own[-1]]
            positions[line, : len(own)] = sightings.position[own]
            covariances[line, : len(own)] = sightings.covariance[own]
        smoothed, spread = smooth(model, times, positions, covariances)
        for line, name in enumerate(batch):
            states[name] = smoothed[line, : len(rows[name])]
            spreads[name] = spread[line, : len(rows[name])]
        start = stop
    return states, spreads


def paths_of(sightings: Sightings, rows: list[np.ndarray], model: MotionModel) -> Paths:
    """Smooth tracklets and summarise their looks."""
    states, spreads = smooth_rows(sightings, rows, model)
    size, begin, end = (np.zeros((len(rows), 2)) for _ in range(3))
    stature = np.full(len(rows), np.nan)
    kit = np.full((len(rows), sightings.kit.shape[1]), np.nan)
    kits = np.zeros(len(rows))
    official = np.full(len(rows), np.nan)
    for line, own in enumerate(rows):
        size[line] = np.median(sightings.log_size[own], axis=0)
        begin[line] = sightings.log_size[own[:SIZE_SIGHTINGS]].mean(axis=0)
        end[line] = sightings.log_size[own[-SIZE_SIGHTINGS:]].mean(axis=0)
        known = np.isfinite(sightings.stature[own])
        if known.any():
            stature[line] = np.median(sightings.stature[own][known])
        read = np.isfinite(sightings.kit[own]).all(axis=1)
        kits[line] = read.sum()
        if read.any():
            kit[line] = np.median(sightings.kit[own][read], axis=0)
        said = np.isfinite(sightings.official[own])
        if said.any():
            official[line] = sightings.official[own][said].mean()
    counts = np.array([min(len(r), SIZE_SIGHTINGS) for r in rows], dtype=np.float64)
    return Paths(rows, states, spreads, size, begin, end, counts, stature, kit, kits, official)


def link_ratios(
    sightings: Sightings,
    paths: Paths,
    model: MotionModel,
    settings: StitchSettings,
    association: AssociationSettings,
    population: Population,
    *,
    longest_gap_s: float,
    top_speed: float,
    in_view: InView | None = None,
) -> np.ndarray:
    """Log-likelihood ratio that tracklet j goes on where tracklet i ended.

    The state at the end of i, moved over the gap, is compared in place and velocity with the state at the
    start of j, against a body that starts anywhere in the plane with any velocity; sizes and kits likewise.

    Returns
    -------
    ndarray of shape (T, T)
        ``-inf`` where j does not begin after i ends, the gap is too long, or nobody could run that far.
    """
    count = len(paths.rows)
    ratios = np.full((count, count), -np.inf)
    if count < 2:
        return ratios
    first = np.array([sightings.time[r[0]] for r in paths.rows])
    last = np.array([sightings.time[r[-1]] for r in paths.rows])
    gap = first[None, :] - last[:, None]
    i, j = np.nonzero((gap > 0) & (gap <= longest_gap_s))
    if not len(i):
        return ratios
    end_state = np.array([s[-1] for s in paths.states])
    end_spread = np.array([s[-1] for s in paths.spreads])
    start_state = np.array([s[0] for s in paths.states])
    start_spread = np.array([s[0] for s in paths.spreads])
    dt = gap[i, j]
    away = np.linalg.norm(start_state[j, :2] - end_state[i, :2], axis=1)
    doubt = np.sqrt(np.trace(end_spread[i, :2, :2] + start_spread[j, :2, :2], axis1=1, axis2=2))
    few = np.array([len(r) < settings.fewest_across for r in paths.rows])
    sure = ~(few[i] | few[j]) | (dt <= settings.beside_s)
    possible = sure & (away - 3 * (doubt + settings.slack) <= top_speed * dt)
    if np.isfinite(paths.official).any():
        clear = np.abs(paths.official[i] - paths.official[j])
        possible &= ~(clear > 0.8)
    i, j, dt = i[possible], j[possible], dt[possible]
    if not len(i):
        return ratios
    step, noise = model.transition(dt)
    expected = (step @ end_state[i][..., None])[..., 0]
    spread = step @ end_spread[i] @ np.swapaxes(step, 1, 2) + noise + start_spread[j]
    spread[:, [0, 1], [0, 1]] += settings.slack**2
    # nobody gets lost without bound: beyond some seconds a body is about where bodies are
    bound = np.asarray(settings.farthest) / np.sqrt(spread[:, [0, 1], [0, 1]])
    squeeze = np.ones((len(i), 4))
    squeeze[:, :2] = np.minimum(bound, 1.0)
    spread = spread * squeeze[:, :, None] * squeeze[:, None, :]
    miss = start_state[j] - expected
    distance = np.einsum("ni,ni->n", miss, np.linalg.solve(spread, miss[..., None])[..., 0])
    _, log_determinant = np.linalg.slogdet(spread)
    speed = np.asarray(model.speed)
    chance = -np.log(population.area) - np.sum(
        0.5 * (start_state[j, 2:] / speed) ** 2 + np.log(speed) + 0.5 * LOG_2PI, axis=1
    )
    place = student_log_density(distance, np.exp(log_determinant), 4, association.freedom) - chance
    broad = 2 * np.asarray(population.log_size_sigma) ** 2
    rate = np.array([association.width_rate, association.height_rate])
    own = np.array([association.width_sigma, association.height_sigma])
    noise_sigma = sightings.size_sigma[[r[0] for r in paths.rows]]
    reading = (noise_sigma**2 / paths.counts[:, None])[i] + (noise_sigma**2 / paths.counts[:, None])[j]
    variance = reading + np.minimum(rate**2 * dt[:, None], 2 * own**2)
    gaps = paths.begin_size[j] - paths.end_size[i]
    size = size_ratio(gaps, variance, broad + variance, association)
    kit = kit_ratio(paths.kit[i], np.minimum(paths.kits[i], paths.kits[j]), paths.kit[j], association, population)
    unseen = dt
    if in_view is not None:
        # where the body would have been at five moments of the gap, on the straight way
        shares = (np.arange(5) + 0.5) / 5
        begin = np.array([sightings.moment[r[-1]] for r in paths.rows])[i]
        finish = np.array([sightings.moment[r[0]] for r in paths.rows])[j]
        inside = np.zeros(len(i))
        for share in shares:
            moments = np.rint(begin + share * (finish - begin)).astype(np.int64)
            places = end_state[i, :2] + share * (start_state[j, :2] - end_state[i, :2])
            inside += in_view(moments, places)
        unseen = dt * inside / len(shares)
    waiting = np.minimum(settings.gap_rate * unseen, settings.gap_floor)
    ratios[i, j] = place + size + kit - waiting
    return ratios


def stature_ratios(paths: Paths, settings: StitchSettings) -> np.ndarray:
    """Log-likelihood ratio of every two tracklets' statures being one body's, (T, T); 0 where they say nothing."""
    gap = paths.stature[None, :] - paths.stature[:, None]
    lengths = np.array([len(r) for r in paths.rows], dtype=np.int64)
    same = 2 * settings.stature_within**2
    other = same + 2 * settings.stature_between**2
    ratio = -0.5 * gap**2 * (1 / same - 1 / other) + 0.5 * np.log(other / same)
    speaks = np.isfinite(gap) & (np.minimum(lengths[:, None], lengths[None, :]) >= settings.stature_from)
    return np.where(speaks, np.maximum(ratio, -settings.stature_floor), 0.0)


def _chains(following: np.ndarray, dropped: np.ndarray) -> list[list[int]]:
    """Tracklets of each path along ``following`` (T,), -1 at the ends."""
    has_previous = np.zeros(len(following), dtype=bool)
    has_previous[following[following >= 0]] = True
    chains = []
    for first in np.flatnonzero(~has_previous & ~dropped):
        chain, here = [], int(first)
        while here >= 0:
            chain.append(here)
            here = int(following[here])
        chains.append(chain)
    return chains


def joined(rows: list[np.ndarray], chains: list[list[int]]) -> list[np.ndarray]:
    """Sightings of each path, ordered by their first."""
    return sorted((np.concatenate([rows[t] for t in chain]) for chain in chains), key=lambda r: int(r[0]))


def close_gaps(rows: list[np.ndarray], ratios: np.ndarray, least: float) -> list[np.ndarray]:
    """Join tracklets so that the summed ratio above ``least`` is greatest; no limit on the number of paths."""
    if not rows:
        return []
    gain = np.where(ratios > least, ratios - least, 0.0)
    ends, starts = linear_sum_assignment(-gain)
    following = np.full(len(rows), -1, dtype=np.int64)
    taken = gain[ends, starts] > 0
    following[ends[taken]] = starts[taken]
    return joined(rows, _chains(following, np.zeros(len(rows), dtype=bool)))


def fill_capacity(
    sightings: Sightings, paths: Paths, ratios: np.ndarray, capacity: int, settings: StitchSettings
) -> list[np.ndarray]:
    """Join tracklets into ``capacity`` paths, or as few more as it takes, leaving out what is not worth one.

    The rows of the assignment are the tracklets' ends and the sources of paths, its columns their starts and the
    sinks; ``capacity`` sources are free, any further one costs ``extra_cost``. A tracklet assigned to itself is left
    out at ``drop_cost`` for every sighting. Then bodies exchange their futures where that is likelier
    (:func:`exchange_futures`).
    """
    rows = paths.rows
    if not rows:
        return []
    chains = capacity_chains(rows, ratios, ratios + stature_ratios(paths, settings), capacity, settings)
    first = sightings.moment[[r[0] for r in rows]]
    last = sightings.moment[[r[-1] for r in rows]]
    return joined(rows, exchange_futures(chains, first, last, ratios, paths, settings))


def capacity_chains(
    rows: list[np.ndarray], ratios: np.ndarray, weighed: np.ndarray, capacity: int, settings: StitchSettings
) -> list[list[int]]:
    """Tracklets of each path when ``capacity`` paths carry as much as they can, by the ratios ``weighed`` (T, T).

    Links that ``ratios`` forbid are not made. Tracklets that are not worth a path are in none.
    """
    count = len(rows)
    sources = capacity + count
    cost = np.full((count + sources, count + sources), FORBIDDEN)
    possible = np.isfinite(ratios)
    cost[:count, :count][possible] = -np.maximum(weighed[possible], -settings.link_floor)
    cost[np.arange(count), np.arange(count)] = settings.drop_cost * np.array([len(r) for r in rows])
    cost[count:, :count] = 0.0
    cost[count + capacity :, :count] = settings.extra_cost
    cost[:count, count:] = 0.0
    cost[count:, count:] = 0.0
    ends, starts = linear_sum_assignment(cost)
    following = np.full(count, -1, dtype=np.int64)
    dropped = np.zeros(count, dtype=bool)
    for end, start in zip(ends.tolist(), starts.tolist(), strict=True):
        if end < count and start < count:
            if end == start:
                dropped[end] = True
            else:
                following[end] = start
    return _chains(following, dropped)


def stature_evidence(statures: np.ndarray, lengths: np.ndarray, settings: StitchSettings) -> float:
    """Logarithm of how likely the statures of some tracklets are if all are one body's.

    A tracklet speaks with one reading for every ``stature_block`` sightings, each off by ``stature_within``; the body's
    own stature is off the mean by ``stature_between``. The body's stature is integrated out.

    Parameters
    ----------
    statures : (n,) ndarray
        NaN where unknown; those say nothing.
    lengths : (n,) ndarray
        Sightings of each.
    """
    known = np.isfinite(statures) & (lengths >= settings.stature_from)
    if not known.any():
        return 0.0
    readings = np.maximum(lengths[known] / settings.stature_block, 0.5)
    noise = settings.stature_within**2 / readings
    precision = 1 / settings.stature_between**2 + np.sum(1 / noise)
    mean = np.sum(statures[known] / noise) / precision
    return float(
        -0.5 * np.sum(statures[known] ** 2 / noise + np.log(noise))
        - np.log(settings.stature_between)
        - 0.5 * np.log(precision)
        + 0.5 * precision * mean**2
    )


def exchange_futures(
    chains: list[list[int]],
    first: np.ndarray,
    last: np.ndarray,
    ratios: np.ndarray,
    paths: Paths,
    settings: StitchSettings,
) -> list[list[int]]:
    """Let bodies exchange their futures wherever that is likelier on the whole.

    The assignment weighs only neighbours on a chain. Here whole chains are judged: the links' ratios and whether all
    tracklets of a chain have one stature. The best exchange of two chains' tails is made until none is better.

    Parameters
    ----------
    chains : list of list of int
        Tracklets of each body, in time.
    first, last : (T,) ndarray
        Moments of each tracklet's ends.
    ratios : (T, T) ndarray
        Of links, without stature; -inf is forbidden.
    """
    lengths = np.array([len(r) for r in paths.rows], dtype=np.float64)

    def link(before: list[int], after: list[int]) -> float:
        if not before or not after:
            return 0.0
        ratio = ratios[before[-1], after[0]]
        return float(max(ratio, -settings.link_floor)) if np.isfinite(ratio) else -np.inf

    def evidence(chain: list[int]) -> float:
        return stature_evidence(paths.stature[chain], lengths[chain], settings) if chain else 0.0

    chains = [list(c) for c in chains]
    for _ in range(10 * max(1, len(chains))):
        best, move = 1e-6, None
        for a in range(len(chains)):
            for b in range(a + 1, len(chains)):
                now = evidence(chains[a]) + evidence(chains[b])
                for i in range(1, len(chains[a]) + 1):
                    for j in range(1, len(chains[b]) + 1):
                        a1, a2, b1, b2 = chains[a][:i], chains[a][i:], chains[b][:j], chains[b][j:]
                        if not a2 and not b2:
                            continue
                        if (b2 and last[a1[-1]] >= first[b2[0]]) or (a2 and last[b1[-1]] >= first[a2[0]]):
                            continue
                        gain = link(a1, b2) + link(b1, a2) - link(a1, a2) - link(b1, b2)
                        if not np.isfinite(gain):
                            continue
                        gain += evidence(a1 + b2) + evidence(b1 + a2) - now
                        if gain > best:
                            best, move = gain, (a, b, a1 + b2, b1 + a2)
        if move is None:
            break
        a, b, chains[a], chains[b] = move
    return chains
