"""What the words of a score graphic mean: times, counts and periods.

Common practice of scoreboards and broadcasts, no source: minutes and seconds with a colon, tenths after a full stop in
the last minute; quarters as ``1ST``, ``Q1``, ``1Q``, ``P1``, halves as ``H1`` or ``1H``, overtimes as ``OT``, ``OT1``,
``1OT``. A reader takes S for 5, O for 0 and I for 1 where letters and figures are mixed, and may miss a colon; that is
borne here.
"""

from __future__ import annotations

import re

LONGEST_MINUTES = 20
"""No period is longer: halves of college games."""

_MINUTES = re.compile(r"^(\d{1,2}(?=[:.])|\d{2})[:.]?(\d{2})(?:[:.](\d))?$")
_SECONDS = re.compile(r"^[:.]?(\d{1,2})\.(\d)$")
_BARE_SECONDS = re.compile(r"^:(\d{2})$")
_COUNT = re.compile(r"^:?(\d{1,2})(?:\.(\d))?$")
_ORDINAL = re.compile(r"^([1-9IL])(ST|5T|ND|NO|N0|HD|RD|RO|R0|TH|IH)(QTR|QUARTER|HALF|PERIOD|PER|Q)?\.?$")
_BEFORE = re.compile(r"^([1-4])(Q|QTR|P|PER|QUARTER)$")
_AFTER = re.compile(r"^(?:Q|QTR|P|PER|PERIOD|QUARTER)\.?([1-4IL])$")
_HALF = re.compile(r"^(?:H([12])|([12])H|([12])HALF|HALF([12]))$")
_OVERTIME = re.compile(r"^(?:OT|0T)([1-9])?$|^([1-9])(?:OT|0T)$")

_LOOSE = re.compile(r"^([1-4])[A-Z0]{0,4}$")

OVERTIME = 5
"""Number of the first overtime, after four quarters. Where halves are played it is known from the text alone."""


def clock_of(text: str) -> float | None:
    """Seconds that a game clock shows; None if the text is no time."""
    text = text.replace(" ", "")
    found = _MINUTES.match(text)
    if found:
        minutes, seconds, tenth = int(found[1]), int(found[2]), int(found[3] or 0)
        whole = minutes * 60 + seconds + tenth / 10
        return whole if seconds < 60 and whole <= LONGEST_MINUTES * 60 else None
    found = _SECONDS.match(text)
    if found:
        value = int(found[1]) + int(found[2]) / 10
        return value if value < 60 else None
    found = _BARE_SECONDS.match(text)
    return float(found[1]) if found and int(found[1]) < 60 else None


def count_of(text: str) -> float | None:
    """Seconds that a shot clock shows; None if the text is no such count."""
    found = _COUNT.match(text.replace(" ", ""))
    if not found:
        return None
    value = int(found[1]) + int(found[2] or 0) / 10
    return value if value <= 35 else None


def spelt_period_of(text: str) -> int | None:
    """Number of the period that a text names in words or letters; None if it names none."""
    text = text.replace(" ", "").upper()
    for form in (_ORDINAL, _BEFORE, _AFTER):
        found = form.match(text)
        if found:
            return int(found[1]) if found[1].isdigit() else 1
    found = _HALF.match(text)
    if found:
        return int(next(g for g in found.groups() if g))
    found = _OVERTIME.match(text)
    if found:
        return OVERTIME - 1 + int(found[1] or found[2] or 1)
    return None


def period_of(text: str) -> int | None:
    """As :func:`spelt_period_of`, and a bare figure 1 to 4 counts too."""
    bare = text.strip()
    return int(bare) if bare in ("1", "2", "3", "4") else spelt_period_of(text)


def loose_period_of(text: str) -> int | None:
    """As :func:`period_of`, and a figure 1 to 4 with letters (or a nought taken for one) after it counts too.

    The small raised letters of ordinals are often too small to be read.
    """
    found = _LOOSE.match(text.replace(" ", "").upper())
    return period_of(text) or (int(found[1]) if found else None)
