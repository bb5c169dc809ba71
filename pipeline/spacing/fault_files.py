"""Reading fault files.

A file holds one fault, one statement a line; indentation, blank lines and ``#`` comments are free, case does not
matter, and a condition may go on in lines that begin with ``and`` or ``or``. Errors show line, column and the nearest
name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from pipeline.conditions import Condition, Names, Spot, folded, read_condition
from pipeline.conditions.pointing import pointed, unknown_word
from pipeline.errors import LanguageError, SettingsError
from pipeline.spacing.rules import PLACEHOLDER, Addition, End, FaultRule, Severity, Worst
from pipeline.spacing.situations import LASTED, SITUATION, Lasting, Situation
from pipeline.user_files import read_text

ENDING = ".fault"
"""Of the names of fault files."""

ONCE_S = 3.0
"""Moments of one main actor nearer in time than this make one candidate, unless the file says otherwise."""

LONGEST_S = 3600.0

_TEXT = r'"([^"]*)"'
_NAME = r"([A-Za-z][\w-]*)"
_SECONDS = r"(\d+(?:\.\d+)?)\s*(?:s|seconds?)?"

_FORMS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "fault": (rf"{_NAME}\s+{_TEXT}", 'fault NAME "Title"'),
        "says": (_TEXT, 'says "What it is."'),
        "source": (_TEXT, 'source "Where its numbers are from"'),
        "from": (r"(.+)", "from SITUATION"),
        "where": (r"(.+)", "where CONDITION"),
        "for": (_SECONDS, "for 1.5 s"),
        "severity": (_NAME, "severity fault"),
        "note": (r"where\s+(.+)", "note where CONDITION"),
        "severe": (r"where\s+(.+)", "severe where CONDITION"),
        "tell": (_TEXT, 'tell "The sentence staff read."'),
        "add": (rf"{_TEXT}\s+where\s+(.+)", 'add "A further sentence." where CONDITION'),
        "once": (rf"in\s+{_SECONDS}", "once in 3 s"),
        "worst": (rf"is\s+the\s+{_NAME}\s+{_NAME}", "worst is the highest MEASURE"),
    }
)
"""Statements by their first word: the pattern of what follows, and how it is written."""

_REPEATED = frozenset({"add"})
_NEEDED = ("fault", "says", "source", "from", "where", "tell")


@dataclass(frozen=True, slots=True)
class _Statement:
    """One statement: its word, the groups of its pattern and where each begins."""

    word: str
    groups: tuple[str, ...]
    spots: tuple[Spot, ...]
    at: Spot


def read_fault(text: str, source: str) -> FaultRule:
    """Read one fault.

    Parameters
    ----------
    text : str
        The file's text.
    source : str
        Its name, for errors.

    Raises
    ------
    LanguageError
        With line, column, caret, and the nearest name or the form that was expected.
    """
    return _Reader(text, source).rule()


def read_named_fault(text: str, path: Path) -> FaultRule:
    """Read the text of a fault file, whose name must be the fault's.

    Raises
    ------
    LanguageError
        As :func:`read_fault`, and if the file's name is another.
    """
    rule = read_fault(text, str(path))
    if folded(path.stem) != rule.name:
        raise LanguageError(
            f"{path} holds the fault '{rule.name}'; name the file {rule.name}{ENDING}, or the fault '{path.stem}'.",
            1,
            1,
        )
    return rule


def fault_paths(folder: Path) -> tuple[Path, ...]:
    """The fault files of a folder, in order of their names; none where the folder does not exist."""
    return tuple(sorted(folder.glob(f"*{ENDING}")))


def fault_text(path: Path) -> str:
    """The text of a fault file; SettingsError if it cannot be read."""
    try:
        return read_text(path, SettingsError)
    except FileNotFoundError as error:
        raise SettingsError(f"There is no fault file {path}; check the path.") from error


class _Reader:
    def __init__(self, text: str, source: str) -> None:
        self._text = text
        self._source = source
        self._said: dict[str, list[_Statement]] = {}

    def rule(self) -> FaultRule:
        for statement in self._statements():
            known = self._said.setdefault(statement.word, [])
            if known and statement.word not in _REPEATED:
                raise self._error(
                    f"'{statement.word}' was said in line {known[0].at.line} already; take one away.", statement.at
                )
            known.append(statement)
        for word in _NEEDED:
            if word not in self._said:
                last = len(self._text.splitlines() or [""])
                raise self._error(f"the fault has no line '{_FORMS[word][1]}'; add it.", Spot(last, 10**6))
        about = self._situation()
        names = _names(about, with_lasted=True)
        rule_names = _names(about, with_lasted=False)
        for_s = self._seconds("for", 0.0)
        if (about.lasting is Lasting.SPELL) != ("for" in self._said):
            if about.lasting is Lasting.SPELL:
                raise self._error(
                    f"'{about.title}' is looked at all the time; add a line such as 'for 1.5 s'.",
                    self._said["from"][0].at,
                )
            raise self._error(
                f"'{about.title}' is a moment and lasts no time; take this line away.", self._said["for"][0].at
            )
        return FaultRule(
            name=folded(self._group("fault", 0)),
            title=self._group("fault", 1),
            says=self._group("says", 0),
            source=self._group("source", 0),
            situation=about.name,
            where=self._condition(self._said["where"][0], 0, rule_names),
            for_s=for_s,
            severity=self._severity(),
            note_where=self._optional("note", names),
            severe_where=self._optional("severe", names),
            tell=self._sentence(self._said["tell"][0], about),
            additions=tuple(
                Addition(self._sentence(s, about), self._condition(s, 1, names)) for s in self._said.get("add", [])
            ),
            once_s=self._seconds("once", ONCE_S),
            worst=self._worst(about),
        )

    def _statements(self) -> list[_Statement]:
        found: list[_Statement] = []
        lines = self._text.splitlines()
        number = 0
        while number < len(lines):
            first = number
            body = _without_comment(lines[number])
            number += 1
            if not body.strip():
                continue
            while number < len(lines) and re.match(r"\s*(and|or)\b", lines[number], re.IGNORECASE):
                body += "\n" + _without_comment(lines[number])
                number += 1
            found.append(self._statement(body.rstrip(), first + 1))
        return found

    def _statement(self, body: str, line: int) -> _Statement:
        indent = len(body) - len(body.lstrip())
        match = re.match(r"\S+", body.lstrip())
        assert match is not None
        word, at = match.group().lower(), Spot(line, indent + 1)
        if word not in _FORMS:
            raise self._error(unknown_word(match.group(), "statement of a fault file", _FORMS), at, len(word))
        pattern, form = _FORMS[word]
        begin = indent + len(word)
        fits = re.compile(rf"\s+{pattern}\s*\Z", re.IGNORECASE | re.DOTALL).match(body, begin)
        if fits is None:
            rest = len(body[begin:]) - len(body[begin:].lstrip())
            raise self._error(f"this is written as: {form}.", Spot(line, begin + rest + 1))
        spots = tuple(_spot(body, fits.start(k), line) for k in range(1, (fits.lastindex or 0) + 1))
        return _Statement(word, tuple(fits.groups()), spots, at)

    def _situation(self) -> Situation:
        statement = self._said["from"][0]
        name = folded(statement.groups[0])
        if name not in SITUATION:
            raise self._error(
                unknown_word(statement.groups[0], "situation", SITUATION), statement.spots[0], len(statement.groups[0])
            )
        return SITUATION[name]

    def _condition(self, statement: _Statement, group: int, names: Names) -> Condition:
        return read_condition(
            statement.groups[group], names, source=self._source, within=self._text, at=statement.spots[group]
        )

    def _optional(self, word: str, names: Names) -> Condition | None:
        return self._condition(self._said[word][0], 0, names) if word in self._said else None

    def _sentence(self, statement: _Statement, about: Situation) -> str:
        text, begin = statement.groups[0], statement.spots[0]
        known = [*about.roles, *(m.name for m in about.measures), *(t.name for t in about.traits)]
        for hole in PLACEHOLDER.finditer(text):
            if hole.group(1).strip() not in known:
                spot = Spot(begin.line, begin.column + hole.start(1))
                raise self._error(
                    unknown_word(hole.group(1), f"player, measure or word of '{about.title}'", known),
                    spot,
                    len(hole.group(1)),
                )
        return text

    def _severity(self) -> Severity:
        if "severity" not in self._said:
            return Severity.FAULT
        statement = self._said["severity"][0]
        word = statement.groups[0].lower()
        if word not in set(Severity):
            raise self._error(unknown_word(word, "severity", Severity), statement.spots[0], len(word))
        return Severity(word)

    def _worst(self, about: Situation) -> Worst | None:
        if "worst" not in self._said:
            return None
        statement = self._said["worst"][0]
        end, measure = statement.groups[0].lower(), folded(statement.groups[1])
        if end not in set(End):
            raise self._error(unknown_word(end, "end", End), statement.spots[0], len(end))
        known = [m.name for m in about.measures]
        if measure not in known:
            raise self._error(unknown_word(measure, "measure", known), statement.spots[1], len(measure))
        return Worst(End(end), measure)

    def _seconds(self, word: str, default: float) -> float:
        if word not in self._said:
            return default
        seconds = float(self._group(word, 0))
        if seconds > LONGEST_S:
            raise self._error(f"nothing lasts longer than {LONGEST_S:g} s.", self._said[word][0].spots[0])
        return seconds

    def _group(self, word: str, group: int) -> str:
        return self._said[word][0].groups[group]

    def _error(self, problem: str, at: Spot, width: int = 1) -> LanguageError:
        return pointed(problem, self._text, at, self._source, width)


def _names(about: Situation, *, with_lasted: bool) -> Names:
    numbers = {m.name for m in about.measures if with_lasted or m != LASTED or about.lasting is Lasting.MOMENT}
    return Names(frozenset(numbers), MappingProxyType({t.name: t.values for t in about.traits}))


def _without_comment(line: str) -> str:
    """A line up to a ``#`` that stands outside quotes."""
    for place, letter in enumerate(line):
        if letter == "#" and line[:place].count('"') % 2 == 0:
            return line[:place]
    return line


def _spot(body: str, place: int, line: int) -> Spot:
    before = body[:place]
    return Spot(line + before.count("\n"), place - (before.rfind("\n") + 1) + 1)
