"""A set on one sheet: title, frames in rows, endings and counters below."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path as FilePath

import numpy as np

from pipeline.court.attack_frame import to_attack
from pipeline.court.geometry import board_corners_ft, markings
from pipeline.court.rule_books import NBA, RuleBook
from pipeline.sets.definition import SetDefinition
from pipeline.sets.frames import Drawn, frames_of
from pipeline.sets.ink import Anchor, Disc, Mark, Page, Path, Words, as_picture, as_svg, words_width, wrapped
from pipeline.sets.moving import Sign, Stroke
from pipeline.sets.signs import CIRCLE_FT, INK, stroke_marks

PX_PER_FT = 6.4
DEPTH_FT = 38.0
"""How far from the baseline a frame shows the floor."""

KEY_FT, KEY_PX = 13.0, 4.4
"""Length of the lines that explain the signs, and their scale."""

ACROSS = 3
"""Frames in a row."""

GAP, MARGIN = 26, 34
_LINES, _PAPER, _GREY = "#b9b3a6", "#fbf8f1", "#5c5c5c"
_TEXT, _HEAD, _TITLE = 13.0, 13.5, 24.0


def sheet_of(definition: SetDefinition, book: RuleBook = NBA) -> Page:
    """The whole set on one page."""
    frames = frames_of(definition)
    wide = round(book.width_ft * PX_PER_FT)
    tall = round(DEPTH_FT * PX_PER_FT)
    width = 2 * MARGIN + ACROSS * wide + (ACROSS - 1) * GAP
    marks: list[Mark] = []
    y = float(MARGIN) + _TITLE
    marks.append(Words((MARGIN, y), definition.title, _TITLE, INK, bold=True))
    y += 10
    for text in wrapped(definition.says, _TEXT + 1, width - 2 * MARGIN):
        y += 19
        marks.append(Words((MARGIN, y), text, _TEXT + 1, INK))
    y += 30
    marks += key_marks(MARGIN, y)
    y += 22
    number = 0
    for row in _rows(frames):
        lines = [wrapped(frame.caption, _TEXT, wide - 34) for frame in row]
        heads = any(frame.head for frame in row)
        top = y + (26 if heads else 8)
        for column, (frame, caption) in enumerate(zip(row, lines, strict=True)):
            number += 1
            x = MARGIN + column * (wide + GAP)
            if frame.head and (column == 0 or row[column - 1].head != frame.head):
                marks += [
                    Words((x, top - 9), one, _HEAD, INK, bold=True) for one in wrapped(frame.head, _HEAD, wide)[:1]
                ]
            marks += frame_marks(frame, (x, top), book)
            marks.append(Words((x + 2, top + tall + 19), f"{number}.", _TEXT + 1, INK, bold=True))
            for count, text in enumerate(caption):
                marks.append(Words((x + 26, top + tall + 19 + 17 * count), text, _TEXT, INK))
        y = top + tall + 12 + 17 * max(1, *(len(caption) for caption in lines)) + 14
    marks.append(Words((MARGIN, y + 12), f"Source: {definition.source}", 11.0, _GREY))
    return Page(width, round(y + 12 + MARGIN * 0.7), tuple(marks))


def write_sheet(definition: SetDefinition, folder: FilePath, book: RuleBook = NBA) -> tuple[FilePath, FilePath]:
    """Write ``NAME.svg`` and ``NAME.png``; their paths."""
    page = sheet_of(definition, book)
    folder.mkdir(parents=True, exist_ok=True)
    svg, png = folder / f"{definition.name}.svg", folder / f"{definition.name}.png"
    svg.write_text(as_svg(page), encoding="utf-8")
    as_picture(page).save(png)
    return svg, png


def frame_marks(frame: Drawn, corner: tuple[float, float], book: RuleBook = NBA) -> list[Mark]:
    """One frame: the floor, the lines, the players on top.

    Parameters
    ----------
    frame : Drawn
    corner : (x, y)
        Of its upper left corner on the page. The ring is at the top; the right is where someone who faces the ring has
        it.
    """

    def on_page(uv: np.ndarray) -> np.ndarray:
        uv = np.asarray(uv, dtype=float)
        x = corner[0] + (uv[:, 1] + book.width_ft / 2) * PX_PER_FT
        y = corner[1] + (uv[:, 0] + book.ring_to_baseline_ft) * PX_PER_FT
        return np.column_stack([x, y])

    wide, tall = book.width_ft * PX_PER_FT, DEPTH_FT * PX_PER_FT
    box = ((0, 0), (wide, 0), (wide, tall), (0, tall))
    marks: list[Mark] = [Path(tuple((corner[0] + x, corner[1] + y) for x, y in box), _PAPER, filled=True)]
    marks += floor_marks(on_page, book, PX_PER_FT, DEPTH_FT)
    for stroke in frame.strokes:
        marks += stroke_marks(stroke, on_page, 1.7)
    for number, place in frame.places:
        (x, y), *_ = on_page(np.array([place])).tolist()
        ball = number == frame.holder
        radius = CIRCLE_FT * PX_PER_FT
        marks.append(Disc((x, y), radius, INK if ball else "#ffffff", INK, 1.6))
        marks.append(Words((x, y), str(number), 15.0, "#ffffff" if ball else INK, Anchor.MIDDLE, bold=True))
    return marks


def floor_marks(
    on_page: Callable[[np.ndarray], np.ndarray], book: RuleBook, px_per_ft: float, depth_ft: float
) -> list[Mark]:
    """The floor's lines, board and ring, to a depth from the baseline; ``on_page`` takes points in the attack frame."""
    kinds = {"sideline", "baseline", "lane", "free_throw_line", "free_throw_circle", "three_point", "restricted"}
    marks: list[Mark] = []
    deepest = depth_ft - book.ring_to_baseline_ft
    for marking in markings(book):
        if marking.kind not in kinds:
            continue
        points = np.vstack([marking.points_ft, marking.points_ft[:1]]) if marking.closed else marking.points_ft
        uv = to_attack(_refined(points), book, "left")
        inside = uv[:, 0] <= deepest
        for part in np.split(np.arange(len(uv)), np.flatnonzero(np.diff(inside.astype(int)) != 0) + 1):
            if inside[part[0]] and len(part) > 1:
                marks.append(Path(tuple((float(x), float(y)) for x, y in on_page(uv[part])), _LINES, 1.3))
    board = to_attack(board_corners_ft(book, "left")[:2, :2], book, "left")
    marks.append(Path(tuple((float(x), float(y)) for x, y in on_page(board)), "#7a7468", 2.4))
    (x, y), *_ = on_page(np.zeros((1, 2))).tolist()
    marks.append(Disc((x, y), book.ring_radius_ft * px_per_ft, _PAPER, "#7a7468", 1.8))
    return marks


