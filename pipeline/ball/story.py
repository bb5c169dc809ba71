"""The ball's story in one shot: one hidden state a frame, the best of all by dynamic programming.

States are: held (or dribbled) by a body, loose at a detection, come off a ring, and unknown. Passes and shots are
whole flights (a semi-Markov step) from one held frame to the next held frame or to the ring, scored along their
free fall. Evidence and costs are log ratios; a held ball may go unseen cheaply, a flying one hardly.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from pipeline.ball.evidence import NOBODY, PICTURE_FT2, Evidence
from pipeline.ball.flights import Flights
from pipeline.ball.gains import Clues, change_costs, flight_costs, held_gains, rebound_costs, ring_gains
from pipeline.ball.settings import BallSettings, StorySettings


class State(IntEnum):
    """What the ball does in a frame."""

    UNKNOWN = 0
    HELD = 1
    LOOSE = 2
    OFF_RING = 3
    PASSED = 4
    SHOT = 5


@dataclass(frozen=True, slots=True, eq=False)
class Story:
    """F frames.

    Attributes
    ----------
    state : (F,) int ndarray of :class:`State`
    who : (F,) int ndarray
        Column of the holder, passer or shooter; the ring (0 left, 1 right) off the ring; else ``NOBODY``.
    row : (F,) int ndarray
        Detection taken for the ball, ``NOBODY`` where none is.
    flight : (F,) int ndarray
        Index of the pass or shot, ``NOBODY`` outside one.
    flights : Flights
    """

    state: np.ndarray
    who: np.ndarray
    row: np.ndarray
    flight: np.ndarray
    flights: Flights


def tell_story(
    evidence: Evidence,
    clues: Clues,
    attacking: np.ndarray | None,
    settings: BallSettings,
    owners: tuple[int, int] = (NOBODY, NOBODY),
) -> Story:
    """The best story of a shot.

    Parameters
    ----------
    evidence : Evidence
    clues : Clues
        From :func:`clues_of`.
    attacking : (F,) int ndarray, optional
        Team that attacks in each frame, -1 unknown.
    settings : BallSettings
    owners : tuple of int
        Teams that attack the left and the right ring, -1 unknown.
    """
    return _Telling(evidence, clues, attacking, settings, np.array(owners)).best()


@dataclass(slots=True, eq=False)
class _Best:
    """The best way to each state: its value, and the state before it as (kind, index, frame)."""

    value: np.ndarray
    kind: np.ndarray
    index: np.ndarray
    frame: np.ndarray

    @classmethod
    def of(cls, size: int) -> _Best:
        return cls(np.full(size, -np.inf), np.full(size, -1), np.full(size, -1), np.full(size, -1))

    def offer(self, value: np.ndarray, kind: int, index: np.ndarray | int, frame: np.ndarray | int) -> None:
        """Take over ways that are better than those known."""
        better = value > self.value
        self.value = np.where(better, value, self.value)
        self.kind = np.where(better, kind, self.kind)
        self.index = np.where(better, index, self.index)
        self.frame = np.where(better, frame, self.frame)


FLIGHT = 9
"""Kind of a step that is a whole flight; its index is the flight's."""

LOOSE_BACK = 3
"""A loose ball is taken up again after at most so many frames less one unseen."""


