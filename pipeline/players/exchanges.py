"""Exchanged identities, found and undone once whole paths are known.

Paths are given from association and stitching. Wherever two bodies came near each other, or were out of sight together,
they may have exchanged names. With every path's past and future known (:mod:`pipeline.players.futures`), all
exchanges of two bodies' futures at all moments are weighed at once, and so are exchanges that are taken back later:
one alone often looks bad where two together are right. The best are made until none is left: a local search
over whole paths, as in Markov chain Monte Carlo data association (Oh, Russell & Sastry 2009, *IEEE Trans. Automatic
Control* 54, 481), but always uphill.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from pipeline.players.futures import (
    PARTS,
    BodyModel,
    Readings,
    futures,
    joined_evidence,
    joined_readings,
    pasts,
)
from pipeline.players.settings import ExchangeSettings

Waiting = Callable[[np.ndarray, np.ndarray], np.ndarray]
"""Cost of a body not seen between two sightings: rows before (n,), rows after (n,) to (n,).

Row -1 before: the body was not seen since the beginning; after: it is not seen again."""


AT_ONCE = 200
"""Moments whose joins are computed together, to bound memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """All sightings of a shot as the body model reads them.

    Attributes
    ----------
    moment : (N,) int ndarray
        Non-decreasing.
    times_s : (T,) ndarray
    values, variances : (N, 4) ndarray
        Across, down, log height and log width, and their errors.
    """

    moment: np.ndarray
    times_s: np.ndarray
    values: np.ndarray
    variances: np.ndarray

    def readings(self, grid: np.ndarray) -> Readings:
        """Measurements of paths given as rows of sightings, (T, P), -1 where unseen."""
        seen = (grid >= 0)[..., None]
        rows = np.maximum(grid, 0)
        return Readings(np.where(seen, self.values[rows], np.nan), np.where(seen, self.variances[rows], 1.0))

    def dt_s(self) -> np.ndarray:
        """Time from the moment before to each moment, (T,); 0 for the first."""
        return np.diff(self.times_s, prepend=self.times_s[:1])


def grid_of(rows: list[np.ndarray], moment: np.ndarray, frames: int) -> np.ndarray:
    """Paths as rows of sightings on all moments, (frames, P); -1 where unseen."""
    grid = np.full((frames, len(rows)), -1, dtype=np.int64)
    for path, own in enumerate(rows):
        grid[moment[own], path] = own
    return grid


def rows_of(grid: np.ndarray) -> list[np.ndarray]:
    """Inverse of :func:`grid_of`; paths without sightings are left out."""
    return [column[column >= 0] for column in grid.T if np.any(column >= 0)]


