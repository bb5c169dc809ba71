"""Numbers of reports in words."""

from __future__ import annotations

import math

from pipeline.reports.intervals import Estimate
from pipeline.reports.runs import Run
from pipeline.reports.sides import Counted
from pipeline.reports.standing import Standing
from pipeline.sets.emphasis import Grade

ENDINGS = {"ft": " ft", "s": " s", "deg": "°", "ft_s": " ft/s", "ft2": " sq ft"}
UNKNOWN = "not known"


def spaced(name: str) -> str:
    """A name of a file as it is said."""
    return name.replace("_", " ")


def percent(estimate: Estimate) -> str:
    """A share with its interval: ``63 % (44 to 78)``."""
    if not estimate.known:
        return UNKNOWN
    return f"{100 * estimate.value:.0f} % ({100 * estimate.low:.0f} to {100 * estimate.high:.0f})"


def amount(estimate: Estimate, unit: str, digits: int = 1) -> str:
    """A number with its unit and interval: ``26.4 ft (23.0 to 29.7)``."""
    if not estimate.known:
        return UNKNOWN
    text = f"{estimate.value:.{digits}f}{ENDINGS.get(unit, '')}"
    if not (math.isfinite(estimate.low) and math.isfinite(estimate.high)):
        return text
    return f"{text} ({estimate.low:.{digits}f} to {estimate.high:.{digits}f})"


def signed(estimate: Estimate, unit: str) -> str:
    """A difference with its interval: ``+2.1 ft (-0.4 to +4.4)``."""
    if not estimate.known:
        return UNKNOWN
    ending = ENDINGS.get(unit, "")
    text = f"{_with_sign(estimate.value, 1)}{ending}"
    if not math.isfinite(estimate.low):
        return text
    return f"{text} ({_with_sign(estimate.low, 1)} to {_with_sign(estimate.high, 1)})"


def signed_share(estimate: Estimate) -> str:
    """A difference of shares in points of a hundred: ``+21 (-5 to +44)``."""
    if not estimate.known:
        return UNKNOWN
    value, low, high = (_with_sign(100 * one, 0) for one in (estimate.value, estimate.low, estimate.high))
    return f"{value} ({low} to {high})"


def _with_sign(value: float, digits: int) -> str:
    """A number with its sign; zero has none."""
    rounded = round(value, digits)
    return f"{0.0:.{digits}f}" if rounded == 0 else f"{rounded:+.{digits}f}"


def counts(number: int, single: str, several: str = "") -> str:
    """A count with its noun."""
    return f"{number} {single if number == 1 else several or f'{single}s'}"


def day_and_opponent(game: str, date: str, opponent: str) -> str:
    """A game as staff call it."""
    if opponent:
        return f"{f'{date}, ' if date else ''}v {opponent}"
    return f"{f'{date}, ' if date else ''}{game}"


def grades_in_words(run: Run) -> str:
    """How a run's points came out."""
    told = [f"{run.count(grade)} {grade.value}" for grade in (Grade.GOOD, Grade.FAIR, Grade.POOR) if run.count(grade)]
    unknown = run.count(Grade.UNKNOWN)
    return ", ".join([*told, *([f"{unknown} not known"] if unknown else [])])


def counted_in_words(counted: Counted, undecided: int, standing: Standing | None, of_what: str) -> str:
    """Which tags a page rests on, and how much undecided ones are worth."""
    if counted is Counted.CONFIRMED:
        left = f" {counts(undecided, 'candidate')} that nobody has decided yet are left out." if undecided else ""
        return f"Counts only {of_what} that staff have confirmed.{left}"
    if not undecided:
        return f"Counts {of_what} that staff have confirmed; none is left undecided."
    text = f"Counts confirmed and undecided {of_what}: {undecided} of them nobody has confirmed."
    if standing is None:
        return f"{text} How many of those are right is not known: staff have decided none of this kind yet."
    of = standing.precision
    return f"{text} Of {of.count} that staff have decided so far {percent(of)} were right."
