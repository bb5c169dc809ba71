"""The ways a set can go: its main line, or a counter's, each with one of the endings or none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from pipeline.sets.definition import Block, Counter, Join, Phase, SetDefinition


@dataclass(frozen=True, slots=True)
class Line:
    """What must happen before an ending.

    Attributes
    ----------
    counter : str or None
        The counter that it goes through.
    phases : tuple of Phase
        In order.
    stands_for : mapping of str to str
        For a phase that the counter took the place of, the counter's phase that others are timed by instead.
    endings : tuple of Block
        What may come after it.
    """

    counter: str | None
    phases: tuple[Phase, ...]
    stands_for: Mapping[str, str]
    endings: tuple[Block, ...]


def lines(definition: SetDefinition) -> tuple[Line, ...]:
    """The main line first, then one line for each counter."""
    main = Line(None, definition.main.phases, MappingProxyType({}), definition.endings)
    return (main, *(_countered(definition, counter) for counter in definition.counters))


def _countered(definition: SetDefinition, counter: Counter) -> Line:
    main, inside = definition.main.phases, counter.block.phases
    places = [index for index, phase in enumerate(main) if phase.name in counter.phases]
    stands_for: dict[str, str] = {}
    if counter.join is Join.AFTER:
        before, after = main[: places[0] + 1], main[places[0] + 1 :]
    else:
        before = tuple(phase for phase in main[: places[0]] if phase.name not in counter.phases)
        after = tuple(phase for phase in main[places[0] :] if phase.name not in counter.phases)
        if counter.and_the_rest:
            kept = {phase.name for phase in main[: places[-1]]}
            before, after = (*before, *(phase for phase in after if phase.name in kept)), ()
        stands_for = dict.fromkeys(counter.phases, inside[-1].name)
    if counter.and_the_rest:
        return Line(counter.block.name, (*before, *inside), MappingProxyType(stands_for), ())
    return Line(counter.block.name, (*before, *inside, *after), MappingProxyType(stands_for), definition.endings)