def _refined(points: np.ndarray) -> np.ndarray:
    """The same line with a point every foot, so that it can be cut off."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    reached = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.union1d(reached, np.arange(0.0, reached[-1], 1.0))
    return np.column_stack([np.interp(at, reached, points[:, axis]) for axis in (0, 1)])


def _rows(frames: tuple[Drawn, ...]) -> list[list[Drawn]]:
    """Rows of the sheet: the main line first; endings and counters start rows of their own."""
    rows: list[list[Drawn]] = []
    kind = None
    for frame in frames:
        own = frame.head.split(":")[0]
        if not rows or own != kind or len(rows[-1]) == ACROSS:
            rows.append([])
        rows[-1].append(frame)
        kind = own
    return rows


def key_marks(x: float, y: float, grey: str = "may be left out") -> list[Mark]:
    """What the lines mean, in one row from a point on; ``grey`` says what grey ones are."""
    marks: list[Mark] = []
    for sign, word in (
        (Sign.CUT, "cut"),
        (Sign.PASS, "pass"),
        (Sign.DRIBBLE, "dribble"),
        (Sign.SCREEN, "screen"),
        (Sign.SHOT, "shot"),
    ):
        reach = KEY_FT + (CIRCLE_FT if sign is Sign.PASS else 0.0)  # a pass stops short of the receiver's circle

        def on_page(points: np.ndarray, left: float = x) -> np.ndarray:
            return np.column_stack([left + (points[:, 0] - CIRCLE_FT) * KEY_PX, y - 5 + points[:, 1] * KEY_PX])

        marks += stroke_marks(Stroke(sign, ((0.0, 0.0), (reach, 0.0))), on_page, 1.5)
        x += (KEY_FT - CIRCLE_FT) * KEY_PX + 9
        marks.append(Words((x, y), word, _TEXT, _GREY))
        x += words_width(word, _TEXT) + 24
    marks.append(Disc((x + 8, y - 5), 8.0, INK, INK, 1.6))
    marks.append(Words((x + 22, y), "has the ball", _TEXT, _GREY))
    x += 22 + words_width("has the ball", _TEXT) + 24
    marks.append(Words((x, y), f"grey: {grey}", _TEXT, _GREY))
    return marks
