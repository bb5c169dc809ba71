"""A set as a coach's drawings: who stands where, who moves, passes, dribbles, screens, frame after frame.

Places are in the attack frame, the right as the file has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.sets.definition import (
    Counter,
    Frame,
    Join,
    Move,
    Need,
    Phase,
    SetDefinition,
    Step,
    Zone,
)
from pipeline.sets.moving import Floor, Sign, Stroke, draw_phase, goes
from pipeline.sets.phrases import roles_by_word
from pipeline.sets.spots import Point


@dataclass(frozen=True, slots=True)
class Drawn:
    """One frame.

    Attributes
    ----------
    head : str
        What it belongs to, e.g. ``"Ending: post entry"``; empty for the main line.
    caption : str
    places : tuple of (number, Point)
        The players as the frame starts.
    holder : int or None
        The number of the one who has the ball then.
    strokes : tuple of Stroke
    """

    head: str
    caption: str
    places: tuple[tuple[int, Point], ...]
    holder: int | None
    strokes: tuple[Stroke, ...]


def frames_of(definition: SetDefinition) -> tuple[Drawn, ...]:
    """All frames: the main line, the endings, the counters."""
    artist = _Artist(definition)
    return tuple(artist.draw())


class _Artist:
    def __init__(self, definition: SetDefinition) -> None:
        self._set = definition
        self._numbers = {player.name: player.number for player in definition.players}

    def draw(self) -> list[Drawn]:
        definition = self._set
        floor = self._start()
        drawn, floors = self._block("", definition.main.steps, floor)
        at_end = floors[-1]
        for ending in definition.endings:
            more, _ = self._block(f"Ending: {_spaced(ending.name)}", ending.steps, at_end)
            drawn += more
        for counter in definition.counters:
            more, _ = self._block(self._counter_head(counter), counter.block.steps, self._before(counter))
            drawn += more
        return drawn

    def _counter_head(self, counter: Counter) -> str:
        names = ", ".join(_spaced(name) for name in counter.phases)
        return f"Counter: {_spaced(counter.block.name)} ({counter.join} {names})"

    def _before(self, counter: Counter) -> Floor:
        """The floor where a counter begins: the main line up to there."""
        kept: list[Step] = []
        for step in self._set.main.steps:
            if isinstance(step, Phase) and step.name in counter.phases:
                if counter.join is Join.AFTER:
                    kept.append(step)
                break
            kept.append(step)
        return self._block("", tuple(kept), self._start())[1][-1]

    # ---- start -------------------------------------------------------------------------------

    def _start(self) -> Floor:
        floor = Floor({}, None, {})
        handler = next((player.name for player in self._set.players if player.with_ball), None)
        if handler is None:
            handler = self._first_handler()
        order = sorted(self._set.players, key=lambda player: (player.starts is None, player.number))
        for player in order:
            zone = player.starts or Zone(("wing",) if player.name != handler else ("top",))
            floor.places[player.name] = floor.free(player.name, floor.spot(zone, None), fixed=zone.side is not None)
        floor.holder = handler
        return floor

    def _first_handler(self) -> str | None:
        roles = {"pass": "passer", "handoff": "giver", "on_ball_screen": "handler", "drive": "handler"}
        for phase in self._set.main.phases:
            action = phase.actions[0]
            role = roles.get(action.kind)
            if role is not None and action.player(role) is not None:
                return action.player(role)
        return None

    # ---- one block -----------------------------------------------------------------------------

    def _block(self, head: str, steps: Sequence[Step], floor: Floor) -> tuple[list[Drawn], list[Floor]]:
        """Frames of a block's steps, and the floor before each and after the last."""
        drawn: list[Drawn] = []
        floors = [floor.copy()]
        for caption, group in _groups(steps, one_frame=bool(head)):
            now = floors[-1].copy()
            before, holder = dict(now.places), now.holder
            ahead = steps[steps.index(group[-1]) + 1 :]
            for number, step in enumerate(group):
                if isinstance(step, Move):
                    goes(now, step.player, now.spot(step.to, now.places.get(step.player)), None, Sign.CUT)
                elif isinstance(step, Phase) and step.need is not Need.FORBIDDEN:
                    draw_phase(now, step, group[number + 1 :], ahead)
            places = tuple((self._numbers[name], place) for name, place in before.items())
            drawn.append(
                Drawn(
                    head,
                    caption or self._told(group),
                    places,
                    None if holder is None else self._numbers.get(holder),
                    tuple(now.strokes),
                )
            )
            floors.append(now)
        return drawn, floors

    def _told(self, group: Sequence[Step]) -> str:
        """The phases of a frame as a caption: ``"Pass from 1 to 5; drive by 1 (optional)."``."""
        parts = []
        for step in group:
            if not isinstance(step, Phase) or step.need is Need.FORBIDDEN:
                continue
            action = step.actions[0]
            words = {role: word for word, role in roles_by_word(action.kind).items()}
            who = "".join(f" {words[role]} {self._numbers.get(player, player)}" for role, player in action.roles)
            parts.append(f"{action.phrase}{who}" + (" (optional)" if step.need is Need.OPTIONAL else ""))
        text = "; ".join(parts)
        return text[:1].upper() + text[1:]


def _groups(steps: Sequence[Step], *, one_frame: bool) -> list[tuple[str, list[Step]]]:
    """Steps by frame; without any ``frame`` line all steps are one, or each phase that must be there begins one."""
    framed = any(isinstance(step, Frame) for step in steps)
    groups: list[tuple[str, list[Step]]] = []
    for step in steps:
        if isinstance(step, Frame):
            groups.append((step.caption, []))
        elif not groups or (not framed and not one_frame and isinstance(step, Phase) and step.need is Need.REQUIRED):
            groups.append(("", [step]))
        else:
            groups[-1][1].append(step)
    return [group for group in groups if group[1]]


def _spaced(name: str) -> str:
    return name.replace("_", " ")
