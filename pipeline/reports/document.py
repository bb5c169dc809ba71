"""A report as it is laid out, before it becomes HTML or PDF: a title, blocks in order, a footer."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pipeline.sets.ink import Page


class Tone(StrEnum):
    """How a remark is set."""

    PLAIN = "plain"
    CAUTION = "caution"


class Align(StrEnum):
    """Where a column's text stands."""

    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class Heading:
    """The head of a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph."""

    text: str


@dataclass(frozen=True, slots=True)
class Remark:
    """A paragraph that must not be overlooked."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Facts:
    """Numbers with what they are, side by side."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table."""

    head: str
    align: Align = Align.LEFT
    weight: float = 1.0
    """Share of the width on paper."""


@dataclass(frozen=True, slots=True)
class Grid:
    """A table."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawn chart.

    Attributes
    ----------
    svg : str
        From :mod:`pipeline.reports.charts`.
    alt : str
        What it shows, for who does not see it.
    width, height : float
        In points.
    """

    svg: str
    alt: str
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Card:
    """Something with a title, perhaps a chart, and lines that belong to it; never broken across pages."""

    title: str
    chart: Chart | None
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cards:
    """Cards in a row, as many as fit."""

    cards: tuple[Card, ...]


@dataclass(frozen=True, slots=True)
class DrawnFrame:
    """One drawing with its head, which may be empty, and its caption."""

    page: Page
    head: str
    caption: str


@dataclass(frozen=True, slots=True)
class Drawings:
    """Drawings in rows."""

    alt: str
    frames: tuple[DrawnFrame, ...]


@dataclass(frozen=True, slots=True)
class Still:
    """A picture with what is said of it; ``png`` may be a drawing of the floor where there is no film."""

    png: bytes
    alt: str
    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stills:
    """Pictures side by side."""

    stills: tuple[Still, ...]


Block = Heading | Text | Remark | Facts | Grid | Chart | Cards | Drawings | Stills


@dataclass(frozen=True, slots=True)
class Document:
    """A report.

    Attributes
    ----------
    title, subtitle : str
    blocks : tuple of Block
    footer : tuple of str
        Methods and cautions.
    """

    title: str
    subtitle: str
    blocks: tuple[Block, ...]
    footer: tuple[str, ...]


CAUTIONS = (
    "For coaching only: not for medical, betting or disciplinary decisions.",
    "The film and what is made from it may show minors and belongs to others: get consent and rights, follow local "
    "law, and pass this page on only within the club.",
)
"""At the foot of every report."""
