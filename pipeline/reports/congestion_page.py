"""Congestion at ball screens as a page."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.reports.charts import (
    INK,
    LETTERS,
    LINE,
    ONE,
    OTHER,
    PAPER,
    chart_of,
    interval_bar,
    label,
    names_beside,
    new_figure,
    printable,
)
from pipeline.reports.congestion import UNKNOWN_UNIT, Congestion, Row
from pipeline.reports.document import (
    CAUTIONS,
    Align,
    Block,
    Chart,
    Column,
    Document,
    Facts,
    Grid,
    Heading,
    Remark,
    Text,
    Tone,
)
from pipeline.reports.intervals import Method
from pipeline.reports.wording import amount, counts, percent

TRAIT_HEADS = {
    "side": "Where the screen was set",
    "sent": "Which way the handler went",
    "coverage": "How it was covered",
}
NAMES = {
    "side": {"side": "side screens", "middle": "middle screens"},
    "sent": {"middle": "sent to the middle", "sideline": "sent to the sideline", "rejected": "screen rejected"},
    "coverage": {},
}
LONGEST_NAME = 34


def congestion_page(report: Congestion) -> Document:
    """A congestion report laid out."""
    from_ = report.crowded_from
    blocks: list[Block] = [
        Remark(
            "Counts every corner turned off a recognised ball screen, whatever has been confirmed: nobody decides "
            "single actions. Bodies are all others of both teams with a foot in the paint, the handler not counted, at "
            "least that many for a quarter of a second about the moment."
        )
    ]
    blocks += [Remark(text, Tone.CAUTION) for text in report.left_out]
    if not report.turns:
        blocks.append(Remark("No corner was turned off a ball screen here.", Tone.CAUTION))
    else:
        overall = report.overall
        blocks += [
            Facts(
                (
                    ("Corners turned", str(overall.turns)),
                    ("Bodies in the paint, mean", amount(overall.bodies, "")),
                    (f"{from_} or more", percent(overall.crowded)),
                    ("Of them attackers, mean", f"{overall.attackers:.1f}"),
                )
            ),
            Heading("How many stood there"),
            _spread(report),
        ]
        for trait, _, rows in report.sorts:
            blocks += [Heading(TRAIT_HEADS.get(trait, trait)), *_part(_named(rows, trait), from_)]
        blocks += [Heading("By unit"), *_unit_blocks(report)]
        if report.uncounted:
            blocks.append(
                Text(f"{counts(report.uncounted, 'corner')} more could not be counted: the places then are not known.")
            )
    footer = (f"Intervals at 95 % — {Method.BOOTSTRAP}; {Method.WILSON}.", *CAUTIONS)
    subtitle = f"{report.side.label} · {counts(len(report.turns), 'corner')} turned in {counts(report.games, 'game')}"
    return Document("Bodies in the paint as the corner is turned", subtitle, tuple(blocks), footer)


def _named(rows: Sequence[Row], trait: str) -> tuple[Row, ...]:
    names = NAMES.get(trait, {})
    said = [names.get(row.name, "not known" if row.name == "unknown" else row.name) for row in rows]
    return tuple(
        Row(name, row.turns, row.bodies, row.attackers, row.crowded) for name, row in zip(said, rows, strict=True)
    )


def _unit_blocks(report: Congestion) -> list[Block]:
    if all(row.name == UNKNOWN_UNIT for row in report.units):
        return [
            Text("The five on the floor are not known for any of these: no five jersey numbers were read together.")
        ]
    numbered = [
        Row(f"Unit {n + 1}" if ": " in row.name else row.name, row.turns, row.bodies, row.attackers, row.crowded)
        for n, row in enumerate(report.units)
    ]
    named = [row for row in report.units if ": " in row.name]
    who = Grid(
        "The five attackers on the floor, by name and number where they are known.",
        (Column("Unit", weight=0.6), Column("Who", weight=5)),
        tuple((f"Unit {n + 1}", row.name) for n, row in enumerate(named)),
    )
    return [*_part(numbered, report.crowded_from), *([who] if named else [])]


def _part(rows: Sequence[Row], crowded_from: int) -> list[Block]:
    right = Align.RIGHT
    columns = (
        Column("", weight=2.2),
        Column("Corners", right),
        Column("Bodies, mean", right, 1.6),
        Column("Of them attackers", right),
        Column(f"{crowded_from} or more", right, 1.6),
    )
    cells = tuple(
        (row.name, str(row.turns), amount(row.bodies, ""), f"{row.attackers:.1f}", percent(row.crowded)) for row in rows
    )
    return [rows_chart(rows, crowded_from), Grid("Means and shares with their intervals.", columns, cells)]


def rows_chart(rows: Sequence[Row], crowded_from: int) -> Chart:
    """Mean bodies at the left, share that was crowded at the right, a line for each row."""
    figure, (left, right) = new_figure(0.75 + 0.32 * len(rows), 7.0, 1, 2)
    places = np.arange(len(rows))[::-1].tolist()
    for place, row in zip(places, rows, strict=True):
        interval_bar(left, place, row.bodies.value, row.bodies.low, row.bodies.high)
        share = row.crowded
        interval_bar(right, place, 100 * share.value, 100 * share.low, 100 * share.high)
    names_beside(left, places, [f"{_short(row.name)} ({row.turns})" for row in rows])
    right.set_yticks([])
    for axis in (left, right):
        axis.set_ylim(-0.7, len(rows) - 0.3)
        axis.grid(visible=True, axis="x", color=LINE, linewidth=0.6)
        axis.set_axisbelow(True)
    left.set_xlim(-0.15, max(6.0, *(row.bodies.high * 1.05 for row in rows if np.isfinite(row.bodies.high)), 6.0))
    left.plot(
        [crowded_from] * 2, [-0.7, len(rows) - 0.3], color=OTHER, linewidth=1.2, linestyle=(0, (4, 2)), zorder=0.5
    )
    right.set_xlim(-2, 102)
    label(left, "bodies in the paint, mean")
    label(right, f"corners of a hundred with {crowded_from} or more")
    told = "; ".join(f"{row.name}: {amount(row.bodies, '')} bodies, {percent(row.crowded)} crowded" for row in rows)
    return chart_of(figure, told)


def _spread(report: Congestion) -> Chart:
    bodies = np.array([turn.bodies for turn in report.turns])
    most = max(9, int(bodies.max()))
    counted = np.bincount(bodies, minlength=most + 1)
    figure, (axis,) = new_figure(1.9, 7.0)
    at = np.arange(most + 1)
    crowded = at >= report.crowded_from
    axis.bar(at[~crowded], counted[~crowded], width=0.72, color=PAPER, edgecolor=ONE, linewidth=1.4)
    axis.bar(at[crowded], counted[crowded], width=0.72, color=OTHER, edgecolor=INK, linewidth=0.6)
    for place, count in zip(at.tolist(), counted.tolist(), strict=True):
        if count:
            axis.annotate(str(count), (place, count), xytext=(0, 2), textcoords="offset points", ha="center",
                          fontsize=LETTERS, color=INK)  # fmt: skip
    axis.set_xticks(at.tolist())
    axis.set_yticks([])
    axis.set_ylim(0, counted.max() * 1.18)
    label(axis, f"bodies in the paint; filled from {report.crowded_from} on")
    told = ", ".join(f"{count} with {place}" for place, count in enumerate(counted.tolist()) if count)
    return chart_of(figure, f"Corners turned by bodies in the paint: {told}.")


def _short(name: str) -> str:
    name = printable(name)
    return name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 1]}…"
