"""Two sides of a library on one kind: a set by its points of emphasis, a fault or an action by its measures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from pipeline.actions.vocabulary import EVERY_MEASURE
from pipeline.errors import SearchError
from pipeline.find import Column, Filters, Found, bar_text, search
from pipeline.find.names import SearchKind, Sort, known_kinds
from pipeline.library.games import Library
from pipeline.reports.charts import (
    ONE,
    OTHER,
    PAPER,
    chart_of,
    interval_bar,
    label,
    limits,
    names_beside,
    new_figure,
    stacked,
)
from pipeline.reports.differences import Difference, Verdict, judged, median_difference, shuffled_p
from pipeline.reports.document import Chart
from pipeline.reports.intervals import (
    UNKNOWN,
    Estimate,
    drawn_again,
    draws,
    known_of,
    mean,
    means,
    median,
    percentiles,
    rate,
)
from pipeline.reports.points import own_rng
from pipeline.reports.settings import ReportSettings
from pipeline.reports.sides import Counted, Side
from pipeline.reports.trend import trend
from pipeline.settings import Settings
from pipeline.tags import Family

UNITS = {"ft": " ft", "s": " s", "deg": "°", "ft_s": " ft/s", "": ""}
"""Units as they stand behind a number."""

FEW_VALUES = 64
"""Counts have few different values."""

EVERYWHERE = frozenset(measure.name for measure in EVERY_MEASURE)


@dataclass(frozen=True, slots=True)
class SideAsked:
    """What the form asks of one side; empty for everything."""

    team: str = ""
    game: str = ""
    period: str = ""
    more: str = ""

    def text(self) -> str:
        """The same as a line of the query bar."""
        filters = Filters(
            teams=(self.team,) if self.team else (),
            games=(self.game,) if self.game else (),
            periods=(int(self.period),) if self.period.isdigit() else (),
        )
        return f"{bar_text(filters)} {self.more}".strip()


@dataclass(frozen=True, slots=True)
class HowOften:
    """How often a kind happened on two sides.

    Attributes
    ----------
    counts, possessions : (int, int)
    rates : (Estimate, Estimate)
        Per 100 possessions.
    verdict : Verdict
    told : str
        The verdict in a sentence.
    """

    counts: tuple[int, int]
    possessions: tuple[int, int]
    rates: tuple[Estimate, Estimate]
    verdict: Verdict
    told: str


@dataclass(frozen=True, slots=True, eq=False)
class ComparedMeasure:
    """A measure on two sides.

    Attributes
    ----------
    name, meaning, unit : str
    middle_is : str
        ``"Median"``, or ``"Mean"`` for counts: with few different values medians hardly ever differ.
    middles : (Estimate, Estimate)
    difference : Estimate
        Of the middles, the one side's less the other's.
    verdict : Verdict
    told : str
        The verdict in a sentence.
    chart : Chart or None
        Both sides' values above each other.
    """

    name: str
    meaning: str
    unit: str
    middle_is: str
    middles: tuple[Estimate, Estimate]
    difference: Estimate
    verdict: Verdict
    told: str
    chart: Chart | None


@dataclass(frozen=True, slots=True, eq=False)
class KindComparison:
    """Two sides on one fault or action.

    Attributes
    ----------
    kind : SearchKind
    sides : (Side, Side)
    counts, games : (int, int)
        How many there are, in how many games.
    often : HowOften
    shared : int
        Those that belong to both sides; a comparison wants none.
    measures : tuple of ComparedMeasure
    left_out : tuple of str
        A sentence for what could not be read.
    """

    kind: SearchKind
    sides: tuple[Side, Side]
    counts: tuple[int, int]
    games: tuple[int, int]
    often: HowOften
    shared: int
    measures: tuple[ComparedMeasure, ...]
    left_out: tuple[str, ...]


def kind_named(text: str, settings: Settings) -> SearchKind:
    """A kind written as ``set:horns``, ``fault:twins``, ``action:drive``.

    Raises
    ------
    SearchError
        If there is none.
    """
    family, _, name = text.partition(":")
    found = next((kind for kind in known_kinds(settings) if (kind.family.value, kind.name) == (family, name)), None)
    if found is None:
        raise SearchError(
            f"'{text}' is nothing that can be compared; choose a set, a fault or an action from the list."
        )
    return found


def compare_kind(
    library: Library, kind: SearchKind, sides: tuple[Side, Side], counted: Counted, settings: Settings
) -> KindComparison:
    """Compare two sides on a fault or an action, measure by measure.

    Every difference is held against chance by the rule of :mod:`pipeline.reports.differences`, all measures together.

    Parameters
    ----------
    library : Library
    kind : SearchKind
    sides : (Side, Side)
    counted : Counted
        Which tags count; actions that are no tags always do.
    settings : Settings

    Raises
    ------
    SearchError
        If a side asks for kinds of its own, or for a team or game that does not exist.
    """
    found = [_rows(library, kind, one, counted, settings) for one in sides]
    tables = [one.table for one in found]
    numbers = [c for c in kind.columns if c.sort is Sort.NUMBER and c.name not in EVERYWHERE]
    values = [
        tuple(
            np.array(table[column.name].to_pylist(), dtype=float) if column.name in table.schema.names else np.empty(0)
            for table in tables
        )
        for column in numbers
    ]
    marks = [set(zip(*(table[name].to_pylist() for name in ("game", "t_s", "event")), strict=True)) for table in tables]
    return KindComparison(
        kind,
        sides,
        (tables[0].num_rows, tables[1].num_rows),
        (len(set(tables[0]["game"].to_pylist())), len(set(tables[1]["game"].to_pylist()))),
        how_often(library, kind, sides, counted, settings),
        len(marks[0] & marks[1]),
        _compared(numbers, values, (sides[0].label, sides[1].label), settings.reports),
        tuple(dict.fromkeys((*found[0].left_out, *found[1].left_out))),
    )


def how_often(
    library: Library, kind: SearchKind, sides: tuple[Side, Side], counted: Counted, settings: Settings
) -> HowOften:
    """How often a kind happened on two sides, per 100 possessions.

    The difference is tested as that of two Poisson means (Krishnamoorthy & Thomson 2004, J. Stat. Plan. Inference
    119:23, as SciPy has it).
    """
    games = [trend(library, bar_text(_of_kind(kind, side)), settings, counted=counted).games for side in sides]
    counts = tuple(sum(game.count for game in one) for one in games)
    possessions = tuple(sum(game.possessions for game in one) for one in games)
    rates = [
        rate(n, exposure, settings.reports.confidence, per=100) for n, exposure in zip(counts, possessions, strict=True)
    ]
    labels = (sides[0].label, sides[1].label)
    if not all(possessions):
        verdict, told = Verdict.TOO_FEW, "A side without possessions cannot be compared."
    else:
        (n, m), (x, y) = counts, possessions
        p = stats.poisson_means_test(n, x, m, y).pvalue if n + m else 1.0
        if p <= 1 - settings.reports.confidence:
            apart = rates[0].value - rates[1].value
            more = "more" if apart > 0 else "less"
            verdict, told = (
                Verdict.DIFFERENT,
                f"Different: {labels[0]} {more} often, by {abs(apart):.1f} per 100 possessions.",
            )
        else:
            verdict, told = Verdict.CANNOT_TELL, "The sample cannot tell which side has more of it."
    return HowOften((counts[0], counts[1]), (possessions[0], possessions[1]), (rates[0], rates[1]), verdict, told)


def _of_kind(kind: SearchKind, side: Side) -> Filters:
    field = {Family.ACTION: "actions", Family.SET: "sets", Family.FAULT: "faults"}[kind.family]
    asked = {field: (kind.name,)}
    return replace(side.filters, **asked, written="")  # type: ignore[arg-type]


def _rows(library: Library, kind: SearchKind, side: Side, counted: Counted, settings: Settings) -> Found:
    if side.filters.names_kinds:
        raise SearchError(f"A side is a part of the games, not a kind: take the names of kinds out of '{side.label}'.")
    states = counted.states if kind.family is not Family.ACTION else ()
    return search(library, replace(_of_kind(kind, side), states=states), settings)


def _compared(
    columns: Sequence[Column],
    values: Sequence[tuple[np.ndarray, ...]],
    labels: tuple[str, str],
    settings: ReportSettings,
) -> tuple[ComparedMeasure, ...]:
    differences = [_difference(column, pair, settings) for column, pair in zip(columns, values, strict=True)]
    verdicts = judged(differences, settings.fewest_runs, settings.confidence)
    found = []
    for column, pair, difference, verdict in zip(columns, values, differences, verdicts, strict=True):
        middle = median if column.unit else mean
        middles = [
            middle(one, settings.confidence, settings.resamples, own_rng(settings.seed, "middle", column.name, str(n)))
            for n, one in enumerate(pair)
        ]
        if not any(middle.known for middle in middles):
            continue
        found.append(
            ComparedMeasure(
                column.name,
                column.meaning,
                UNITS.get(column.unit, ""),
                "Median" if column.unit else "Mean",
                (middles[0], middles[1]),
                difference.estimate,
                verdict,
                _told(column, (middles[0], middles[1]), difference, verdict, labels, settings),
                _chart(column, pair, (middles[0], middles[1]), labels),
            )
        )
    return tuple(found)


def _difference(column: Column, pair: tuple[np.ndarray, ...], settings: ReportSettings) -> Difference:
    one, other = pair
    matters = {"ft": settings.feet_that_matter, "s": settings.seconds_that_matter}.get(column.unit, 0.0)
    apart_of, p_of = (median_difference, shuffled_p) if column.unit else (_mean_difference, _shuffled_mean_p)
    apart = apart_of(
        one, other, settings.confidence, settings.resamples, own_rng(settings.seed, "difference", column.name)
    )
    p = p_of(one, other, settings.shuffles, own_rng(settings.seed, "shuffle", column.name))
    fewest = int(min(np.isfinite(one).sum(), np.isfinite(other).sum()))
    return Difference(apart, p, matters, fewest)


def _mean_difference(
    one: np.ndarray, other: np.ndarray, confidence: float, resamples: int, rng: np.random.Generator
) -> Estimate:
    """Mean of one side less that of the other, as :func:`~pipeline.reports.differences.median_difference`."""
    a, b = known_of(one), known_of(other)
    if not len(a) or not len(b):
        return UNKNOWN
    value = float(a.mean() - b.mean())
    if len(a) == 1 or len(b) == 1:
        return Estimate(value, math.nan, math.nan, len(a) + len(b))
    times = draws(resamples, max(len(a), len(b)))
    drawn = drawn_again(a, means, times, rng) - drawn_again(b, means, times, rng)
    return Estimate(value, *percentiles(drawn, confidence), len(a) + len(b))


def _shuffled_mean_p(one: np.ndarray, other: np.ndarray, shuffles: int, rng: np.random.Generator) -> float:
    """As :func:`~pipeline.reports.differences.shuffled_p`, of means."""
    a, b = known_of(one), known_of(other)
    if not len(a) or not len(b):
        return math.nan
    values, counts = np.unique(np.concatenate([a, b]), return_counts=True)
    times = shuffles
    if len(values) <= FEW_VALUES:  # how many of each value the one side gets is all that a shuffle decides
        sums = rng.multivariate_hypergeometric(counts, len(a), times, method="marginals") @ values
    else:
        both, times = np.repeat(values, counts), draws(shuffles, len(a) + len(b))
        sums = np.array([rng.choice(both, len(a), replace=False, shuffle=False).sum() for _ in range(times)])
    apart = np.abs(sums / len(a) - (float(values @ counts) - sums) / len(b))
    return float((1 + np.count_nonzero(apart >= abs(a.mean() - b.mean()) - 1e-9)) / (1 + times))


def _told(
    column: Column,
    middles: tuple[Estimate, Estimate],
    difference: Difference,
    verdict: Verdict,
    labels: tuple[str, str],
    settings: ReportSettings,
) -> str:
    def amount(value: float) -> str:
        return f"{value:.1f}{UNITS.get(column.unit, '')}"

    apart = difference.estimate
    if verdict is Verdict.TOO_FEW:
        return (
            f"Too few to compare: known {middles[0].count} and {middles[1].count} times; from {settings.fewest_runs} "
            "on each side it is compared."
        )
    if verdict is Verdict.DIFFERENT:
        return f"Different: {labels[0]} {'higher' if apart.value > 0 else 'lower'} by {amount(abs(apart.value))}."
    if verdict is Verdict.ALIKE:
        return f"Alike: whatever the difference is, it is under {amount(difference.matters)}."
    widest = max(abs(apart.low), abs(apart.high))
    return f"The sample cannot tell: a difference of {amount(widest)} is possible, and so is none."


def _chart(
    column: Column, pair: tuple[np.ndarray, ...], middles: tuple[Estimate, Estimate], labels: tuple[str, str]
) -> Chart:
    """Both sides' values as dots above each other, medians with their intervals below each."""
    known = [one[np.isfinite(one)] for one in pair]
    figure, (axis,) = new_figure(1.7)
    span = limits(np.concatenate(known), ())
    if column.unit == "":  # a count
        span = (min(span[0], math.floor(span[0] + 0.5) - 0.6), max(span[1], math.ceil(span[1] - 0.5) + 0.6))
        axis.locator_params(axis="x", integer=True, nbins=8)
    axis.set_xlim(*span)
    stacks = [stacked(one, span) for one in known]
    top = max([3.0, *(float(one.max()) + 1 for one in stacks if len(one))])
    pitch = 1.6 * top
    for place, (one, heights, middle) in enumerate(zip(known, stacks, middles, strict=True)):
        base = (1 - place) * pitch
        colour, marker = ((ONE, "o"), (OTHER, "s"))[place]
        axis.plot(
            one,
            base + heights + 0.6,
            linestyle="none",
            marker=marker,
            markersize=float(np.clip(44 / top, 2.4, 5.6)),
            color=colour,
            markeredgecolor=PAPER,
            markeredgewidth=0.4,
        )
        if middle.known:
            interval_bar(axis, base - 0.24 * top, middle.value, middle.low, middle.high)
    axis.set_ylim(-0.5 * top, 2 * pitch - 0.45 * top)
    names_beside(
        axis, [pitch + 0.35 * top, 0.35 * top], [f"{name[:17]}…" if len(name) > 18 else name for name in labels]
    )
    unit = UNITS.get(column.unit, "").strip()
    label(axis, f"{column.meaning}{f', {unit}' if unit else ''}")
    told = [
        f"{name}: {middle.count} known, median {number(middle.value)}"
        for name, middle in zip(labels, middles, strict=True)
    ]
    return chart_of(figure, f"{column.meaning}. {'; '.join(told)}.")


def number(value: float) -> str:
    """A number for the page; a word where it is not known."""
    return f"{value:.1f}" if math.isfinite(value) else "unknown"
