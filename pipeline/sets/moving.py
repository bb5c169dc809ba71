"""How each phase of a set is drawn: who goes where, by which line.

Positions follow from what the phases say of where they start and end. What the file leaves open is drawn as the trade
does it (a cross screen sends the cutter across the lane, a drive ends at the ring); common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

import numpy as np

from pipeline.conditions import All, Compared, folded
from pipeline.conditions.nodes import Word
from pipeline.sets.definition import SOMEONE, Action, Move, Need, Phase, Step, Zone
from pipeline.sets.spots import Point, Standing

_RIM: Point = (2.0, 2.5)


class Sign(Enum):
    """What a line means."""

    CUT = "solid line"
    PASS = "dashed line"
    DRIBBLE = "wavy line"
    SCREEN = "solid line with a bar at its end"
    HANDOFF = "two strokes across"
    SHOT = "double line"


@dataclass(frozen=True, slots=True)
class Stroke:
    """One line of a drawing: its sign, its way (u, v), whether it may be left out."""

    sign: Sign
    way: tuple[Point, ...]
    optional: bool = False
    faces: float = 0.0
    """For a bar: which way the screener looks, in radians from +u towards +v."""


@dataclass
class Floor(Standing):
    """Where everybody is while a frame is drawn, and the lines drawn so far.

    Attributes
    ----------
    strokes : list of Stroke
    bars : dict of str to list of Point
        Where screens were set: by the screener's name and by that of the one he screens for.
    """

    strokes: list[Stroke] = field(default_factory=list)
    bars: dict[str, list[Point]] = field(default_factory=dict)

    def copy(self) -> Floor:
        return Floor(dict(self.places), self.holder, dict(self.ends))


def draw_phase(floor: Floor, phase: Phase, later: Sequence[Step], ahead: Sequence[Step]) -> None:
    """Draw a phase; ``later`` are the steps after it in the frame, ``ahead`` those of the frames to come."""
    action = phase.actions[0]
    first, before = len(floor.strokes), dict(floor.places)
    match action.kind:
        case "pass":
            _pass(floor, phase, action)
        case "handoff":
            _handoff(floor, phase, action)
        case "on_ball_screen":
            _ball_screen(floor, phase, action, later)
        case "off_ball_screen":
            _screen(floor, phase, action, later, ahead)
        case "shot":
            _shot(floor, action)
        case "drive" | "corner_turned":
            _drive(floor, phase, action)
        case "post_up" | "stand" | "touch" | "isolation":
            _stays(floor, phase, action)
        case kind if kind.endswith("_cut"):
            _cut(floor, phase, action)
    if phase.need is Need.OPTIONAL:
        floor.strokes[first:] = [replace(stroke, optional=True) for stroke in floor.strokes[first:]]
        if action.kind == "drive":  # what comes after it must not need it
            floor.places = before
    who = action.player("receiver") or next((player for _, player in action.roles if player != SOMEONE), None)
    if who is not None:
        floor.ends[phase.name] = floor.places[who]


def _pass(floor: Floor, phase: Phase, action: Action) -> None:
    passer, receiver = action.player("passer") or floor.holder, action.player("receiver")
    if receiver is None:
        return
    zone = phase.ends or phase.here
    if zone is not None and not floor.at_zone(zone, floor.places[receiver]):
        goes(floor, receiver, floor.spot(zone, floor.places[receiver]), phase.by_way, Sign.CUT)
    if passer is not None:
        floor.strokes.append(Stroke(Sign.PASS, (floor.places[passer], floor.places[receiver])))
    floor.holder = receiver


def _handoff(floor: Floor, phase: Phase, action: Action) -> None:
    giver, receiver = action.player("giver") or floor.holder, action.player("receiver")
    if giver is None or receiver is None:
        return
    zone = phase.here or phase.ends
    if zone is not None and not floor.at_zone(zone, floor.places[giver]):
        goes(floor, giver, floor.spot(zone, floor.places[giver]), None, Sign.DRIBBLE)
    at, origin = np.array(floor.places[giver]), np.array(floor.places[receiver])
    towards = _unit(origin - at)
    meet = tuple(float(x) for x in at + 2.9 * towards)
    way = [floor.places[receiver]]
    if phase.by_way is not None:
        way.append(floor.spot(phase.by_way, way[0]))
    elif any(one.sign is Sign.PASS and one.way[0] == way[0] for one in floor.strokes):
        bow = np.array([way[0], meet]).mean(axis=0) + 3.0 * np.array([-towards[1], towards[0]])
        way.append((float(bow[0]), float(bow[1])))
    floor.strokes.append(Stroke(Sign.CUT, (*way, (meet[0], meet[1]))))
    floor.strokes.append(Stroke(Sign.HANDOFF, (floor.places[giver], (meet[0], meet[1]))))
    floor.places[receiver] = floor.clear(receiver, (meet[0], meet[1]))
    floor.holder = receiver


def _ball_screen(floor: Floor, phase: Phase, action: Action, later: Sequence[Step]) -> None:
    screener, handler = action.player("screener"), action.player("handler") or floor.holder
    if screener is None or handler is None:
        return
    zone = phase.here
    if zone is not None and not floor.at_zone(zone, floor.places[handler]):
        goes(floor, handler, floor.spot(zone, floor.places[handler]), None, Sign.DRIBBLE)
    at = np.array(floor.places[handler])
    inside = -1.0 if at[1] > 0 else 1.0 if at[1] < 0 else (1.0 if floor.places[screener][1] >= 0 else -1.0)
    beside = at + np.array([-1.6, 3.4 * inside])
    _screens(floor, screener, (float(beside[0]), float(beside[1])), at)
    floor.holder = handler
    if not any(_moves(step, handler) for step in later):
        rejected = _asked(phase, "sent") == "rejected"
        past = at + np.array([-9.0, -1.0 * inside]) if rejected else beside + np.array([-1.0, 5.5 * inside])
        goes(
            floor,
            handler,
            (float(past[0]), float(past[1])),
            None,
            Sign.DRIBBLE,
            over=() if rejected else ((float(beside[0]), float(beside[1])),),
        )


def _screen(floor: Floor, phase: Phase, action: Action, later: Sequence[Step], ahead: Sequence[Step]) -> None:
    screener, cutter = action.player("screener"), action.player("cutter")
    kind = dict(action.traits).get("type", "")
    if cutter is None:
        if screener is not None and phase.here is not None:
            spot = floor.spot(phase.here, floor.places[screener])
            _screens(floor, screener, spot, np.array(floor.places[screener]))
        return
    at = np.array(floor.places[cutter])
    target = np.array(_cutter_goes(floor, phase, cutter, kind, (*later, *ahead)))
    way = _unit(target - at) if np.hypot(*(target - at)) > 1 else np.array([1.0, 0.0])
    before = len(floor.bars.get(cutter, ()))
    beside = at + (4.0 + 6.5 * before) * way + 1.6 * np.array([-way[1], way[0]])
    if phase.here is not None and phase.here.places:
        beside = np.array(floor.spot(phase.here, (float(beside[0]), float(beside[1]))))
        beside = at + 4.0 * way if np.hypot(*(beside - at)) < 3.0 else beside
    if screener is not None:
        _screens(floor, screener, (float(beside[0]), float(beside[1])), at)
        floor.bars.setdefault(cutter, []).append(floor.places[screener])
    if not any(_moves(step, cutter) or _screens_for(step, cutter) for step in later):
        over = tuple(floor.bars.get(cutter, ()))
        goes(floor, cutter, (float(target[0]), float(target[1])), phase.by_way, Sign.CUT, over=over)


def _cutter_goes(floor: Floor, phase: Phase, cutter: str, kind: str, later: Sequence[Step]) -> Point:
    """Where a cutter comes off a screen: as the phases that follow say, or as such screens usually go."""
    if phase.ends is not None:
        return floor.spot(phase.ends, floor.places[cutter])
    for step in later:
        zone = _destination(step, cutter)
        if zone is not None:
            return floor.spot(zone, floor.places[cutter])
    u, v = floor.places[cutter]
    side = 1.0 if v >= 0 else -1.0
    match kind:
        case "cross":
            return (3.0, -9.5 * side)
        case "back":
            return (_RIM[0], _RIM[1] * side)
        case "flare":
            return (max(u - 6.0, 12.0), 21.0 * side)
        case "pin_in":
            return (u + 2.0, v - 9.0 * side)
        case "down":
            return (22.0, 12.0 * side)
    return (20.0, 15.0 * side) if u < 12 else (_RIM[0] + 4, _RIM[1] * side)


def _cut(floor: Floor, phase: Phase, action: Action) -> None:
    cutter = action.player("cutter")
    if cutter is None:
        return
    u, v = floor.places[cutter]
    side = 1.0 if v >= 0 else -1.0
    away = -1.0 if floor.places.get(floor.holder or "", (0.0, -side))[1] > 0 else 1.0
    if phase.ends is not None:
        to = floor.spot(phase.ends, (u, v))
    else:
        usual: dict[str, Point] = {
            "zipper_cut": (23.5, 9.0 * side),
            "loop_cut": (15.0, -20.0 * side),
            "back_cut": (_RIM[0], _RIM[1] * side),
            "deep_cut": (0.0, 20.0 * side),
            "flash_cut": (14.0, 4.0 * side),
            "basket_cut": (_RIM[0], _RIM[1] * side),
            "ucla_cut": (3.0, 9.5 * side),
            "iverson_cut": (16.0, -20.0 * side),
            "shallow_cut": (24.0, 10.0 * side),
        }
        to = usual.get(action.kind, (u, v))
        to = {"curl": (13.0, -2.0 * side), "fade": (18.0, 17.0 * away)}.get(_asked(phase, "end"), to)
    over = tuple(floor.bars.get(cutter, ()))
    screener = action.player("screener")
    if screener is not None and floor.places[screener] not in over:
        over = (*over, floor.places[screener])
    goes(floor, cutter, to, phase.by_way, Sign.CUT, over=over)


def _drive(floor: Floor, phase: Phase, action: Action) -> None:
    handler = action.player("handler")
    if handler is None or np.hypot(*floor.places[handler]) < 8.0:
        return
    u, v = floor.places[handler]
    side = 1.0 if v >= 0 else -1.0
    to = (15.5, v * 0.35) if action.kind == "corner_turned" else (5.5, 2.0 * side)
    if phase.ends is not None:
        to = floor.spot(phase.ends, (u, v))
    bars = [place for places in floor.bars.values() for place in places]
    over = tuple(place for place in bars if np.hypot(place[0] - u, place[1] - v) < 8)[-1:]
    goes(floor, handler, to, phase.by_way, Sign.DRIBBLE, over=over)
    floor.holder = handler


def _shot(floor: Floor, action: Action) -> None:
    shooter = action.player("shooter") or floor.holder
    if shooter is not None:
        at = np.array(floor.places[shooter])
        to = at - min(6.5, max(3.0, float(np.hypot(*at)) - 1.0)) * _unit(at)
        floor.strokes.append(Stroke(Sign.SHOT, (floor.places[shooter], (float(to[0]), float(to[1])))))


def _stays(floor: Floor, phase: Phase, action: Action) -> None:
    player = next((player for _, player in action.roles if player != SOMEONE), None)
    if player is not None and phase.here is not None and not floor.at_zone(phase.here, floor.places[player]):
        goes(floor, player, floor.spot(phase.here, floor.places[player]), phase.by_way, Sign.CUT)


def _screens(floor: Floor, screener: str, spot: Point, facing: np.ndarray) -> None:
    """The screener goes to his place and stands, a bar at the end of his way."""
    start = floor.places[screener]
    look = facing - np.array(spot)
    floor.places[screener] = spot
    floor.bars.setdefault(screener, []).append(spot)
    floor.strokes.append(Stroke(Sign.SCREEN, (start, spot), faces=float(np.arctan2(look[1], look[0]))))


def goes(
    floor: Floor,
    player: str,
    to: Point,
    by_way: Zone | None,
    sign: Sign,
    over: Sequence[Point] = (),
) -> None:
    """A player goes somewhere, by way of a place or round a screen."""
    start = floor.places[player]
    if np.hypot(to[0] - start[0], to[1] - start[1]) < 1.5:
        return
    to = floor.clear(player, to)
    way = [start]
    if by_way is not None:
        way.append(floor.spot(by_way, start))
    else:
        way += [_round(start, to, screen) for screen in over]
    way.append(to)
    if sign is Sign.CUT and floor.holder == player:
        sign = Sign.DRIBBLE
    floor.strokes.append(Stroke(sign, tuple(way)))
    floor.places[player] = to


def _asked(phase: Phase, trait: str) -> str:
    """The word that a phase's conditions ask of a trait, empty for none."""
    for condition in (phase.actions[0].where, phase.where):
        for one in condition.parts if isinstance(condition, All) else (condition,):
            if isinstance(one, Compared) and one.name == trait and isinstance(one.value, Word):
                return folded(one.value.text)
    return ""


