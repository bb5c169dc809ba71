"""A trend over games as a page."""

from __future__ import annotations

import math
import textwrap
from datetime import date

import numpy as np
from matplotlib.axes import Axes

from pipeline.reports.charts import (
    INK,
    LETTERS,
    LINE,
    ONE,
    OTHER,
    PAPER,
    SOFT,
    chart_of,
    new_figure,
    printable,
)
from pipeline.reports.document import (
    CAUTIONS,
    Align,
    Block,
    Chart,
    Column,
    Document,
    Grid,
    Heading,
    Remark,
    Text,
    Tone,
)
from pipeline.reports.intervals import Method
from pipeline.reports.sides import Counted
from pipeline.reports.trend import Per, Trend, TrendGame
from pipeline.reports.wording import ENDINGS, amount, counted_in_words, counts, day_and_opponent

LONGEST_NAME = 16
MOST_NAMES = 24
"""With more games the chart names every second, third … of them."""


LETTERS_ACROSS, SHORTEST_NAME = 88, 11
"""Letters that fit side by side under the chart; where a game gets fewer than the second its name is turned."""


def trend_page(trend: Trend) -> Document:
    """A trend laid out."""
    known = sum(game.value.known for game in trend.games)
    blocks: list[Block] = []
    if trend.only_actions:
        blocks.append(Remark("Counts every action that was recognised: actions are no tags, and nobody confirms them."))
    else:
        standing = trend.standing[0] if len(trend.standing) == 1 else None
        blocks.append(
            Remark(
                counted_in_words(trend.counted, trend.undecided, standing, "tags"),
                Tone.PLAIN if trend.counted is Counted.CONFIRMED else Tone.CAUTION,
            )
        )
    blocks += [Remark(text, Tone.CAUTION) for text in trend.notes]
    if not trend.games:
        blocks.append(Remark("No game of the library belongs to this.", Tone.CAUTION))
    else:
        blocks.append(Heading("Game after game"))
        if known:
            blocks.append(trend_chart(trend))
        blocks += [Text(trend.told), _games(trend)]
    line = (
        "The line is Theil's and Sen's (Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63:1379): the median of all slopes "
        "between two games, so that one odd game does not turn it."
    )
    method = Method.BOOTSTRAP if trend.measure else Method.GARWOOD
    return Document(
        _title(trend), _subtitle(trend), tuple(blocks), (f"Intervals at 95 % — {method}. {line}", *CAUTIONS)
    )


def _title(trend: Trend) -> str:
    return f"{trend.title}: {trend.meaning}" if trend.measure else f"{trend.title}, {trend.per.value}"


def _subtitle(trend: Trend) -> str:
    return f"{trend.part} · {counts(len(trend.games), 'game')}"


def trend_chart(trend: Trend) -> Chart:
    """The games' values with their intervals, and the line where there is one."""
    figure, (axis,) = new_figure(2.9, 7.0)
    axis.spines["left"].set_visible(True)
    axis.spines["left"].set_color(SOFT)
    games = trend.games
    top = _top(games)
    for at, game in enumerate(games):
        value = game.value
        if not value.known:
            axis.annotate("none", (at, 0), ha="center", va="bottom", fontsize=LETTERS - 1, color=SOFT, rotation=90)
            continue
        if math.isfinite(value.low):
            axis.plot([at, at], [value.low, min(value.high, top)], color=INK, linewidth=1.2, zorder=2)
            ends = [value.low] if value.high > top else [value.low, value.high]
            axis.plot([at] * len(ends), ends, linestyle="none", marker="_", markersize=7, color=INK, zorder=2)
        axis.plot([at], [value.value], linestyle="none", marker="o", markersize=6.5, color=ONE, markeredgecolor=PAPER,
                  zorder=3)  # fmt: skip
    if trend.line is not None:
        x = np.array([0, len(games) - 1])
        axis.plot(
            x,
            trend.line.start + trend.line.slope.value * x,
            color=OTHER,
            linewidth=1.6,
            linestyle=(0, (5, 2.5)),
            zorder=1,
        )
    axis.set_xlim(-0.6, len(games) - 0.4)
    axis.grid(visible=True, axis="y", color=LINE, linewidth=0.6)
    axis.set_axisbelow(True)
    if not trend.measure:
        axis.set_ylim(0, top * 1.04)
        axis.locator_params(axis="y", integer=trend.per is Per.GAME, nbins=6)
    name = trend.per.value if not trend.measure else f"{trend.meaning}{_unit(trend.unit)}"
    axis.set_ylabel(_broken(printable(name)), color=INK, fontsize=LETTERS, parse_math=False)
    _names(axis, games)
    values = ", ".join(f"{day_and_opponent(g.game, g.date, g.opponent)}: {_value(g, trend)}" for g in games)
    return chart_of(figure, f"{_title(trend)}, game after game. {values}. {trend.told}")