class _Telling:
    """The dynamic programme over one shot."""

    def __init__(
        self,
        evidence: Evidence,
        clues: Clues,
        attacking: np.ndarray | None,
        settings: BallSettings,
        owners: np.ndarray,
    ) -> None:
        self.evidence, self.clues, self.settings = evidence, clues, settings
        self.costs: StorySettings = settings.story
        bodies = evidence.bodies
        self.frames, self.count = bodies.place_ft.shape[:2]
        self.held_gain, self.held_row = held_gains(evidence, clues, attacking, self.costs)
        self.ring_gain, self.ring_row = ring_gains(evidence, clues, self.costs)
        self.change = change_costs(bodies, self.costs)
        cut = np.searchsorted(clues.flights.end, np.arange(self.frames + 1))
        self.flight_cut = cut
        count, flights = self.count, clues.flights
        self.rebound_extra = rebound_costs(bodies, owners, self.costs)
        price = flight_costs(evidence, flights, self.change, owners, self.costs)
        self.flight_value = flights.value - price
        # a hold shorter than the least has not ripened: it may end in nothing but the next frame of the same hold
        self.layers = max(int(np.ceil(settings.touches.least_hold_s / max(evidence.step_s, 1e-3) - 1e-6)), 1)
        self.falls = max(int(np.ceil(self.costs.ring_to_hands_s / max(evidence.step_s, 1e-3) - 1e-6)), 1)
        stays = self.ring_gain - self.costs.weight * self.costs.off_ring
        self.ring_sum = np.vstack([np.zeros(2), np.cumsum(stays, axis=0)])
        self.hands = [_Best.of(self.layers * count) for _ in range(self.frames)]
        self.rings = [_Best.of(2) for _ in range(self.frames)]
        self.unknown = [_Best.of(1) for _ in range(self.frames)]
        self.loose = _Best.of(len(evidence.moment))

    def best(self) -> Story:
        for k in range(self.frames):
            self._step(k)
        return self._told()

    # ---- forwards ----

    def _step(self, k: int) -> None:
        hands, rings, unknown = self.hands[k], self.rings[k], self.unknown[k]
        rows = self.evidence.rows(k)
        if k == 0:
            entry = np.where(self.evidence.bodies.official, -self.costs.official_cost, 0.0)
            known = np.isfinite(self.evidence.bodies.place_ft[0, :, 0])
            self._enter(0, np.where(known, entry, -np.inf), -1, -1, -1, layer=self.layers - 1)
            unknown.offer(np.array([-2.0]), -1, -1, -1)
            self._set_loose(rows, np.full(rows.stop - rows.start, -2.0), -1, -1, -1)
        else:
            self._into_hands(k)
            rings.offer(self.rings[k - 1].value, State.OFF_RING, np.arange(2), k - 1)
            self._into_unknown(k)
            self._into_loose(k, rows)
        self._land(k)
        hands.value = hands.value + np.tile(self.held_gain[k], self.layers)
        rings.value = rings.value + self.ring_gain[k] - self.costs.weight * self.costs.off_ring
        unknown.value = unknown.value - self.costs.weight * self.costs.unknown
        self.loose.value[rows] += self.costs.weight * (self.evidence.gain[rows] - self.costs.loose)

    def _into_hands(self, k: int) -> None:
        e, costs, now = self.evidence, self.costs, self.hands[k]
        before = self._ripe(k - 1)
        here, there = e.bodies.place_ft[k], e.bodies.place_ft[k - 1]
        known = np.isfinite(here[:, 0])
        if not self.count:
            return
        every, size = self.hands[k - 1].value, self.count
        older = np.full(len(every), -np.inf)
        older[size:] = every[:-size]
        now.offer(older, State.HELD, np.arange(len(every)) - size, k - 1)
        older[:-size], older[-size:] = -np.inf, before
        now.offer(older, State.HELD, np.arange(len(every)), k - 1)
        ripe = (self.layers - 1) * size
        gap = np.linalg.norm(here[None] - there[:, None], axis=2)
        with np.errstate(invalid="ignore"):
            hand = np.where(gap <= costs.handoff_ft, -costs.handoff_cost - self.change, -np.inf)
        last = self._last_places(k)
        with np.errstate(invalid="ignore"):
            goes_on = np.linalg.norm(here[None] - last[:, None], axis=2) < 6.0
        goes_on &= (self.change == 0) & ~np.isfinite(here[:, 0])[:, None]
        hand = np.where(goes_on, -costs.same_body_cost, hand)
        np.fill_diagonal(hand, -np.inf)
        reached = before[:, None] + hand
        came = reached.argmax(axis=0)
        value = reached[came, np.arange(self.count)]
        self._enter(k, np.where(known, value, -np.inf), State.HELD, came + ripe, k - 1)
        into = np.where(known, np.where(e.bodies.official, -costs.official_cost, 0.0), -np.inf)
        self._enter(k, self.unknown[k - 1].value[0] - costs.gain_cost + into, State.UNKNOWN, 0, k - 1)
        if k >= self.falls:
            came_off = k - self.falls  # the ball has been in nobody's hands since
            meanwhile = self.ring_sum[k] - self.ring_sum[came_off + 1]
            for ring in (0, 1):
                away = np.linalg.norm(here - e.rings_ft[ring, :2], axis=1)
                price = costs.rebound_cost + 0.5 * (away / costs.rebound_ft) ** 2 + self.rebound_extra[ring]
                value = self.rings[came_off].value[ring] + meanwhile[ring] - price + into
                self._enter(k, value, State.OFF_RING, ring, came_off)
        first = np.searchsorted(e.moment, max(k - LOOSE_BACK, 0))
        rows = np.arange(first, e.rows(k).start)
        if len(rows):
            unseen = costs.weight * (costs.hidden_loose + costs.loose) * (k - e.moment[rows] - 1)
            near = np.clip(self.clues.fit[rows, : self.count], -6.0, 0.0)
            reached = (self.loose.value[rows] - unseen)[:, None] + near
            came = reached.argmax(axis=0)
            value = reached[came, np.arange(self.count)] - costs.gain_cost + into
            self._enter(k, value, State.LOOSE, rows[came], e.moment[rows[came]])

    def _ripe(self, k: int) -> np.ndarray:
        """Value of each body's holds that may end in frame k, (N,)."""
        return self.hands[k].value[(self.layers - 1) * self.count :]

    def _enter(
        self, k: int, value: np.ndarray, kind: int, index: np.ndarray | int, frame: np.ndarray | int, *, layer: int = 0
    ) -> None:
        """Offer ways into the hands of each body (N,), as a hold that begins."""
        size = self.count
        full, at, when = (
            np.full(self.layers * size, -np.inf),
            np.full(self.layers * size, -1),
            np.full(self.layers * size, -1),
        )
        part = slice(layer * size, (layer + 1) * size)
        full[part], at[part], when[part] = value, index, frame
        self.hands[k].offer(full, kind, at, when)

    def _last_places(self, k: int) -> np.ndarray:
        """Last known place of each body up to a second before frame k, (N, 2)."""
        place = self.evidence.bodies.place_ft
        last = place[k - 1].copy()
        for back in range(2, 13):
            missing = ~np.isfinite(last[:, 0])
            if k - back < 0 or not missing.any():
                break
            last[missing] = place[k - back, missing]
        return last

    def _into_unknown(self, k: int) -> None:
        now, costs = self.unknown[k], self.costs
        now.offer(self.unknown[k - 1].value, State.UNKNOWN, 0, k - 1)
        ripe = (self.layers - 1) * self.count
        for kind, best, first in ((State.HELD, self._ripe(k - 1), ripe), (State.OFF_RING, self.rings[k - 1].value, 0)):
            if len(best):
                price = costs.lose_cost if kind == State.HELD else 1.0
                now.offer(best[[best.argmax()]] - price, kind, first + int(best.argmax()), k - 1)
        rows = self.evidence.rows(k - 1)
        if rows.stop > rows.start:
            top = rows.start + int(self.loose.value[rows].argmax())
            now.offer(self.loose.value[[top]] - 0.5 * costs.lose_cost, State.LOOSE, top, k - 1)

    def _set_loose(
        self, rows: slice, value: np.ndarray, kind: int, index: np.ndarray | int, frame: np.ndarray | int
    ) -> None:
        part = _Best(self.loose.value[rows], self.loose.kind[rows], self.loose.index[rows], self.loose.frame[rows])
        part.offer(value, kind, index, frame)
        self.loose.value[rows], self.loose.kind[rows] = part.value, part.kind
        self.loose.index[rows], self.loose.frame[rows] = part.index, part.frame

    def _into_loose(self, k: int, rows: slice) -> None:
        size = rows.stop - rows.start
        if not size:
            return
        e, costs, fit = self.evidence, self.costs, self.clues.fit
        self._set_loose(rows, np.full(size, self.unknown[k - 1].value[0] - costs.gain_cost), State.UNKNOWN, 0, k - 1)
        if self.count:
            near = self._ripe(k - 1)[None] + np.clip(fit[rows, : self.count], -6.0, 3.0)
            came = near.argmax(axis=1)
            self._set_loose(
                rows,
                near[np.arange(size), came] - costs.lose_cost,
                State.HELD,
                came + (self.layers - 1) * self.count,
                k - 1,
            )
        off = self.rings[k - 1].value[None] + np.minimum(fit[rows, self.count :], 3.0)
        came = off.argmax(axis=1)
        self._set_loose(rows, off[np.arange(size), came] - 1.0, State.OFF_RING, came, k - 1)
        first = np.searchsorted(e.moment, max(k - LOOSE_BACK, 0))
        earlier = np.arange(first, rows.start)
        if not len(earlier):
            return
        dt = e.times_s[k] - e.times_s[e.moment[earlier]]
        a, b = e.ray[rows] / np.linalg.norm(e.ray[rows], axis=1, keepdims=True), e.ray[earlier]
        b = b / np.linalg.norm(b, axis=1, keepdims=True)
        move = np.linalg.norm(a[:, None] - b[None], axis=2) * self._distance(k)
        sigma = 0.5 + costs.roll_ft_s * dt
        unseen = (costs.hidden_loose + costs.loose) * (k - e.moment[earlier] - 1)
        density = (
            np.log(PICTURE_FT2 / (self.settings.evidence.clutter * 2 * np.pi * sigma**2))
            - 0.5 * (move / sigma) ** 2
            - unseen
        )
        reached = self.loose.value[earlier][None] + costs.weight * density
        came = reached.argmax(axis=1)
        self._set_loose(rows, reached[np.arange(size), came], State.LOOSE, earlier[came], e.moment[earlier[came]])

    def _distance(self, k: int) -> float:
        """Feet from the camera to the players of a frame."""
        view = self.evidence.views.get(k)
        if view is None:
            return 80.0
        place = self.evidence.bodies.place_ft[k]
        place = place[np.isfinite(place[:, 0])]
        middle = np.median(place, axis=0) if len(place) else np.array([47.0, 25.0])
        return float(np.hypot(np.linalg.norm(middle - view.centre_ft[:2]), view.centre_ft[2]))

    def _land(self, k: int) -> None:
        """Flights that end in this frame."""
        a, b = self.flight_cut[k], self.flight_cut[k + 1]
        if a == b:
            return
        flights, oldest = self.clues.flights, int(self.clues.flights.start[a:b].min())
        begun = np.array([np.concatenate([self._ripe(m), self.rings[m].value]) for m in range(oldest, k)])
        value = begun[flights.start[a:b] - oldest, flights.by[a:b]] + self.flight_value[a:b]
        order = np.argsort(value, kind="stable")
        top = np.full(self.count + 2, -1)
        top[flights.to[a:b][order]] = order  # the last, which is the best, stays
        arrived = np.where(top >= 0, value[np.maximum(top, 0)], -np.inf)
        began = flights.start[np.maximum(top, 0) + a]
        self._enter(k, arrived[: self.count], FLIGHT, top[: self.count] + a, began[: self.count])
        self.rings[k].offer(arrived[self.count :], FLIGHT, top[self.count :] + a, began[self.count :])

    # ---- backwards ----

    def _told(self) -> Story:
        n = self.frames
        state, who = np.zeros(n, dtype=np.int64), np.full(n, NOBODY)
        row, flight = np.full(n, NOBODY), np.full(n, NOBODY)
        flights = self.clues.flights
        ends = [
            (float(best.value.max()), kind, int(best.value.argmax()))
            for kind, best in (
                (State.HELD, self.hands[n - 1]),
                (State.OFF_RING, self.rings[n - 1]),
                (State.UNKNOWN, self.unknown[n - 1]),
            )
            if n and len(best.value)
        ]
        rows = self.evidence.rows(n - 1) if n else slice(0, 0)
        if rows.stop > rows.start:
            at = int(self.loose.value[rows].argmax())
            ends.append((float(self.loose.value[rows][at]), State.LOOSE, rows.start + at))
        if not ends:
            return Story(state, who, row, flight, flights)
        _, kind, index = max(ends)
        k = n - 1
        while k >= 0:
            ways = {State.LOOSE: self.loose, State.HELD: self.hands[k], State.OFF_RING: self.rings[k]}
            best = ways.get(kind, self.unknown[k])
            state[k] = kind
            if kind == State.HELD:
                who[k] = index % self.count
                row[k] = self.held_row[k, who[k]]
            elif kind == State.OFF_RING:
                who[k], row[k] = index, self.ring_row[k, index]
            elif kind == State.LOOSE:
                row[k] = index
            came, at, frame = int(best.kind[index]), int(best.index[index]), int(best.frame[index])
            if came == -1:
                break
            inner = np.arange(frame + 1, k)
            if came == FLIGHT:
                by = int(flights.by[at])
                flight[inner] = at
                if by >= self.count:
                    state[inner], who[inner] = State.OFF_RING, by - self.count
                    kind, index = State.OFF_RING, by - self.count
                else:
                    state[inner] = State.SHOT if flights.to[at] >= self.count else State.PASSED
                    who[inner] = by
                    kind, index = State.HELD, by + (self.layers - 1) * self.count
            else:
                off = kind == State.HELD and came == State.OFF_RING
                state[inner] = State.OFF_RING if off else State.LOOSE
                if off:
                    who[inner], row[inner] = at, self.ring_row[inner, at]
                kind, index = State(came), at
            k = frame
        return Story(state, who, row, flight, flights)
