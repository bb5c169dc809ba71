"""Fault rules: what a fault file says, as frozen values, and their text."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from pipeline.actions.events import Event
from pipeline.conditions import Condition, as_text, judge
from pipeline.spacing.situations import SITUATION, Lasting, Situation

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


class Severity(StrEnum):
    """How much a fault costs, as the staff see it."""

    NOTE = "note"
    FAULT = "fault"
    SEVERE = "severe"


class End(StrEnum):
    """Which of several moments tells a candidate: that with the highest or the lowest value of a measure."""

    HIGHEST = "highest"
    LOWEST = "lowest"


@dataclass(frozen=True, slots=True)
class Worst:
    """The moment of a group that is told."""

    end: End
    measure: str


@dataclass(frozen=True, slots=True)
class Addition:
    """A further sentence, said where its condition holds."""

    text: str
    where: Condition


@dataclass(frozen=True, slots=True)
class FaultRule:
    """One fault file.

    Attributes
    ----------
    name, title : str
        As in the ``kind`` column, and as a coach says it.
    says, source : str
        What it is, and where its numbers are from.
    situation : str
        What it looks at.
    where : Condition
        When that is a fault.
    for_s : float
        How long it must hold; 0 for moments.
    severity : Severity
        At the threshold.
    note_where, severe_where : Condition or None
        When it is only a note, and when it is severe; severe wins.
    tell : str
        The sentence staff read; names of roles, measures and traits in braces are filled in.
    additions : tuple of Addition
        Further sentences.
    once_s : float
        Moments of one main actor nearer in time than this make one candidate.
    worst : Worst or None
        Which of them is told; the first where None.
    """

    name: str
    title: str
    says: str
    source: str
    situation: str
    where: Condition
    for_s: float
    severity: Severity
    note_where: Condition | None
    severe_where: Condition | None
    tell: str
    additions: tuple[Addition, ...]
    once_s: float
    worst: Worst | None

    @property
    def about(self) -> Situation:
        """The situation, declared."""
        return SITUATION[self.situation]


FaultLibrary = tuple[FaultRule, ...]
"""The faults that are looked for, in order of their names."""


def values_of(event: Event) -> Mapping[str, float | str]:
    """Measures and traits of an event, as conditions read them."""
    return {**event.measures, **event.traits}


def severity_of(event: Event, rule: FaultRule) -> Severity:
    """How severe a fault is by its file; a step whose measure is not known is not taken."""
    values = values_of(event)
    if rule.severe_where is not None and judge(rule.severe_where, values):
        return Severity.SEVERE
    if rule.note_where is not None and judge(rule.note_where, values):
        return Severity.NOTE
    return rule.severity


def sentence_of(event: Event, rule: FaultRule, called: Callable[[int], str | None] = lambda _: None) -> str:
    """What a fault says, in its file's words.

    Parameters
    ----------
    event : Event
        The fault.
    rule : FaultRule
        Its file.
    called : callable
        From a track to the player's name or number; None where neither is known, he is then called by his role.
    """
    values = values_of(event)
    said = [rule.tell, *(a.text for a in rule.additions if judge(a.where, values))]
    return " ".join(_filled(text, event, called) for text in said)


def _filled(text: str, event: Event, called: Callable[[int], str | None]) -> str:
    def fill(match: re.Match[str]) -> str:
        name = match.group(1).strip()
        if name in event.measures:
            return amount(name, event.measures[name])
        if name in event.traits:
            return event.traits[name].replace("_", " ")
        return _players(name, event, called)

    said = PLACEHOLDER.sub(fill, text)
    return said[:1].upper() + said[1:]


def _players(role: str, event: Event, called: Callable[[int], str | None]) -> str:
    words = role.replace("_", " ")
    names = [called(track) for name, track in event.actors if name == role]
    known = [name for name in names if name]
    nameless = len(names) - len(known)
    if nameless or not names:
        known.append(f"the {words}" if nameless <= 1 else f"{nameless} of the {words}s")
    return known[0] if len(known) == 1 else f"{', '.join(known[:-1])} and {known[-1]}"


UNITS = (
    ("_ft_s", "feet a second"),
    ("_ft2", "square feet"),
    ("_ft", "feet"),
    ("_deg", "degrees"),
    ("_s", "seconds"),
)
"""Ends of measures' names, the longer first, and how they are read aloud."""


def amount(measure: str, value: float) -> str:
    """A measure's value with its unit, as it is read aloud; ``unknown`` where it is not known."""
    if value != value:
        return "unknown"
    unit = next((words for end, words in UNITS if measure.endswith(end)), "")
    return f"{number(value, fine=unit in ('feet', 'seconds', 'feet a second'))} {unit}".strip()


def number(value: float, *, fine: bool = True) -> str:
    """A number as it is read aloud: whole from ten on, one decimal below where ``fine``."""
    rounded = round(value, 1) if fine and abs(value) < 9.95 else round(value)
    return f"{rounded:g}"


def as_file(rule: FaultRule) -> str:
    """A rule as a file that reads back as an equal one."""
    lines = [f'fault {rule.name} "{rule.title}"', f'  says "{rule.says}"', f'  source "{rule.source}"']
    lines += [f"  from {rule.situation.replace('_', ' ')}", f"  where {as_text(rule.where)}"]
    if rule.about.lasting is Lasting.SPELL:
        lines.append(f"  for {rule.for_s:g} s")
    lines.append(f"  severity {rule.severity}")
    if rule.note_where is not None:
        lines.append(f"  note where {as_text(rule.note_where)}")
    if rule.severe_where is not None:
        lines.append(f"  severe where {as_text(rule.severe_where)}")
    lines.append(f'  tell "{rule.tell}"')
    lines += [f'  add "{a.text}" where {as_text(a.where)}' for a in rule.additions]
    lines.append(f"  once in {rule.once_s:g} s")
    if rule.worst is not None:
        lines.append(f"  worst is the {rule.worst.end} {rule.worst.measure}")
    return "\n".join(lines) + "\n"
