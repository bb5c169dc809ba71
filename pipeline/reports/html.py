"""A report as one HTML file: no script, nothing fetched, light and dark, and a print sheet of its own."""

from __future__ import annotations

import base64
import hashlib
import itertools
import re
from functools import lru_cache
from html import escape
from importlib.resources import files

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from pipeline.reports.charts import GOOD_BAND, INK, LINE, ONE, OTHER, PAPER, POOR_BAND, SOFT
from pipeline.reports.document import Chart, Document, DrawnFrame, Still
from pipeline.sets.ink import as_svg

_COLOURS = {
    INK: "ink",
    SOFT: "soft",
    LINE: "chartline",
    PAPER: "paper",
    ONE: "one",
    OTHER: "other",
    GOOD_BAND: "good",
    POOR_BAND: "poor",
    "#dcb69c": "hatch",
}
"""Colours of charts by the name that the style sheet knows them by, light and dark."""


def as_html(document: Document) -> str:
    """The report as the text of one HTML file."""
    counter = itertools.count()

    def inline(chart: Chart) -> Markup:
        return Markup(_inline(chart, f"k{next(counter)}"))  # our own drawing, its texts escaped

    template = _environment().from_string(_text("report.html"))
    return template.render(
        document=document,
        style=Markup(style()),  # our own style sheet
        kind_of=lambda block: type(block).__name__,
        inline=inline,
        drawn=_drawn,
        picture=_picture,
    )


def style() -> str:
    """The style sheet inside every report."""
    return _text("report.css")


def style_digest() -> str:
    """What a content security policy calls that style sheet: ``sha256-…``."""
    return "sha256-" + base64.b64encode(hashlib.sha256(style().encode()).digest()).decode()


@lru_cache(maxsize=1)
def _environment() -> Environment:
    return Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)


@lru_cache
def _text(name: str) -> str:
    return (files("pipeline.reports") / "templates" / name).read_text(encoding="utf-8")


def _inline(chart: Chart, prefix: str) -> str:
    """A chart's drawing inside the page: names of its own, colours of the page, a name for who does not see it."""
    svg = re.sub(r'\bid="', f'id="{prefix}', chart.svg)
    svg = svg.replace("url(#", f"url(#{prefix}").replace('xlink:href="#', f'xlink:href="#{prefix}')
    for colour, name in _COLOURS.items():
        svg = svg.replace(f'"{colour}"', f'"var(--{name})"')
    return svg.replace("<svg ", f'<svg role="img" aria-label="{escape(chart.alt)}" ', 1)


def _drawn(frame: DrawnFrame) -> Markup:
    svg = as_svg(frame.page).replace("<svg ", f'<svg role="img" aria-label="{escape(frame.caption)}" ', 1)
    return Markup(svg)  # our own drawing, its texts escaped


def _picture(still: Still) -> str:
    return f"data:image/png;base64,{base64.b64encode(still.png).decode()}"
