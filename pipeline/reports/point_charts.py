"""Charts of points of emphasis: one side's runs, or two sides' above each other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from pipeline.actions.vocabulary import EVERY_MEASURE, KIND
from pipeline.reports.charts import (
    INK,
    LETTERS,
    LINE,
    MARK,
    MOST_DOTS,
    ONE,
    OTHER,
    PAPER,
    bands,
    chart_of,
    interval_bar,
    label,
    limits,
    names_beside,
    new_figure,
    printable,
    stacked,
)
from pipeline.reports.document import Chart
from pipeline.reports.points import PointFacts, in_words, ranges
from pipeline.reports.wording import ENDINGS
from pipeline.sets.definition import Edge, Emphasis, Measured, Moment, SetDefinition, Timed, Words
from pipeline.sets.emphasis import Grade, unit

HIGHEST_STACK = 11
"""Dots on each other; more are a histogram."""

BESIDE_NAMES = 48
"""Letters in a line under an axis that has names at its left."""

UNITS = {"ft": "feet", "s": "seconds", "deg": "degrees", "ft_s": "feet per second"}


def measured_in_words(emphasis: Emphasis, definition: SetDefinition) -> str:
    """What a point of emphasis looks at, in the vocabulary's words, with its unit."""
    subject = emphasis.subject
    if isinstance(subject, Timed):
        return f"time from {_moment(subject.first)} to {_moment(subject.second)}, seconds"
    kinds = [action.kind for phase in definition.phases() if phase.name == subject.phase for action in phase.actions]
    meaning = subject.measure if isinstance(subject, Measured) else subject.trait
    for kind in kinds:
        known = KIND.get(kind)
        if known is None:
            continue
        names: dict[str, str] = {one.name: one.meaning for one in (*known.measures, *EVERY_MEASURE)}
        names |= {one.name: one.meaning for one in known.traits}
        meaning = names.get(meaning, meaning)
    spoken = UNITS.get(unit(emphasis), "")
    phase = subject.phase.replace("_", " ")
    return f"{meaning} ({phase}){f', {spoken}' if spoken else ''}"


def _moment(moment: Moment) -> str:
    return f"the {'' if moment.edge is Edge.MOMENT else moment.edge.value}{moment.phase.replace('_', ' ')}"


def grades_of(values: np.ndarray, emphasis: Emphasis) -> list[Grade]:
    """Grade of each known value."""
    good, poor = ranges(emphasis, Grade.GOOD), ranges(emphasis, Grade.POOR)
    return [
        Grade.GOOD
        if any(one.holds(v) for one in good)
        else Grade.POOR
        if any(one.holds(v) for one in poor)
        else Grade.FAIR
        for v in values.tolist()
    ]


def point_chart(facts: PointFacts, definition: SetDefinition) -> Chart | None:
    """The chart of a point over runs; None where nothing is known of it."""
    if not facts.known:
        return None
    if facts.is_word:
        return _words_chart(facts, definition)
    values = facts.values[np.isfinite(facts.values)]
    figure, (axis,) = new_figure(1.75)
    edges = [e for g in (Grade.GOOD, Grade.POOR) for one in ranges(facts.emphasis, g) for e in (one.low, one.high)]
    span = limits(values, edges)
    axis.set_xlim(*span)
    top = _strip(axis, values, facts.emphasis, span)
    axis.set_ylim(-0.24 * top, 1.06 * top)
    bands(axis, ranges(facts.emphasis, Grade.GOOD), ranges(facts.emphasis, Grade.POOR))
    interval_bar(axis, -0.12 * top, facts.middle.value, facts.middle.low, facts.middle.high)
    axis.set_yticks([])
    label(axis, measured_in_words(facts.emphasis, definition))
    return chart_of(figure, _alt(facts))


def _strip(axis: Axes, values: np.ndarray, emphasis: Emphasis, span: tuple[float, float]) -> float:
    """Dots that stand on each other, or bars where there are many; the height that they take."""
    heights = stacked(values, span)
    if len(values) > MOST_DOTS or heights.max() >= HIGHEST_STACK:
        return _bars_above(axis, values, span, 0.0, None)
    top = float(max(heights.max() + 1, 4))
    size = float(np.clip(62 / top, 3.0, 6.4))
    grades = grades_of(values, emphasis)
    for grade in (Grade.GOOD, Grade.FAIR, Grade.POOR):
        own = np.array([one is grade for one in grades])
        marker, fill, edge = MARK[grade]
        axis.plot(values[own], heights[own] + 0.6, linestyle="none", marker=marker, markersize=size,
                  markerfacecolor=PAPER if fill == "none" else fill, markeredgecolor=edge, markeredgewidth=1.0,
                  zorder=3)  # fmt: skip
    return top


