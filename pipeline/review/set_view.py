"""A set of the library as its page shows it: drawings, the file as sentences that can be read aloud, what was found."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from pipeline.actions.vocabulary import KIND
from pipeline.court.rule_books import NBA, RuleBook
from pipeline.errors import LibraryError
from pipeline.sets.definition import Emphasis, Measured, Phase, Range, SetDefinition, Timed, Worded, Words
from pipeline.sets.emphasis import measure_name, spoken, unit
from pipeline.sets.frames import Drawn, frames_of
from pipeline.sets.ink import Page, as_svg
from pipeline.sets.printing import set_text
from pipeline.sets.sheet import DEPTH_FT, PX_PER_FT, frame_marks
from pipeline.tags import State

MAIN = "How it runs"

_SIGNS = ((">=", "at least"), ("<=", "at most"), ("!=", "is not"), (">", "more than"), ("<", "less than"), ("=", "is"))

_NEEDS = {"optional ": " (may be left out)", "usual ": " (usually)", "forbidden ": " (must not happen)"}


@dataclass(frozen=True, slots=True)
class Figure:
    """One drawing: its number from 1 in the order of the sheet, and its caption."""

    number: int
    caption: str


@dataclass(frozen=True, slots=True)
class Section:
    """The main line, an ending or a counter: drawings, and its steps as sentences."""

    head: str
    figures: tuple[Figure, ...]
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EmphasisLine:
    """A point of emphasis for the page; ``measure`` is its name in a search."""

    title: str
    looks_at: str
    good: str
    poor: str
    say_good: str
    say_poor: str
    measure: str


@dataclass(frozen=True, slots=True)
class Found:
    """How often a set was found: wholly and in part, and what staff said of it."""

    complete: int = 0
    partial: int = 0
    confirmed: int = 0
    rejected: int = 0


@dataclass(frozen=True, slots=True)
class SetPage:
    """Everything on a set's page."""

    name: str
    title: str
    says: str
    source: str
    players: tuple[str, ...]
    sections: tuple[Section, ...]
    emphases: tuple[EmphasisLine, ...]

    @property
    def aloud(self) -> str:
        """The whole set as one text to be read aloud."""
        parts = [f"{self.title}.", self.says, "Players."]
        parts += self.players
        for section in self.sections:
            parts += [f"{section.head}.", *section.sentences]
        if self.emphases:
            parts.append("Points of emphasis.")
            parts += [f"{line.title}. Good: {line.good}. Poor: {line.poor}." for line in self.emphases]
        return " ".join(part for part in parts if part)


def set_named(name: str, definitions: Sequence[SetDefinition]) -> SetDefinition:
    """A set of the library; LibraryError with the names there are when there is none."""
    found = next((one for one in definitions if one.name == name), None)
    if found is None:
        known = ", ".join(one.name for one in definitions) or "none"
        raise LibraryError(f"There is no set '{name}' in the set library; its sets: {known}.")
    return found


def set_page(definition: SetDefinition) -> SetPage:
    """What the page of a set shows, apart from how often it was found."""
    drawn: dict[str, list[Figure]] = {}
    for number, frame in enumerate(_frames(definition), start=1):
        drawn.setdefault(_short(frame.head) or MAIN, []).append(Figure(number, frame.caption))
    players, blocks = _sentences(definition)
    sections = [Section(head, tuple(drawn.get(_short(head), ())), sentences) for head, sentences in blocks]
    return SetPage(
        definition.name,
        definition.title,
        definition.says,
        definition.source,
        players,
        tuple(sections),
        tuple(_emphasis(one, definition) for one in definition.emphases),
    )


def figure_svg(definition: SetDefinition, number: int, book: RuleBook = NBA) -> str:
    """One drawing of a set as SVG; LibraryError when it has none of that number."""
    frames = _frames(definition)
    if not 1 <= number <= len(frames):
        raise LibraryError(f"'{definition.title}' has drawings 1 to {len(frames)}, none of number {number}.")
    wide, tall = round(book.width_ft * PX_PER_FT), round(DEPTH_FT * PX_PER_FT)
    return as_svg(Page(wide, tall, tuple(frame_marks(frames[number - 1], (0.0, 0.0), book))))


@lru_cache(maxsize=64)
def _frames(definition: SetDefinition) -> tuple[Drawn, ...]:
    return frames_of(definition)


def found_sets(
    counted: Sequence[Sequence[tuple[str, bool, int]]], said: Mapping[tuple[str, State], int]
) -> Mapping[str, Found]:
    """How often each set was found.

    Parameters
    ----------
    counted : sequence of sequence of (kind, whole, count)
        Of each game.
    said : mapping of (kind, state) to int
        How many tags there are.
    """
    matches: Counter[tuple[str, bool]] = Counter()
    for game in counted:
        for kind, whole, count in game:
            matches[kind, whole] += count
    kinds = {*(kind for kind, _ in matches), *(kind for kind, _ in said)}
    return {
        kind: Found(
            matches[kind, True],
            matches[kind, False],
            said.get((kind, State.CONFIRMED), 0),
            said.get((kind, State.REJECTED), 0),
        )
        for kind in kinds
    }


