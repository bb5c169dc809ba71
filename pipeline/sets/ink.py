"""Lines, discs and words on a page, written as SVG or as a PNG from the same list."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path as FilePath

import matplotlib
from PIL import Image, ImageDraw, ImageFont

Point = tuple[float, float]

FINER = 3
"""A PNG is drawn this much larger and scaled down, for smooth edges."""


class Anchor(StrEnum):
    """Which part of a line of words stands at its point."""

    START = "start"
    MIDDLE = "middle"


@dataclass(frozen=True, slots=True)
class Path:
    """An open line, or a closed one filled."""

    points: tuple[Point, ...]
    colour: str
    width: float = 1.0
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle with an outline."""

    centre: Point
    radius: float
    fill: str
    colour: str
    width: float


@dataclass(frozen=True, slots=True)
class Words:
    """One line of words; the point lies on the baseline, or in the middle of it for numbers."""

    at: Point
    text: str
    size: float
    colour: str
    anchor: Anchor = Anchor.START
    bold: bool = False


Mark = Path | Disc | Words


@dataclass(frozen=True, slots=True)
class Page:
    """Marks on white paper, in pixels."""

    width: int
    height: int
    marks: tuple[Mark, ...]


def as_svg(page: Page) -> str:
    """The page as an SVG file's text."""
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{page.width}" height="{page.height}" '
        f'viewBox="0 0 {page.width} {page.height}" font-family="Helvetica, Arial, sans-serif">',
        f'<rect width="{page.width}" height="{page.height}" fill="#ffffff"/>',
    ]
    lines += [_svg(mark) for mark in page.marks]
    return "\n".join([*lines, "</svg>"]) + "\n"


def as_picture(page: Page) -> Image.Image:
    """The page as a picture."""
    large = Image.new("RGB", (page.width * FINER, page.height * FINER), "#ffffff")
    pen = ImageDraw.Draw(large)
    for mark in page.marks:
        if isinstance(mark, Path):
            _draw_path(pen, mark)
        elif isinstance(mark, Disc):
            (x, y), r = mark.centre, mark.radius
            box = tuple(FINER * value for value in (x - r, y - r, x + r, y + r))
            pen.ellipse(box, fill=mark.fill, outline=mark.colour, width=round(mark.width * FINER))
        else:
            _draw_words(pen, mark)
    return large.resize((page.width, page.height), Image.Resampling.LANCZOS)


def words_width(text: str, size: float) -> float:
    """How wide a line of words comes out, in pixels."""
    return float(_font(text, size * FINER).getlength(text)) / FINER


def wrapped(text: str, size: float, width: float) -> list[str]:
    """Words broken into lines no wider than ``width``; a longer single word stays whole."""
    lines: list[str] = []
    for word in text.split():
        if lines and words_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _font(text: str, size: float) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Pillow's own letters, or where they lack some (they know little beside English) matplotlib's."""
    if text.isascii():
        return ImageFont.load_default(size)
    return ImageFont.truetype(FilePath(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf", round(size))


def _draw_path(pen: ImageDraw.ImageDraw, path: Path) -> None:
    points = [(x * FINER, y * FINER) for x, y in path.points]
    if path.filled:
        pen.polygon(points, fill=path.colour)
        return
    width = max(1, round(path.width * FINER))
    pen.line(points, fill=path.colour, width=width, joint="curve")
    for x, y in (points[0], points[-1]):  # round ends
        r = width / 2
        pen.ellipse((x - r, y - r, x + r, y + r), fill=path.colour)


def _draw_words(pen: ImageDraw.ImageDraw, words: Words) -> None:
    font = _font(words.text, words.size * FINER)
    anchor = "mm" if words.anchor is Anchor.MIDDLE else "ls"
    at = (words.at[0] * FINER, words.at[1] * FINER)
    stroke = round(0.02 * words.size * FINER) if words.bold else 0
    pen.text(at, words.text, fill=words.colour, font=font, anchor=anchor, stroke_width=stroke, stroke_fill=words.colour)


def _svg(mark: Mark) -> str:
    if isinstance(mark, Disc):
        return (
            f'<circle cx="{mark.centre[0]:.1f}" cy="{mark.centre[1]:.1f}" r="{mark.radius:.1f}" fill="{mark.fill}" '
            f'stroke="{mark.colour}" stroke-width="{mark.width:.1f}"/>'
        )
    if isinstance(mark, Words):
        weight = ' font-weight="bold"' if mark.bold else ""
        middle = ' text-anchor="middle" dominant-baseline="central"' if mark.anchor is Anchor.MIDDLE else ""
        return (
            f'<text x="{mark.at[0]:.1f}" y="{mark.at[1]:.1f}" font-size="{mark.size:.1f}" fill="{mark.colour}"'
            f"{weight}{middle}>{html.escape(mark.text)}</text>"
        )
    points = _points(mark.points)
    if mark.filled:
        return f'<polygon points="{points}" fill="{mark.colour}"/>'
    return (
        f'<polyline points="{points}" fill="none" stroke="{mark.colour}" stroke-width="{mark.width:.1f}" '
        'stroke-linecap="round" stroke-linejoin="round"/>'
    )


def _points(points: Sequence[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
