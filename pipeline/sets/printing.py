"""A definition as the text of a set file that reads back as an equal one."""

from __future__ import annotations

import math
from collections.abc import Iterator

from pipeline.conditions import as_text, number_text
from pipeline.sets.definition import (
    Block,
    During,
    Emphasis,
    Frame,
    Measured,
    Moment,
    Move,
    Phase,
    Range,
    SetDefinition,
    Side,
    Timed,
    Window,
    Words,
    Zone,
)
from pipeline.sets.phrases import roles_by_word


def set_text(definition: SetDefinition) -> str:
    """The text of a set file."""
    return "\n".join(_lines(definition)) + "\n"


def _lines(definition: SetDefinition) -> Iterator[str]:
    yield f'set {definition.name} "{definition.title}"'
    if definition.says:
        yield f'  says "{definition.says}"'
    yield f'  source "{definition.source}"'
    if definition.longest_s is not None:
        yield f"  lasts up to {number_text(definition.longest_s)} s"
    if definition.must_end:
        yield "  must end"
    if definition.yields_to:
        yield f"  yields to {', '.join(definition.yields_to)}"
    yield ""
    yield "players"
    for player in definition.players:
        stands = f" {'usually ' if player.usually else ''}starts {_zone(player.starts)}" if player.starts else ""
        ball = (", with the ball" if stands else " with the ball") if player.with_ball else ""
        yield f"  {player.number} {player.name}{stands}{ball}"
    yield ""
    yield from _steps(definition.main)
    for ending in definition.endings:
        yield from ("", f"ending {ending.name}")
        yield from _steps(ending)
    for counter in definition.counters:
        rest = " and the rest" if counter.and_the_rest else ""
        yield from ("", f"counter {counter.block.name} {counter.join} {', '.join(counter.phases)}{rest}")
        yield from _steps(counter.block)
    for emphasis in definition.emphases:
        yield from ("", f'emphasis {emphasis.name} "{emphasis.title}"')
        yield from _emphasis(emphasis)


def _steps(block: Block) -> Iterator[str]:
    for step in block.steps:
        if isinstance(step, Frame):
            yield f'frame "{step.caption}"'
        elif isinstance(step, Move):
            yield f"also {step.player} goes to {_area(step.to)}"
        else:
            yield from _phase(step)


def _phase(phase: Phase) -> Iterator[str]:
    for count, action in enumerate(phase.actions):
        words = {role: word for word, role in roles_by_word(action.kind).items()}
        who = "".join(f" {words[role]} {player}" for role, player in action.roles)
        where = f" where {as_text(action.where)}" if action.where else ""
        lead = "  or" if count else f"{phase.need.value}phase {phase.name}:"
        yield f"{lead} {action.phrase}{who}{where}"
    if phase.where:
        yield f"  where {as_text(phase.where)}"
    if phase.ideally:
        yield f"  ideally {as_text(phase.ideally)}"
    for time in phase.times:
        yield f"  {_time(time)}"
    if phase.any_time:
        yield "  at any time"
    for lead, zone in (("starts", phase.starts), ("ends", phase.ends), ("happens", phase.here)):
        if zone is not None:
            yield f"  {lead} {_zone(zone)}"
    if phase.by_way is not None:
        yield f"  by way of {_area(phase.by_way)}"


def _time(time: Window | During) -> str:
    if isinstance(time, During):
        return f"during {time.phase}"
    anchor, low, high = _moment(time.anchor), time.low_s, time.high_s
    if math.isinf(high):
        return f"after {anchor}"
    if math.isinf(low):
        return f"before {anchor}"
    if low == 0:
        return f"within {number_text(high)} s after {anchor}"
    if high == 0:
        return f"within {number_text(-low)} s before {anchor}"
    if low == -high:
        return f"within {number_text(high)} s of {anchor}"
    if low > 0:
        return f"from {number_text(low)} to {number_text(high)} s after {anchor}"
    return f"from {number_text(-low)} s before to {number_text(high)} s after {anchor}"


def _moment(moment: Moment) -> str:
    return f"{moment.edge.value}{moment.phase}"


def _zone(zone: Zone) -> str:
    return f"at {_area(zone)}" if zone.places else _area(zone)


def _area(zone: Zone) -> str:
    places = " or ".join(place.replace("_", " ") for place in zone.places)
    side = zone.side.value if isinstance(zone.side, Side) else ""
    than = f" {zone.than}" if zone.than else ""
    return f"{places} {side}{than}".strip()


def _emphasis(emphasis: Emphasis) -> Iterator[str]:
    subject = emphasis.subject
    if isinstance(subject, Timed):
        yield f"  time from {_moment(subject.first)} to {_moment(subject.second)}"
    elif isinstance(subject, Measured):
        yield f"  measure {subject.measure} of {subject.phase}"
    else:
        yield f"  word {subject.trait} of {subject.phase}"
    for word, ranges in (("good", emphasis.good), ("poor", emphasis.poor)):
        for one in ranges:
            yield f"  {word} {_range(one)}"
    for word, said in (("good", emphasis.say_good), ("poor", emphasis.say_poor)):
        if said:
            yield f'  say {word} "{said}"'


def _range(one: Range | Words) -> str:
    if isinstance(one, Words):
        return "is " + " or ".join(f'"{word}"' for word in one.words)
    if math.isinf(one.low):
        return f"{'up to' if one.high_included else 'below'} {number_text(one.high)}"
    if math.isinf(one.high):
        return f"{'from' if one.low_included else 'above'} {number_text(one.low)}"
    return f"from {number_text(one.low)} to {number_text(one.high)}"