def _unit(unit: str) -> str:
    return f", {ENDINGS[unit].strip()}" if unit in ENDINGS else ""


def _broken(text: str, longest: int = 34) -> str:
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + len(word) < longest:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return "\n".join(lines)


def _top(games: tuple[TrendGame, ...]) -> float:
    """As high as the chart goes: one game's wide interval does not flatten all others."""
    values = [g.value.value for g in games if g.value.known]
    highs = [g.value.high if math.isfinite(g.value.high) else g.value.value for g in games if g.value.known]
    if not values:
        return 1.0
    return float(max(max(values) * 1.15, min(max(highs), 3 * float(np.median(highs))), 1e-9))


def _names(axis: Axes, games: tuple[TrendGame, ...]) -> None:
    step = 1 + (len(games) - 1) // MOST_NAMES
    shown = range(0, len(games), step)
    letters = min(LETTERS_ACROSS // max(len(games), 1), LONGEST_NAME)
    upright = letters >= SHORTEST_NAME
    longest = letters if upright else LONGEST_NAME
    names = []
    for place in shown:
        game = games[place]
        who = f"v {game.opponent}" if game.opponent else game.game
        lines = textwrap.wrap(printable(who), longest)
        cut = lines if len(lines) < 3 else [lines[0], f"{lines[1][: longest - 1]}…"]
        names.append("\n".join([*([_day(game.date)] if game.date else []), *cut]))
    axis.set_xticks(list(shown))
    if not upright:
        axis.set_xticklabels([name.replace("\n", " ") for name in names], fontsize=LETTERS - 0.5, color=INK,
                             parse_math=False, rotation=55, ha="right", rotation_mode="anchor")  # fmt: skip
        return
    axis.set_xticklabels([""] * len(names))
    for place, name in zip(shown, names, strict=True):
        for line, text in enumerate(name.split("\n")):  # line by line, so that accents do not push one down
            axis.annotate(text, (place, 0), xycoords=("data", "axes fraction"), xytext=(0, -14 - 11 * line),
                          textcoords="offset points", ha="center", va="baseline", fontsize=LETTERS - 0.5, color=INK,
                          parse_math=False)  # fmt: skip


def _day(text: str) -> str:
    """A day as it is said: ``3 Oct``; what is no day stays as it is."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return text
    return f"{day.day} {day.strftime('%b')}"


def _value(game: TrendGame, trend: Trend) -> str:
    return amount(game.value, trend.unit) if trend.measure else amount(game.value, "")


def _games(trend: Trend) -> Grid:
    right = Align.RIGHT
    head = "Median" if trend.measure else trend.per.value.capitalize()
    columns = (
        Column("Game", weight=2.6),
        Column(head, right, 1.7),
        Column("Counted", right),
        Column("Possessions", right),
    )
    rows = tuple(
        (
            day_and_opponent(game.game, game.date, game.opponent),
            _value(game, trend),
            str(game.count),
            str(game.possessions),
        )
        for game in trend.games
    )
    return Grid("Values with their intervals; possessions are those of the teams and periods asked for.", columns, rows)
