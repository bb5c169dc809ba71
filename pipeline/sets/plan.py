"""A definition made ready for matching: conditions as functions, places as columns, phases sorted by need."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from pipeline.conditions import Condition, Truth, names_in, predicate
from pipeline.conditions.judging import Values
from pipeline.court.places import PLACES
from pipeline.sets.definition import SOMEONE, Action, Need, Phase, SetDefinition, Side, Zone
from pipeline.sets.floor import END, HERE, START
from pipeline.sets.ways import Line, lines

Test = Callable[[Values], Truth]

MIRRORED = frozenset({"v_ft", "start_v_ft", "end_v_ft", "catch_v_ft"})
"""Measures that change their sign with the side."""


@dataclass(frozen=True, slots=True, eq=False)
class PlannedZone:
    """A place that is asked of a phase: which point of it, the columns of its places, the side."""

    point: int
    columns: tuple[int, ...]
    side: Side | None
    than: str | None


@dataclass(frozen=True, slots=True, eq=False)
class PlannedAction:
    """One alternative of a phase; ``roles`` hold the place of each player in the definition."""

    kind: str
    traits: tuple[tuple[str, str], ...]
    roles: tuple[tuple[str, int], ...]
    tests: tuple[Test, ...]


@dataclass(frozen=True, slots=True, eq=False)
class PlannedPhase:
    """A phase made ready; ``one_sided`` tells that it differs from its mirror image."""

    phase: Phase
    name: str
    actions: tuple[PlannedAction, ...]
    zones: tuple[PlannedZone, ...]
    linked: tuple[PlannedZone, ...]
    ideally: Test | None
    one_sided: bool


@dataclass(frozen=True, slots=True, eq=False)
class PlannedPart:
    """The phases of a line, or of an ending, by need, in order of the file; usual phases are among the optional."""

    name: str
    phases: tuple[PlannedPhase, ...]
    required: tuple[PlannedPhase, ...]
    optional: tuple[PlannedPhase, ...]
    forbidden: tuple[PlannedPhase, ...]


@dataclass(frozen=True, slots=True, eq=False)
class PlannedLine:
    """A line of :mod:`ways` made ready."""

    line: Line
    part: PlannedPart
    endings: tuple[PlannedPart, ...]
    kinds: tuple[frozenset[str], ...]
    """Kinds that each phase that must be there can be."""
    acting: frozenset[int]
    """Players whom the phases that must be there name."""


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """A definition made ready for matching."""

    definition: SetDefinition
    lines: tuple[PlannedLine, ...]
    one_sided: bool


def plan_set(definition: SetDefinition) -> Plan:
    """Make a definition ready for matching."""
    players = {player.name: number for number, player in enumerate(definition.players)}
    made: dict[int, PlannedPhase] = {}

    def phase_of(phase: Phase) -> PlannedPhase:
        if id(phase) not in made:
            made[id(phase)] = _phase(phase, players)
        return made[id(phase)]

    planned = []
    for line in lines(definition):
        endings = tuple(_part(one.name, tuple(phase_of(phase) for phase in one.phases)) for one in line.endings)
        part = _part(line.counter or "", tuple(phase_of(phase) for phase in line.phases))
        kinds = tuple(frozenset(action.kind for action in phase.actions) for phase in part.required)
        acting = frozenset(n for phase in part.required for action in phase.actions for _, n in action.roles)
        planned.append(PlannedLine(line, part, endings, kinds, acting))
    sides = [player.starts.side for player in definition.players if player.starts is not None]
    one_sided = any(phase.one_sided for phase in made.values()) or Side.RIGHT in sides or Side.LEFT in sides
    return Plan(definition, tuple(planned), one_sided)


def zone_of(zone: Zone, point: int) -> PlannedZone:
    """A zone with its places as columns."""
    return PlannedZone(point, tuple(PLACES.index(place) for place in zone.places), zone.side, zone.than)


def _part(name: str, phases: tuple[PlannedPhase, ...]) -> PlannedPart:
    by_need = {need: tuple(one for one in phases if one.phase.need is need) for need in Need}
    may = tuple(one for one in phases if one.phase.need in (Need.USUAL, Need.OPTIONAL))
    return PlannedPart(name, phases, by_need[Need.REQUIRED], may, by_need[Need.FORBIDDEN])


def _phase(phase: Phase, players: Mapping[str, int]) -> PlannedPhase:
    zones = [
        zone_of(zone, point)
        for zone, point in ((phase.here, HERE), (phase.starts, START), (phase.ends, END))
        if zone is not None
    ]
    linked = tuple(zone for zone in zones if zone.side in (Side.SAME, Side.OPPOSITE))
    actions = tuple(_action(action, phase.where, players) for action in phase.actions)
    sided = any(zone.side in (Side.RIGHT, Side.LEFT) for zone in zones)
    spoken = [phase.where, phase.ideally, *(action.where for action in phase.actions)]
    return PlannedPhase(
        phase=phase,
        name=phase.name,
        actions=actions,
        zones=tuple(zones),
        linked=linked,
        ideally=None if phase.ideally is None else predicate(phase.ideally),
        one_sided=sided or any(_asks_v(one) for one in spoken),
    )


def _action(action: Action, shared: Condition | None, players: Mapping[str, int]) -> PlannedAction:
    roles = tuple((role, players[player]) for role, player in action.roles if player != SOMEONE)
    tests = tuple(predicate(one) for one in (action.where, shared) if one is not None)
    return PlannedAction(action.kind, action.traits, roles, tests)


def _asks_v(condition: Condition | None) -> bool:
    return condition is not None and any(name in MIRRORED for name in names_in(condition))