def _moves(step: Step, player: str) -> bool:
    """Whether a later step of the same frame takes a player somewhere."""
    return (
        _destination(step, player) is not None
        or (
            isinstance(step, Phase)
            and step.need is not Need.FORBIDDEN
            and step.actions[0].kind in ("drive", "corner_turned")
            and step.actions[0].player("handler") == player
        )
        or (
            isinstance(step, Phase)
            and step.need is not Need.FORBIDDEN
            and step.actions[0].kind.endswith("_cut")
            and step.actions[0].player("cutter") == player
        )
    )


def _screens_for(step: Step, cutter: str) -> bool:
    """Whether a step is another screen for the same cutter."""
    return (
        isinstance(step, Phase)
        and step.need is not Need.FORBIDDEN
        and step.actions[0].kind == "off_ball_screen"
        and step.actions[0].player("cutter") == cutter
    )


def _destination(step: Step, player: str) -> Zone | None:
    """Where a step takes a player."""
    if isinstance(step, Move):
        return step.to if step.player == player else None
    if not isinstance(step, Phase) or step.need is Need.FORBIDDEN:
        return None
    action = step.actions[0]
    if action.player("receiver") == player or (action.player("cutter") == player and action.kind.endswith("_cut")):
        return step.ends
    if action.kind in ("stand", "post_up") and action.roles and action.roles[0][1] == player:
        return step.here
    return None


def _round(start: Point, to: Point, screen: Point) -> Point:
    """A point on the way from start to end that goes round a screen on its far side."""
    a, b, s = np.array(start), np.array(to), np.array(screen)
    along = _unit(b - a)
    normal = np.array([-along[1], along[0]])
    side = 1.0 if float(normal @ (s - a)) <= 0 else -1.0
    past = s + 2.4 * side * normal
    return (float(past[0]), float(past[1]))


def _unit(vector: np.ndarray) -> np.ndarray:
    length = float(np.hypot(*vector))
    return vector / length if length > 1e-6 else np.array([1.0, 0.0])
