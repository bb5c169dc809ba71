"""Errors that point: where in a text something is wrong, what was expected there, and what may have been meant."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping

from lark import Lark, Token
from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken
from lark.lexer import PatternStr

from pipeline.conditions.nodes import Spot, folded
from pipeline.errors import LanguageError
from pipeline.user_files import one_line

LONGEST_WORD = 60
_LONG_QUOTE = re.compile(rf"'([^']{{{LONGEST_WORD}}})[^']+'")
LISTED_AT_MOST = 8
"""An error lists no more than this many things that it expected."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like another, compared as :func:`folded`; None where none is like it."""
    by_fold = {folded(name): name for name in known}
    close = difflib.get_close_matches(folded(word), list(by_fold), n=1, cutoff=0.6)
    return by_fold[close[0]] if close else None


def said(word: str) -> str:
    """A word of a text as it may stand in an error: not too long, signs that nobody sees by their number."""
    seen = "".join(sign if sign.isprintable() else f"U+{ord(sign):04X}" for sign in word[:LONGEST_WORD])
    return seen if len(word) <= LONGEST_WORD else f"{seen}…"


def unknown_word(word: str, what: str, known: Iterable[str]) -> str:
    """What is wrong with a name that does not exist, with the nearest one or all there are."""
    names = list(dict.fromkeys(known))
    close = nearest(word, names)
    word = said(word)
    if close is not None:
        return f"'{word}' is no {what}; did you mean '{close}'?"
    if not names:
        return f"'{word}' is no {what}; there are none here."
    rest = len(names) - LISTED_AT_MOST
    listed = ", ".join(names[:LISTED_AT_MOST]) + (f" and {rest} more" if rest > 0 else "")
    return f"'{word}' is no {what}; there are: {listed}."


def pointed(problem: str, text: str, spot: Spot, source: str, width: int = 1) -> LanguageError:
    """An error that shows its line with a caret.

    Parameters
    ----------
    problem : str
        One sentence.
    text : str
        The whole text.
    spot : Spot
        Where in the text; a place beyond its end is moved to the end.
    source : str
        File or other origin, for the sentence.
    width : int
        How many characters the carets underline.
    """
    lines = text.split("\n")
    line = min(max(spot.line, 1), len(lines))
    shown = "".join(sign if sign.isprintable() else " " for sign in lines[line - 1])
    column = min(max(spot.column, 1), len(shown) + 1) if line == spot.line else len(shown) + 1
    start = max(0, column - 100)
    caret = " " * (column - 1 - start) + "^" * max(1, min(width, len(shown) - column + 1))
    where = f"{source}, line {line}, column {column}"
    problem = _LONG_QUOTE.sub(r"'\1…'", one_line(problem))
    return LanguageError(f"{where}: {problem}\n    {shown[start : start + 160]}\n    {caret}", line, column)


def unexpected(
    error: UnexpectedInput, parser: Lark, text: str, source: str, called: Mapping[str, str], shift: Spot = Spot(1, 1)
) -> LanguageError:
    """A parser's complaint in our words.

    Parameters
    ----------
    error : UnexpectedInput
        What the parser raised.
    parser : Lark
        The parser, for the words behind its terminals.
    text, source : str
        The whole text and where it is from.
    called : mapping of str to str
        What to call terminals that are patterns, e.g. ``{"NUMBER": "a number"}``; a terminal that maps to ``""`` is
        not listed.
    shift : Spot
        Where in ``text`` the parsed part begins.
    """
    expected = set(error.allowed if isinstance(error, UnexpectedCharacters) else getattr(error, "expected", ()))
    literal, spoken = [], []
    for terminal in parser.terminals:
        if terminal.name not in expected:
            continue
        if terminal.name in called:
            spoken.append(called[terminal.name])
        elif isinstance(terminal.pattern, PatternStr):
            literal.append(terminal.pattern.value)
    if "$END" in expected:
        spoken.append("the end")
    listed = [word for word in dict.fromkeys(spoken) if word] + [f"'{word}'" for word in sorted(set(literal))]
    line, column = error.line or -1, error.column or -1
    found, width = "", 1
    if isinstance(error, UnexpectedToken):
        token: Token = error.token
        found = "" if token.type == "$END" else str(token)
        if token.type == "$END":
            line, column = -1, -1
    elif isinstance(error, UnexpectedCharacters):
        found = _word_at(text, _shifted(line, column, shift))
    width = max(1, len(found.strip()))
    if line < 0:
        lines = text.split("\n")
        spot = Spot(len(lines), len(lines[-1]) + 1)
    else:
        spot = _shifted(line, column, shift)
    close = nearest(found, literal) if found.strip() else None
    wrong = f"'{said(found.strip())}' does not belong here" if found.strip() else "something is missing"
    problem = f"{wrong}; expected {_listed(listed)}"
    problem += f"; did you mean '{close}'?" if close and folded(close) != folded(found) else "."
    return pointed(problem, text, spot, source, width)


def _listed(words: list[str]) -> str:
    if not words:
        return "nothing more"
    shown = words[:LISTED_AT_MOST]
    if len(words) > len(shown):
        return f"{', '.join(shown)} or others"
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} or {shown[-1]}"


def _shifted(line: int, column: int, shift: Spot) -> Spot:
    return Spot(line + shift.line - 1, column + (shift.column - 1 if line == 1 else 0))


def _word_at(text: str, spot: Spot) -> str:
    lines = text.split("\n")
    if spot.line > len(lines):
        return ""
    rest = lines[spot.line - 1][spot.column - 1 :]
    return rest.split()[0] if rest.split() else ""
