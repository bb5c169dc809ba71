"""Charts of reports, drawn with matplotlib as SVG.

They are read in print without colour and by the colour-blind: good, fair and poor differ by marker, ranges by hatching
and a word, two sides by marker and place. Colours are Okabe & Ito's ("Color Universal Design", 2008). Letters are drawn
as outlines, so that a chart looks the same everywhere.
"""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import get_font

from pipeline.reports.document import Chart
from pipeline.sets.definition import Range
from pipeline.sets.emphasis import Grade

INK, SOFT, LINE, PAPER = "#1f2328", "#5f656d", "#c6c5bf", "#ffffff"
ONE, OTHER = "#0072b2", "#d55e00"
GOOD_BAND, POOR_BAND = "#d9ece3", "#f7e4d8"
POINTS_PER_INCH = 72.0
WIDTH_IN = 4.7
LETTERS = 8.5

MOST_DOTS = 90
"""More values than this are a histogram."""

MARK: Mapping[Grade, tuple[str, str, str]] = MappingProxyType(
    {
        Grade.GOOD: ("o", ONE, ONE),
        Grade.FAIR: ("o", "none", ONE),
        Grade.POOR: ("v", OTHER, OTHER),
        Grade.UNKNOWN: ("x", SOFT, SOFT),
    }
)
"""Marker, fill and edge by grade."""

FONT_FOLDER = Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def printable(text: str) -> str:
    """Text with a box in the place of every letter that the font lacks."""
    known = _letters()
    return "".join(letter if ord(letter) in known or letter.isspace() else "\u25a1" for letter in text)


_KNOWN: list[frozenset[int]] = []


def _letters() -> frozenset[int]:
    if not _KNOWN:
        font = get_font(str(FONT_FOLDER / "DejaVuSans.ttf"))
        _KNOWN.append(frozenset(font.get_charmap()))
    return _KNOWN[0]


def new_figure(
    height_in: float, width_in: float = WIDTH_IN, rows: int = 1, columns: int = 1
) -> tuple[Figure, list[Axes]]:
    """A figure with plain axes."""
    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasSVG(figure)
    axes = figure.subplots(rows, columns, squeeze=False)
    found = [axis for row in axes for axis in row]
    for axis in found:
        for side in ("top", "right", "left"):
            axis.spines[side].set_visible(False)
        axis.spines["bottom"].set_color(SOFT)
        axis.tick_params(colors=INK, labelsize=LETTERS, length=3)
        axis.set_facecolor("none")
    return figure, found