# ---- sentences -----------------------------------------------------------------------------------


def _sentences(definition: SetDefinition) -> tuple[tuple[str, ...], list[tuple[str, tuple[str, ...]]]]:
    """Players, and the steps of each block under its head, from the file's text."""
    players: list[str] = []
    blocks: list[tuple[str, list[str]]] = []
    phases = definition.phases()
    words: Mapping[str, str] = {}
    part = ""
    for line in set_text(definition).splitlines():
        if not line.strip():
            continue
        first, _, rest = line.strip().partition(" ")
        own = not line.startswith(" ")
        if own and first in ("set", "players", "ending", "counter", "emphasis"):
            part = first
            if first == "ending":
                blocks.append((f"Ending: {_spaced(rest)}", []))
            elif first == "counter":
                name, _, joins = rest.partition(" ")
                blocks.append((f"Counter: {_spaced(name)} ({_spaced(joins)})", []))
        elif part == "players" and not own:
            players.append(f"{first}, {rest}.")
        elif part == "emphasis" or (part == "set" and not own):
            continue
        else:
            if part in ("set", "players"):
                part = "main"
                blocks.append((MAIN, []))
            if own and "phase " in line.partition(":")[0]:
                words = _measure_words(next(phases))
            _step(line, blocks[-1][1], words)
    return tuple(players), [(head, tuple(_sentence(one) for one in lines)) for head, lines in blocks]


def _step(line: str, lines: list[str], words: Mapping[str, str]) -> None:
    text = line.strip()
    if line.startswith(" "):
        lead = " " if text.startswith("or ") else ", "
        lines[-1] += lead + _condition(text, words)
        return
    if text.startswith("frame "):
        return
    if text.startswith("also "):
        lines.append(f"Meanwhile {_spaced(text.removeprefix('also '))}")
        return
    need, _, rest = text.partition("phase ")
    name, _, what = rest.partition(": ")
    lines.append(f"{_spaced(name)}{_NEEDS.get(need, '')}: {_condition(what, words)}")


def _condition(text: str, words: Mapping[str, str]) -> str:
    """Measures and signs of a condition in words."""
    for lead in ("where ", "ideally "):
        place = text.find(lead)
        if place >= 0:
            head, tail = text[: place + len(lead)], text[place + len(lead) :]
            tail = re.sub(r" known\b", " is known", tail)
            tail = re.sub(r" in \(([^)]*)\)", lambda listed: f" is {listed[1].replace(', ', ' or ')}", tail)
            for sign, said in _SIGNS:
                tail = tail.replace(f" {sign} ", f" {said} ")
            tail = re.sub(r"'([^']*)'", lambda quoted: _spaced(quoted[1]), tail)
            tail = re.sub(r"[a-z][a-z0-9_]*", lambda name: words.get(name[0], _spaced(name[0])), tail)
            return head + tail
    return _spaced(text)


def _measure_words(phase: Phase) -> dict[str, str]:
    found: dict[str, str] = {}
    for kind in (KIND[action.kind] for action in phase.actions):
        found |= {one.name: one.meaning for one in kind.measures} | {one.name: one.meaning for one in kind.traits}
    return found


def _emphasis(emphasis: Emphasis, definition: SetDefinition) -> EmphasisLine:
    ending = unit(emphasis)
    return EmphasisLine(
        emphasis.title,
        _looks_at(emphasis, definition),
        " or ".join(_range(one, ending) for one in emphasis.good) or "not said",
        " or ".join(_range(one, ending) for one in emphasis.poor) or "not said",
        _placeholder(emphasis.say_good),
        _placeholder(emphasis.say_poor),
        measure_name(emphasis),
    )


def _looks_at(emphasis: Emphasis, definition: SetDefinition) -> str:
    subject = emphasis.subject
    if isinstance(subject, Timed):
        first, second = (f"{one.edge.value}{_spaced(one.phase)}" for one in (subject.first, subject.second))
        return f"time from {first} to {second}"
    name = subject.measure if isinstance(subject, Measured) else subject.trait
    assert isinstance(subject, Measured | Worded)
    phase = next((one for one in definition.phases() if one.name == subject.phase), None)
    meaning = (_measure_words(phase) if phase else {}).get(name, _spaced(name))
    return f"{meaning} ({_spaced(subject.phase)})"


def _range(one: Range | Words, ending: str) -> str:
    if isinstance(one, Words):
        return " or ".join(_spaced(word) for word in one.words)
    if one.low == float("-inf"):
        return f"{'up to' if one.high_included else 'below'} {spoken(one.high, ending)}"
    if one.high == float("inf"):
        return f"{'from' if one.low_included else 'above'} {spoken(one.low, ending)}"
    return f"{spoken(one.low, ending)} to {spoken(one.high, ending)}"


def _placeholder(text: str) -> str:
    return re.sub(r"\{(\w+)\}", lambda name: "…" if name[1] == "value" else f"the {_spaced(name[1])}", text)


def _short(head: str) -> str:
    """A head without what it takes the place of; drawings and text say that differently."""
    return head.split(" (")[0]


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _spaced(text: str) -> str:
    return text.replace("_", " ")