def _bars_above(
    axis: Axes, values: np.ndarray, span: tuple[float, float], base: float, height: float | None, colour: str = ONE
) -> float:
    """A histogram that stands on ``base``, scaled to a height where one is given; each bar's count where it fits."""
    counts, sides = np.histogram(values, bins=26, range=span)
    most = float(max(counts.max(), 1))
    scale = 1.0 if height is None else height / most
    some = counts > 0
    axis.bar(sides[:-1][some], counts[some] * scale, width=np.diff(sides)[some] * 0.9, bottom=base, align="edge",
             color=colour, edgecolor=INK, linewidth=0.4, zorder=3)  # fmt: skip
    place = int(counts.argmax())
    axis.annotate(f"{counts[place]} runs", (sides[place], base + counts[place] * scale), xytext=(12, -3),
                  textcoords="offset points", ha="left", va="top", fontsize=LETTERS - 1, color=INK)  # fmt: skip
    return most * scale


def _words_chart(facts: PointFacts, definition: SetDefinition) -> Chart:
    rows = list(facts.words)
    figure, (axis,) = new_figure(0.78 + 0.27 * len(rows))
    _bars(axis, [(word, count) for word, count in rows], facts.emphasis)
    label(axis, f"runs: {measured_in_words(facts.emphasis, definition)}", BESIDE_NAMES)
    return chart_of(figure, _alt(facts))


def _bars(axis: Axes, rows: Sequence[tuple[str, int]], emphasis: Emphasis) -> None:
    places = np.arange(len(rows))[::-1]
    most = max(count for _, count in rows)
    names = []
    for place, (word, count) in zip(places.tolist(), rows, strict=True):
        grade = word_grade(word, emphasis)
        solid = grade is Grade.GOOD
        colour = ONE if grade is not Grade.POOR else OTHER
        axis.barh(
            place, count, height=0.62, color=colour if solid else PAPER, edgecolor=colour, linewidth=1.3, zorder=2
        )
        if grade is Grade.POOR:
            step = most / 34
            for at in np.arange(-2 * step, count, step).tolist():
                left, right = max(at, 0.0), min(at + 1.4 * step, count)
                if right > left:
                    y = [place - 0.31 + 0.62 * (x - at) / (1.4 * step) for x in (left, right)]
                    axis.plot([left, right], y, color=colour, linewidth=0.7, zorder=2.5)
        axis.annotate(str(count), (count, place), xytext=(4, 0), textcoords="offset points", va="center",
                      fontsize=LETTERS, color=INK)  # fmt: skip
        names.append(f"{word.replace('_', ' ')} ({grade.value})")
    names_beside(axis, places.tolist(), names)
    axis.set_ylim(-0.6, len(rows) - 0.4)
    axis.set_xlim(0, most * 1.12)
    axis.locator_params(axis="x", integer=True, nbins=6)


def word_grade(word: str, emphasis: Emphasis) -> Grade:
    """Whether a word is good, poor or neither."""
    for grade, ones in ((Grade.GOOD, emphasis.good), (Grade.POOR, emphasis.poor)):
        if any(isinstance(one, Words) and word in one.words for one in ones):
            return grade
    return Grade.FAIR