def neighbours(grid: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each path's last moment seen up to each moment and its next one after it, (T, P) both; -1 where none."""
    length = len(grid)
    moments = np.arange(length)[:, None]
    before = np.maximum.accumulate(np.where(grid >= 0, moments, -1), axis=0)
    after = np.minimum.accumulate(np.where(grid >= 0, moments, length)[::-1], axis=0)[::-1]
    after = np.vstack([after[1:], np.full((1, grid.shape[1]), length)])
    return before, np.where(after < length, after, -1)


def _waits(grid: np.ndarray, before: np.ndarray, after: np.ndarray, waiting: Waiting) -> np.ndarray:
    """Cost of the gap between every path's past and every path's future at every moment, (T, P, P)."""
    costs = np.zeros((*grid.shape, grid.shape[1]))
    past, future = before[:, :, None], after[:, None, :]
    t, i, j = np.nonzero(((past >= 0) | (future >= 0)) & ((past < 0) | (future < 0) | (future - past > 1)))
    one, two = before[t, i], after[t, j]
    pairs = np.column_stack([np.where(one >= 0, grid[one, i], -1), np.where(two >= 0, grid[two, j], -1)])
    different, which = np.unique(pairs, axis=0, return_inverse=True)
    costs[t, i, j] = waiting(different[:, 0], different[:, 1])[which.reshape(-1)]
    return costs


class _Search:
    """The paths of one search and what is known of their pasts and futures."""

    def __init__(
        self, grid: np.ndarray, measured: Measured, model: BodyModel, waiting: Waiting, settings: ExchangeSettings
    ) -> None:
        self.grid = grid.copy()
        self.measured, self.model, self.waiting, self.settings = measured, model, waiting, settings
        self.steps, self.noises = model.transition(measured.dt_s())

    def weigh(self) -> None:
        """Evidence of joining every path's past to every path's future, at every moment: ``joins`` (T, P, P)."""
        readings = self.measured.readings(self.grid)
        self.means, self.spreads = pasts(self.model, self.steps, self.noises, readings)
        self.vectors, self.matrices = futures(self.steps, self.noises, readings)
        self.before, after = neighbours(self.grid)
        self.waits = _waits(self.grid, self.before, after, self.waiting)
        joins = np.empty_like(self.waits)
        for begin in range(0, len(joins), AT_ONCE):
            some = slice(begin, begin + AT_ONCE)
            joins[some] = joined_evidence(
                self.means[some, :, None],
                self.spreads[some, :, None],
                self.vectors[some, None],
                self.matrices[some, None],
            )
        self.joins = joins - self.waits

    def gains(self) -> np.ndarray:
        """Gain of every two paths exchanging their futures after every moment, (T, P, P), symmetric."""
        own = np.einsum("tii->ti", self.joins)
        return self.joins + np.swapaxes(self.joins, 1, 2) - own[:, :, None] - own[:, None, :]

    def moves(self) -> list[tuple[float, int, int, int, int]]:
        """Possible moves, best first: gain, two paths, after which moment, up to which (exclusive end: T)."""
        gains = self.gains()
        length, count = self.grid.shape
        found = []
        starts = []
        block = self.settings.block
        first, second = np.triu_indices(count, 1)
        series = gains[:, first, second]
        for begin in range(0, length - 1, block):
            stop = min(begin + block, length - 1)
            at = np.argmax(series[begin:stop], axis=0) + begin
            value = series[at, np.arange(len(first))]
            # an exchange that changes nothing, or is the same as one moment later, is no candidate
            good = (value > self.settings.least_start) & (np.abs(value) > 1e-9)
            starts += [
                (float(value[k]), int(first[k]), int(second[k]), int(at[k])) for k in np.flatnonzero(good).tolist()
            ]
        best: dict[tuple[int, int], tuple[float, int]] = {}
        for gain, i, j, t in starts:
            if gain > self.settings.least_gain and gain > best.get((i, j), (-np.inf, 0))[0]:
                best[i, j] = (gain, t)
        found += [(gain, i, j, t, length) for (i, j), (gain, t) in best.items()]
        starts.sort(reverse=True)
        found += self._returns(starts[: self.settings.most_starts])
        return sorted(found, reverse=True)

    def _returns(self, starts: list[tuple[float, int, int, int]]) -> list[tuple[float, int, int, int, int]]:
        """For exchanges that begin somewhere, the best moment to take them back."""
        if not starts:
            return []
        length = len(self.grid)
        window = min(self.settings.window, length)
        gain, i, j, t = (np.array(x) for x in zip(*starts, strict=True))
        i, j, t = i.astype(np.int64), j.astype(np.int64), t.astype(np.int64)
        moments = np.minimum(t + 1 + np.arange(window)[:, None], length - 1)  # (W, K)
        inside = t + 1 + np.arange(window)[:, None] < length
        one, two = np.concatenate([i, j]), np.concatenate([j, i])  # path one goes on with two's future
        when = np.concatenate([moments, moments], axis=1)
        grid = np.where(np.concatenate([inside, inside], axis=1), self.grid[when, two], -1)
        at = np.concatenate([t, t])
        means, spreads = pasts(
            self.model,
            self.steps[when],
            self.noises[when],
            self.measured.readings(grid),
            (self.means[at, one], self.spreads[at, one]),
        )
        back = joined_evidence(means, spreads, self.vectors[when, one], self.matrices[when, one])
        on = joined_evidence(means, spreads, self.vectors[when, two], self.matrices[when, two])
        # what a gap costs depends on whose sighting was the last
        latest = np.where(self.before[when, two] > at, two, one)
        back = back - self.waits[when, latest, one]
        on = on - self.waits[when, latest, two]
        change = back - on
        total = gain + change[:, : len(i)] + change[:, len(i) :]
        total = np.where(inside, total, -np.inf)
        end = np.argmax(total, axis=0)
        value = total[end, np.arange(len(i))]
        return [
            (float(value[k]), int(i[k]), int(j[k]), int(t[k]), int(moments[end[k], k]))
            for k in np.flatnonzero(value > self.settings.least_gain).tolist()
        ]

    def make(self, i: int, j: int, after: int, until: int) -> None:
        """Exchange the sightings of two paths after one moment up to and with another."""
        self.grid[after + 1 : until + 1, [i, j]] = self.grid[after + 1 : until + 1, [j, i]]

    def turn(self) -> bool:
        """Where no two bodies would exchange their futures, three or more may: the best such turn is made, if any."""
        best, chosen = self.settings.least_gain, None
        for t, joins in enumerate(self.joins[:-1]):
            pasts_of, futures_of = linear_sum_assignment(-joins)
            gain = joins[pasts_of, futures_of].sum() - np.trace(joins)
            if gain > best:
                best, chosen = gain, (t, futures_of)
        if chosen is None:
            return False
        t, futures_of = chosen
        self.grid[t + 1 :] = self.grid[t + 1 :, futures_of]
        return True


def undo_exchanges(
    grid: np.ndarray, measured: Measured, model: BodyModel, waiting: Waiting, settings: ExchangeSettings
) -> np.ndarray:
    """Exchange futures of paths until no exchange makes the whole likelier.

    Parameters
    ----------
    grid : (T, P) int ndarray
        Rows of the sightings of every path, -1 where unseen.
    measured : Measured
    model : BodyModel
    waiting : callable
        Cost of a gap between two sightings.
    settings : ExchangeSettings

    Returns
    -------
    (T, P) int ndarray
        The same sightings, none lost and none added.
    """
    if grid.shape[1] < 2 or grid.shape[0] < 2:
        return grid.copy()
    search = _Search(grid, measured, model, waiting, settings)
    for _ in range(settings.most_rounds):
        search.weigh()
        taken: set[int] = set()
        for _, i, j, after, until in search.moves():
            if not taken & {i, j}:
                search.make(i, j, after, until)
                taken |= {i, j}
        if not taken and not search.turn():
            break
    return search.grid


def reassigned(
    grid: np.ndarray, measured: Measured, model: BodyModel, false_density: float, settings: ExchangeSettings
) -> np.ndarray:
    """Every frame's sightings given anew to the paths, each path's place told by all its other frames.

    Parameters
    ----------
    grid : (T, P) int ndarray
    measured : Measured
    model : BodyModel
    false_density : float
        Expected false sightings per moment, unit of the plane and units of log height and log width.
    settings : ExchangeSettings

    Returns
    -------
    (T, P) int ndarray
        A path is given sightings only within ``reach_s`` of those it had.
    """
    length, count = grid.shape
    if not count or length < 2:
        return grid.copy()
    steps, noises = model.transition(measured.dt_s())
    readings = measured.readings(grid)
    means, spreads = pasts(model, steps, noises, readings)
    vectors, matrices = futures(steps, noises, readings)
    # what the past says of the moment itself, then with the future
    mean = np.concatenate([np.zeros((1, count, 4, PARTS)), (steps[1:, None] @ means[:-1, ..., None])[..., 0]])
    spread = np.concatenate(
        [
            np.tile(model.anybody(), (1, count, 1, 1, 1)),
            steps[1:, None] @ spreads[:-1] @ np.swapaxes(steps[1:, None], -1, -2) + noises[1:, None],
        ]
    )
    expected, doubt = joined_readings(mean, spread, vectors, matrices)
    seen = grid >= 0
    before, after = neighbours(grid)
    times = measured.times_s
    since = np.where(before >= 0, times[:, None] - times[before], np.inf)
    until = np.where(after >= 0, times[after] - times[:, None], np.inf)
    alive = (before >= 0) & ((after >= 0) | seen) & (np.minimum(since, until) <= settings.reach_s)
    bounds = np.searchsorted(measured.moment, np.arange(length + 1))
    least = np.log(false_density) - np.log(settings.seen_share / (1 - settings.seen_share))
    result = np.full_like(grid, -1)
    for t in range(length):
        rows, paths = np.arange(bounds[t], bounds[t + 1]), np.flatnonzero(alive[t])
        if not len(rows) or not len(paths):
            continue
        variance = doubt[t, paths][:, None] + measured.variances[rows][None]
        miss = measured.values[rows][None] - expected[t, paths][:, None]
        density = np.sum(-0.5 * miss**2 / variance - 0.5 * np.log(2 * np.pi * variance), axis=2)
        gain = np.maximum(density - least, 0.0)
        one, other = linear_sum_assignment(-gain)
        good = gain[one, other] > 0
        result[t, paths[one[good]]] = rows[other[good]]
    return result
