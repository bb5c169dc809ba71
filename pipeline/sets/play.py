"""One possession's actions, looked up by kind, and which of them fit a phase of a set."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.vocabulary import UNKNOWN
from pipeline.sets.definition import AT_START, Side, Zone
from pipeline.sets.floor import END, Floor
from pipeline.sets.plan import MIRRORED, PlannedAction, PlannedPhase, PlannedZone
from pipeline.sets.settings import SetSettings
from pipeline.sets.unseen import HIDDEN_S

LOOKS = 5
"""How often a player's start is looked at before the first action."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """An action that fits a phase.

    Attributes
    ----------
    index : int
        Of the action in its possession.
    t_s, start_s, end_s : float
    quality : float
        0..1: its score, less for what was nearly so or not seen.
    binds : tuple of (player of the definition, track)
    hidden_s : float
        Of what may have happened unseen (:mod:`unseen`, :mod:`meetings`): since when; NaN for what was seen.
    """

    index: int
    t_s: float
    start_s: float
    end_s: float
    quality: float
    binds: tuple[tuple[int, int], ...]
    hidden_s: float = math.nan

    @property
    def seen(self) -> bool:
        """Whether somebody saw it."""
        return math.isnan(self.hidden_s)


class Play:
    """The actions of one possession.

    Parameters
    ----------
    events : sequence of Event
        In order of time; those that nobody saw (:mod:`unseen`, :mod:`meetings`) after all others.
    numbers : sequence of int
        Numbers of those that were seen in the actions table.
    points_uv : ndarray (N, 3, 2)
    grades : ndarray (N, 3, places)
        From :mod:`floor`.
    floor : Floor
    settings : SetSettings
    """

    def __init__(
        self,
        events: Sequence[Event],
        numbers: Sequence[int],
        points_uv: np.ndarray,
        grades: np.ndarray,
        floor: Floor,
        settings: SetSettings,
    ) -> None:
        self.events = events
        self.numbers = numbers
        self.floor = floor
        self.settings = settings
        self.points = points_uv.tolist()
        self._grades = grades.tolist()
        self.by_kind: dict[str, list[int]] = {}
        self._unseen: dict[str, list[int]] = {}
        for index, event in enumerate(events):
            of_kind = self.by_kind if index < len(numbers) else self._unseen
            of_kind.setdefault(event.kind, []).append(index)
        self.kinds = frozenset((*self.by_kind, *self._unseen))
        self._actors = [dict(reversed(event.actors)) for event in events]  # of one role twice the first
        self.stood: dict[tuple[Zone, int, float, int], float] = {}
        """How well players stood where they should, kept by :mod:`starting`."""
        self._values: dict[tuple[int, int], Mapping[str, float | str | None]] = {}
        self._stances: dict[tuple[int, int, float], list[tuple[list[float], float]]] = {}
        self._fits: dict[tuple[PlannedPhase, int], list[Fit]] = {}

    def values(self, index: int, mirror: int) -> Mapping[str, float | str | None]:
        """Measures and traits of an action, sides as a set file draws them."""
        known = self._values.get((index, mirror))
        if known is None:
            event = self.events[index]
            merged: dict[str, float | str | None] = {**event.measures, **event.traits}
            if mirror < 0:
                merged.update({name: -event.measures[name] for name in MIRRORED if name in event.measures})
            known = self._values[(index, mirror)] = merged
        return known

    def fits(self, phase: PlannedPhase, mirror: int) -> list[Fit]:
        """The actions that fit a phase by kind, traits, conditions and places, in order of time."""
        key = (phase, mirror if phase.one_sided else 1)
        found = self._fits.get(key)
        if found is None:
            best: dict[tuple[int, tuple[tuple[int, int], ...]], Fit] = {}
            for action in phase.actions:
                for index in (*self.by_kind.get(action.kind, ()), *self._unseen.get(action.kind, ())):
                    fit = self._fit(phase, action, index, key[1])
                    if fit is not None:
                        other = best.get((index, fit.binds))
                        if other is None or fit.quality > other.quality:
                            best[(index, fit.binds)] = fit
            found = self._fits[key] = sorted(best.values(), key=lambda fit: (fit.t_s, fit.index))
        return found

    def _fit(self, phase: PlannedPhase, action: PlannedAction, index: int, mirror: int) -> Fit | None:
        event, actors, s = self.events[index], self._actors[index], self.settings
        quality = event.score
        for name, wanted in action.traits:
            value = event.traits.get(name, UNKNOWN)
            if value != wanted:
                if value != UNKNOWN:
                    return None
                quality *= s.unknown_share
        binds = []
        for role, player in action.roles:
            track = actors.get(role)
            if track is None:
                quality *= s.unknown_share
            else:
                binds.append((player, track))
        if action.tests or phase.ideally is not None:
            values = self.values(index, mirror)
            for test in action.tests:
                held = test(values)
                if held is False:
                    return None
                if held is None:
                    quality *= s.unknown_share
            if phase.ideally is not None and phase.ideally(values) is not True:
                quality *= s.ideally_share
        for zone in phase.zones:
            quality *= self.zone_share(zone, index, mirror)
            if quality == 0.0:
                return None
        if len(binds) > 1 and len({track for _, track in binds}) < len(binds):
            return None
        hidden_s = event.measures.get(HIDDEN_S, math.nan)
        return Fit(index, event.t_s, event.start_s, event.end_s, float(quality), tuple(binds), hidden_s)

    def zone_share(self, zone: PlannedZone, index: int, mirror: int) -> float:
        """What is left of a score for where a point of an action lies; 0 when it lies elsewhere. Sides that refer to
        another phase are not looked at."""
        s = self.settings
        share = 1.0
        if zone.columns:
            graded = self._grades[index][zone.point]
            grade = max(graded[column] for column in zone.columns)
            share = s.unknown_share if grade != grade else grade
        if zone.side is None or share == 0.0 or zone.side in (Side.SAME, Side.OPPOSITE):
            return share
        event = self.events[index]
        sign = mirror
        if zone.side in (Side.BALL, Side.WEAK):
            sign = self.floor.ball_side(event.shot, event.start_s, event.attacked_end)
            if sign == 0:
                return share * s.unknown_share
        return share * side_share(zone.side, self.points[index][zone.point][1] * sign, s)

    def stances(self, shot: int, track: int, t_s: float, end: str) -> list[tuple[list[float], float]]:
        """How well a player stands in each place (``Floor.grades``), and how far to the right, a few times from
        ``settles_s`` before a moment to the moment."""
        known = self._stances.get((shot, track, t_s))
        if known is None:
            times = t_s - np.linspace(0.0, self.settings.settles_s, LOOKS)
            asked = {track, *self.floor.mates(shot, track, t_s)}  # all of his team at once: it costs no more
            uv = np.vstack([self.floor.places_uv(shot, one, times, end) for one in asked])
            looks = list(zip(self.floor.grades(uv).tolist(), uv[:, 1].tolist(), strict=True))
            for count, one in enumerate(asked):
                self._stances[(shot, one, t_s)] = looks[LOOKS * count : LOOKS * (count + 1)]
            known = self._stances[(shot, track, t_s)]
        return known

    def linked_share(self, zone: PlannedZone, fit: Fit, other: Fit | None, start_s: float) -> float:
        """What is left for being on the same or the opposite side as another phase, or as the ball at the start."""
        s = self.settings
        if zone.than == AT_START:
            event = self.events[fit.index]
            v_other = self.floor.ball_v(event.shot, start_s, event.attacked_end)
        elif other is None:
            return s.unknown_share
        else:
            v_other = self.points[other.index][END][1]
        v = self.points[fit.index][zone.point][1]
        if v != v or v_other != v_other:
            return s.unknown_share
        same = zone.side is Side.SAME
        if min(abs(v), abs(v_other)) < s.side_from_ft:
            return s.near_share
        return 1.0 if ((v > 0) == (v_other > 0)) == same else 0.0


def side_share(side: Side, v_ft: float, s: SetSettings) -> float:
    """What is left of a score for a distance to the right, the right being the ball's side for ``BALL``, ``WEAK``."""
    if v_ft != v_ft:
        return s.unknown_share
    if side is Side.MIDDLE:
        off = abs(v_ft) - s.middle_within_ft
        return 1.0 if off <= 0 else s.near_share if off <= s.side_from_ft else 0.0
    right = v_ft if side in (Side.RIGHT, Side.BALL) else -v_ft
    return 1.0 if right >= s.side_from_ft else s.near_share if right > -s.side_from_ft else 0.0