def chart_of(figure: Figure, alt: str) -> Chart:
    """A figure as a chart."""
    stream = io.StringIO()
    figure.savefig(stream, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    width, height = figure.get_size_inches() * POINTS_PER_INCH
    return Chart(_plain(stream.getvalue()), alt, float(width), float(height))


def _plain(svg: str) -> str:
    """The drawing alone, with names that count up, so that the same figure gives the same text."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"\s*<metadata>.*?</metadata>|\s*<defs>\s*<style.*?</defs>", "", svg, flags=re.DOTALL)
    svg = svg.replace("<svg ", '<svg stroke-linejoin="round" stroke-linecap="butt" ', 1)
    svg = re.sub(r' style="([^"]*)"', _attributes, svg)
    names: dict[str, str] = {}
    for name in re.findall(r'\bid="([^"]+)"', svg):
        names.setdefault(name, f"c{len(names)}")
    svg = re.sub(r'\bid="([^"]+)"', lambda m: f'id="{names[m[1]]}"', svg)
    svg = re.sub(r"url\(#([^)]+)\)", lambda m: f"url(#{names.get(m[1], m[1])})", svg)
    return re.sub(r'xlink:href="#([^"]+)"', lambda m: f'xlink:href="#{names.get(m[1], m[1])}"', svg)


def _attributes(style: re.Match[str]) -> str:
    """A style as attributes, which a strict content policy lets through."""
    pairs = [part.split(":", 1) for part in style[1].split(";") if ":" in part]
    return "".join(f' {name.strip()}="{value.strip()}"' for name, value in pairs)


def label(axis: Axes, text: str, longest: int = 66) -> None:
    """What the axis measures, in lines no longer than so many letters."""
    lines = "\n".join(textwrap.wrap(printable(text), longest))
    axis.set_xlabel(lines, color=INK, fontsize=LETTERS, parse_math=False)


def names_beside(axis: Axes, places: Sequence[float], names: Sequence[str]) -> None:
    """Names of rows at the left."""
    axis.set_yticks(list(places))
    axis.set_yticklabels([printable(name) for name in names], color=INK, fontsize=LETTERS, parse_math=False)
    axis.tick_params(axis="y", length=0)


def limits(values: np.ndarray, edges: Sequence[float]) -> tuple[float, float]:
    """Where an axis begins and ends: all values, and the edges of ranges that are not far off."""
    low, high = (float(values.min()), float(values.max())) if len(values) else (np.inf, -np.inf)
    reach = max(high - low, 1e-9) if len(values) else np.inf
    near = [
        edge
        for edge in edges
        if np.isfinite(edge) and (not len(values) or low - 1.5 * reach <= edge <= high + 1.5 * reach)
    ]
    low, high = min([low, *near]), max([high, *near])
    pad = max(0.07 * (high - low), 0.02 * abs(high)) if high > low else max(0.02 * abs(high), 0.5)
    return low - pad, high + pad


def bands(axis: Axes, good: Sequence[Range], poor: Sequence[Range]) -> None:
    """The good and the poor range behind everything, each with its word; the axis has its limits already."""
    left, right = axis.get_xlim()
    bottom, top = axis.get_ylim()
    for ranges, colour, word in ((good, GOOD_BAND, "good"), (poor, POOR_BAND, "poor")):
        for one in ranges:
            low, high = max(one.low, left), min(one.high, right)
            if high <= low:
                continue
            axis.fill_between([low, high], bottom, top, color=colour, linewidth=0, zorder=0)
            if word == "poor":
                _hatch(axis, (low, high), (bottom, top))
            axis.plot([low, high], [top, top], color=INK, linewidth=2.2 if word == "good" else 0.9, zorder=1,
                      linestyle="-" if word == "good" else (0, (1.5, 1.5)), solid_capstyle="butt")  # fmt: skip
            if high - low > 0.09 * (right - left):
                axis.annotate(word, ((low + high) / 2, top), xytext=(0, 2.5), textcoords="offset points", ha="center",
                              va="bottom", fontsize=LETTERS, color=INK, annotation_clip=False)  # fmt: skip


def _hatch(axis: Axes, across: tuple[float, float], up: tuple[float, float]) -> None:
    """Slanted lines over a box, drawn one by one: patterns do not come through everywhere."""
    left, right = axis.get_xlim()
    step, rise = (right - left) / 46, up[1] - up[0]
    run = 3 * step  # across, over the box's whole height
    at = across[0] - run
    while at < across[1]:
        x = np.array([at, at + run])
        cut = np.clip(x, *across)
        y = up[0] + (cut - at) / run * rise
        if cut[1] > cut[0]:
            axis.plot(cut, y, color="#dcb69c", linewidth=0.6, zorder=0.5, solid_capstyle="butt")
        at += step


def stacked(values: np.ndarray, span: tuple[float, float], columns: int = 62) -> np.ndarray:
    """Heights of dots so that those of nearly one value stand on each other, in order of the values given."""
    place = np.floor((values - span[0]) / (span[1] - span[0]) * columns).astype(int)
    heights = np.zeros(len(values))
    filled: dict[int, int] = {}
    for n in np.argsort(values, kind="stable"):
        heights[n] = filled.get(int(place[n]), 0)
        filled[int(place[n])] = int(heights[n]) + 1
    return heights


def interval_bar(axis: Axes, at: float, value: float, low: float, high: float, colour: str = INK) -> None:
    """A value as a diamond on a bar from low to high with ends."""
    if np.isfinite(low) and np.isfinite(high):
        axis.plot([low, high], [at, at], color=colour, linewidth=1.6, zorder=4, solid_capstyle="butt")
        axis.plot([low, high], [at, at], linestyle="none", marker="|", markersize=7, color=colour, zorder=4)
    axis.plot([value], [at], linestyle="none", marker="D", markersize=5.5, color=colour, markeredgecolor=PAPER,
              markeredgewidth=0.6, zorder=5)  # fmt: skip