def two_sides_chart(
    facts: tuple[PointFacts, PointFacts], labels: tuple[str, str], definition: SetDefinition
) -> Chart | None:
    """Two sides' runs above each other on one axis; None where nothing is known of either."""
    one, other = facts
    if not one.known and not other.known:
        return None
    if one.is_word:
        return _two_shares(facts, labels)
    known = [side.values[np.isfinite(side.values)] for side in facts]
    both = np.concatenate(known)
    figure, (axis,) = new_figure(2.05)
    edges = [e for g in (Grade.GOOD, Grade.POOR) for r in ranges(one.emphasis, g) for e in (r.low, r.high)]
    span = limits(both, edges)
    axis.set_xlim(*span)
    stacks = [stacked(values, span) for values in known]
    highest = max([3.0, *(float(s.max()) + 1 for s in stacks if len(s))])
    crowded = highest > HIGHEST_STACK or max(len(values) for values in known) > MOST_DOTS
    top = 3.0 if crowded else highest
    pitch = 1.62 * top
    for place, (values, heights, facts_of) in enumerate(zip(known, stacks, facts, strict=True)):
        base = (1 - place) * pitch
        colour, marker = ((ONE, "o"), (OTHER, "s"))[place]
        size = float(np.clip(44 / top, 2.4, 5.6))
        if crowded and len(values):
            _bars_above(axis, values, span, base, top, colour)
        else:
            axis.plot(values, base + heights + 0.6, linestyle="none", marker=marker, markersize=size, color=colour,
                      markeredgecolor=PAPER, markeredgewidth=0.4, zorder=3)  # fmt: skip
        if len(values):
            middle = facts_of.middle
            interval_bar(axis, base - 0.24 * top, middle.value, middle.low, middle.high)
    axis.set_ylim(-0.5 * top, 2 * pitch - 0.45 * top)
    axis.plot(list(span), [pitch - 0.5 * top] * 2, color=LINE, linewidth=0.8, zorder=1)
    bands(axis, ranges(one.emphasis, Grade.GOOD), ranges(one.emphasis, Grade.POOR))
    names_beside(axis, [pitch + 0.35 * top, 0.35 * top], [_short(name) for name in labels])
    label(axis, measured_in_words(one.emphasis, definition), BESIDE_NAMES)
    return chart_of(figure, f"{labels[0]}: {_alt(one)} {labels[1]}: {_alt(other)}")


def _two_shares(facts: tuple[PointFacts, PointFacts], labels: tuple[str, str]) -> Chart:
    figure, (axis,) = new_figure(1.25)
    for place, side in enumerate(facts):
        if side.good.known:
            colour, marker = ((ONE, "o"), (OTHER, "s"))[place]
            good = side.good
            axis.plot([100 * good.low, 100 * good.high], [1 - place] * 2, color=INK, linewidth=1.6, zorder=2)
            axis.plot(
                [100 * good.low, 100 * good.high],
                [1 - place] * 2,
                linestyle="none",
                marker="|",
                markersize=7,
                color=INK,
            )
            axis.plot([100 * good.value], [1 - place], linestyle="none", marker=marker, markersize=8, color=colour,
                      markeredgecolor=PAPER, zorder=3)  # fmt: skip
    axis.set_xlim(-2, 102)
    axis.set_ylim(-0.6, 1.6)
    axis.grid(visible=True, axis="x", color=LINE, linewidth=0.6)
    axis.set_axisbelow(True)
    names_beside(axis, [1, 0], [_short(name) for name in labels])
    label(axis, f"runs of a hundred that were good: {in_words(facts[0].emphasis, Grade.GOOD)}", BESIDE_NAMES)
    return chart_of(figure, f"{labels[0]}: {_alt(facts[0])} {labels[1]}: {_alt(facts[1])}")


def _short(name: str, longest: int = 18) -> str:
    """A side's name, broken into lines or cut, to stand beside an axis."""
    lines: list[str] = []
    for word in printable(name).split():
        if lines and len(lines[-1]) + 1 + len(word) <= longest:
            lines[-1] += f" {word}"
        else:
            lines.append(word if len(word) <= longest else f"{word[: longest - 1]}…")
    return "\n".join([*lines[:2], f"{lines[2]} …"] if len(lines) > 3 else lines)


def _alt(facts: PointFacts) -> str:
    """What a chart of a point shows, in a sentence."""
    counts = ", ".join(f"{count} {grade.value}" for grade, count in facts.grades if count)
    if facts.is_word or not facts.middle.known:
        words = ", ".join(f"{word.replace('_', ' ')} {count}" for word, count in facts.words)
        return f"{facts.emphasis.title}: {counts}{f' ({words})' if words else ''}."
    ending = ENDINGS.get(unit(facts.emphasis), "")
    return f"{facts.emphasis.title}: {counts}; median {facts.middle.value:.1f}{ending}."
