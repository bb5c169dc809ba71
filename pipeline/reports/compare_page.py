"""Two sides on the same set as a page."""

from __future__ import annotations

from pipeline.reports.comparison import ComparedPoint, Comparison
from pipeline.reports.differences import Verdict
from pipeline.reports.document import (
    CAUTIONS,
    Align,
    Block,
    Card,
    Cards,
    Column,
    Document,
    Grid,
    Heading,
    Remark,
    Text,
    Tone,
)
from pipeline.reports.intervals import Method
from pipeline.reports.point_charts import two_sides_chart
from pipeline.reports.points import in_words
from pipeline.reports.sides import Counted
from pipeline.reports.wording import amount, counted_in_words, counts, percent, signed, signed_share
from pipeline.sets.emphasis import Grade

RULE = (
    "Different is said only where shuffling the runs between the sides hardly ever sets them so far apart, all points "
    "of the page taken together (Holm 1979), where the games' own medians differ as well (Welch 1947), and where the "
    "interval leaves out no difference. Alike is said only where the whole interval lies within what would matter. "
    "Everything else the sample cannot tell."
)
VERDICT = {
    Verdict.DIFFERENT: "different",
    Verdict.ALIKE: "alike",
    Verdict.CANNOT_TELL: "cannot tell",
    Verdict.TOO_FEW: "too few runs",
}


def compare_page(comparison: Comparison) -> Document:
    """A comparison laid out."""
    one, other = comparison.sides
    labels = (one.side.label, other.side.label)
    undecided = one.undecided + other.undecided
    blocks: list[Block] = [
        Remark(
            counted_in_words(one.counted, undecided, comparison.standing, "runs"),
            Tone.PLAIN if one.counted is Counted.CONFIRMED else Tone.CAUTION,
        )
    ]
    blocks += [Remark(text, Tone.CAUTION) for text in dict.fromkeys((*one.left_out, *other.left_out))]
    if comparison.shared:
        blocks.append(
            Remark(
                f"{counts(comparison.shared, 'run')} belong to both sides; what they share makes them look alike.",
                Tone.CAUTION,
            )
        )
    single = [
        label for label, side in zip(labels, comparison.sides, strict=True) if len({r.game for r in side.runs}) == 1
    ]
    if single:
        blocks.append(
            Remark(
                f"{' and '.join(single)}: runs of one game only. What differs may be that day's, and nothing here says "
                "how it is in other games."
            )
        )
    blocks += [Heading("In short"), *_in_short(comparison), _overview(comparison, labels)]
    if comparison.points:
        blocks += [Heading("Point by point"), Text(_marks(labels))]
        seen = [point for point in comparison.points if any(facts.known for facts in point.facts)]
        unseen = [point.title for point in comparison.points if point not in seen]
        if seen:
            blocks.append(Cards(tuple(_card(point, comparison, labels) for point in seen)))
        if unseen:
            blocks.append(Text(f"Not known in any run of either side: {'; '.join(unseen)}."))
    blocks += [Heading("How it ended"), _endings(comparison, labels)]
    footer = (
        RULE,
        f"Intervals at 95 % — {Method.BOOTSTRAP_OF_TWO}; {Method.NEWCOMBE}; {Method.WILSON}.",
        *CAUTIONS,
    )
    subtitle = f"{labels[0]} ({counts(len(one.runs), 'run')}) and {labels[1]} ({counts(len(other.runs), 'run')})"
    return Document(f"{comparison.definition.title}: two sides", subtitle, tuple(blocks), footer)


def _marks(labels: tuple[str, str]) -> str:
    return (
        f"Dots and the upper row: {labels[0]}; squares and the lower row: {labels[1]}. The diamond is the median on "
        "its interval. Good and poor ranges are those of the set file."
    )


def _in_short(comparison: Comparison) -> list[Block]:
    told = [
        f"{point.title}: {point.told.removeprefix('Different: ')}"
        for point in comparison.points
        if point.verdict is Verdict.DIFFERENT
    ]
    if told:
        return [Text(text) for text in told]
    few = sum(point.verdict is Verdict.TOO_FEW for point in comparison.points)
    if few == len(comparison.points):
        return [
            Remark(
                "The sample is too small: no point of emphasis has enough runs on both sides to be compared.",
                Tone.CAUTION,
            )
        ]
    return [
        Remark(
            "On no point does the sample show a difference. Where it says that it cannot tell, more runs may still "
            "show one."
        )
    ]


def _overview(comparison: Comparison, labels: tuple[str, str]) -> Grid:
    rows = []
    for point in comparison.points:
        if point.is_word:
            values = [percent(facts.good) for facts in point.facts]
            apart = signed_share(point.good_difference)
        else:
            values = [amount(facts.middle, point.unit) for facts in point.facts]
            apart = signed(point.difference, point.unit)
        rows.append((point.title, *values, apart, VERDICT[point.verdict]))
    columns = (
        Column("Point of emphasis", weight=2.2),
        Column(labels[0], Align.RIGHT, 1.6),
        Column(labels[1], Align.RIGHT, 1.6),
        Column("Difference", Align.RIGHT, 1.7),
        Column("Verdict", weight=1.1),
    )
    caption = (
        "Medians, or shares that were good where a point is a word; intervals in brackets. Differences of shares in "
        "points of a hundred."
    )
    return Grid(caption, columns, tuple(rows))


def _card(point: ComparedPoint, comparison: Comparison, labels: tuple[str, str]) -> Card:
    emphasis = point.facts[0].emphasis
    lines = [point.told]
    for label, facts in zip(labels, point.facts, strict=True):
        if not facts.known:
            lines.append(f"{label}: not known in any run.")
            continue
        middle = "" if facts.is_word or not facts.middle.known else f"median {amount(facts.middle, point.unit)}, "
        lines.append(f"{label}: {middle}good {percent(facts.good)} of {counts(facts.known, 'run')}.")
    if not point.is_word and point.difference.known:
        lines.append(f"Difference of medians {signed(point.difference, point.unit)}.")
    if point.good_difference.known:
        lines.append(f"Difference of good shares {signed_share(point.good_difference)} points of a hundred.")
    lines.append(f"Good is {in_words(emphasis, Grade.GOOD)}; poor is {in_words(emphasis, Grade.POOR)}.")
    return Card(point.title, two_sides_chart(point.facts, labels, comparison.definition), tuple(lines))


def _endings(comparison: Comparison, labels: tuple[str, str]) -> Grid:
    names = [block.name for block in comparison.definition.endings]
    seen = [[run.ending or "" for run in side.runs] for side in comparison.sides]
    others = sorted({name for side in seen for name in side} - set(names))
    rows = []
    for name in (*names, *others):
        cells = []
        for side in seen:
            share = f" ({100 * side.count(name) / len(side):.0f} %)" if side else ""
            cells.append(f"{side.count(name)}{share}")
        rows.append(((name.replace("_", " ") or "no ending of the file").capitalize(), *cells))
    columns = (Column("Ending", weight=2), Column(labels[0], Align.RIGHT), Column(labels[1], Align.RIGHT))
    return Grid("Runs by ending.", columns, tuple(rows))
