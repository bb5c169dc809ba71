"""Checks of what people write into the store, before anything is written."""

from __future__ import annotations

import math
from collections.abc import Iterable

from pipeline.errors import LibraryError

LONGEST_NAME = 200
LONGEST_LABEL = 60
LONGEST_TEXT = 20_000


def person(who: str) -> str:
    """Who does something; LibraryError for nobody or a name that is too long."""
    return line(who, "A name", LONGEST_NAME)


def line(text: str, what: str, longest: int = LONGEST_NAME) -> str:
    """A single line of text, blanks tidied; LibraryError when it is empty, too long or not text."""
    tidy = " ".join(text_of(text, what).split())
    if not tidy:
        raise LibraryError(f"{what} is empty; write something.")
    if len(tidy) > longest:
        raise LibraryError(f"{what} has {len(tidy)} characters; {longest} are the most.")
    return tidy


def text_of(text: str, what: str) -> str:
    """Free text of several lines; LibraryError where a database could not keep it."""
    if "\x00" in text or any("\ud800" <= character <= "\udfff" for character in text):
        raise LibraryError(f"{what} holds characters that are no text; write it anew.")
    if len(text) > LONGEST_TEXT:
        raise LibraryError(f"{what} has {len(text)} characters; {LONGEST_TEXT} are the most.")
    return text.strip()


def labels_of(labels: Iterable[str]) -> tuple[str, ...]:
    """Labels, tidied, each once."""
    return tuple(dict.fromkeys(line(label, "A label", LONGEST_LABEL) for label in labels))


def interval(start_s: float, end_s: float) -> tuple[float, float]:
    """An interval of film time; LibraryError when it is none."""
    if not (math.isfinite(start_s) and math.isfinite(end_s) and 0 <= start_s <= end_s):
        raise LibraryError(
            f"A tag cannot reach from {start_s:g} s to {end_s:g} s; give times of the film, the start first."
        )
    return float(start_s), float(end_s)


def players(actors: Iterable[tuple[str, int]]) -> tuple[tuple[str, int], ...]:
    """Roles with tracks; LibraryError when there is nobody, or a role is empty."""
    told = tuple((line(role, "A role", LONGEST_LABEL), int(track)) for role, track in actors)
    if not told:
        raise LibraryError("A tag without players is none; name one at least.")
    return told
