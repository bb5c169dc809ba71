"""A tag moving on a half court: GIF and MP4 from where everybody was, for games with and without film."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from pipeline.clips.captions import at_most
from pipeline.clips.half_court_page import (
    BALL,
    LETTER,
    HalfCourt,
    count_marks,
    crowd_marks,
    label_marks,
    names_of,
    player_marks,
    teaching_marks,
)
from pipeline.clips.lesson import CROWD, Lesson
from pipeline.clips.lettering import size_of, wrapped, write
from pipeline.clips.marks import Sort
from pipeline.clips.settings import ClipSettings, Colour
from pipeline.clips.writing import Part, Progress, Shape, Timed, write_film, write_whole
from pipeline.sets.ink import Anchor, Disc, Mark
from pipeline.sets.ink import Path as InkPath
from pipeline.sets.signs import INK

GIF_RATE, FILM_RATE = Fraction(25, 2), Fraction(25)
GIF_COLOURS = 64
SHAPE = 0.86
"""Width over height of a moving diagram."""

MARGIN_SHARE = 0.02
WHITE = (255, 255, 255)
TITLE: Colour = (27, 27, 27)
SOFT: Colour = (92, 92, 92)
STEP: Colour = (150, 70, 0)
SHIFT = 4


def moving_pictures(
    lesson: Lesson, below: str, size_px: tuple[int, int], rate: Fraction, *, hold_s: float
) -> Iterator[Timed]:
    """The tag from above, picture by picture, the moment held for a while.

    Parameters
    ----------
    lesson : Lesson
    below : str
        Where it is from.
    size_px : (width, height)
    rate : Fraction
        Pictures a second.
    hold_s : float
    """
    board = _Board(lesson, below, size_px)
    start_s, end_s = stretch(lesson)
    moment_s = lesson.tag.candidate.t_s
    held = round(hold_s * rate)
    number = 0
    for count in range(max(1, math.floor((end_s - start_s) * rate))):
        t_s = start_s + float(count / rate)
        if held and t_s >= moment_s:
            still = board.picture(moment_s, held=True)
            for _ in range(held):
                yield float(number / rate), still
                number += 1
            held = 0
        yield float(number / rate), board.picture(t_s)
        number += 1


def stretch(lesson: Lesson) -> tuple[float, float]:
    """Film time that is shown: the tag with a little before and after, as far as anybody is known."""
    before_s, after_s = min(2.0, lesson.settings.before_s), min(1.5, lesson.settings.after_s)
    start_s, end_s = lesson.start_s - before_s, lesson.end_s + after_s
    if end_s - start_s > lesson.settings.longest_s:
        start_s = max(start_s, lesson.tag.candidate.t_s - 0.6 * lesson.settings.longest_s)
        end_s = min(end_s, start_s + lesson.settings.longest_s)
    known = [t for t in np.arange(start_s, end_s, 0.1) if lesson.playback.bodies(float(t))]
    return (float(known[0]), float(known[-1]) + 0.1) if known else (lesson.start_s, lesson.end_s + 0.1)


def length_s(lesson: Lesson, rate: Fraction, *, hold_s: float) -> float:
    """How long the moving diagram is."""
    start_s, end_s = stretch(lesson)
    count = max(1, math.floor((end_s - start_s) * rate))
    reached = start_s + float((count - 1) / rate) >= lesson.tag.candidate.t_s
    return float((count + (round(hold_s * rate) if reached else 0)) / rate)


def write_moving(
    lesson: Lesson, below: str, out: Path, settings: ClipSettings, progress: Progress | None = None
) -> None:
    """Write the moving diagram as an MP4 without sound."""
    height = settings.diagram_height_px // 2 * 2
    size = round(SHAPE * height / 2) * 2, height
    whole_s = length_s(lesson, FILM_RATE, hold_s=settings.freeze_s)
    pictures = moving_pictures(lesson, below, size, FILM_RATE, hold_s=settings.freeze_s)
    told = None if progress is None else lambda done_s: progress(min(done_s, whole_s), whole_s)
    write_film(out, [Part(whole_s, pictures)], Shape(*size, FILM_RATE, has_sound=False), settings, told)


def write_gif(lesson: Lesson, below: str, out: Path, progress: Progress | None = None) -> None:
    """Write the moving diagram as a GIF that plays again and again."""
    settings = lesson.settings
    height = settings.diagram_height_px * 2 // 3
    size = round(SHAPE * height), height
    whole_s = length_s(lesson, GIF_RATE, hold_s=settings.freeze_s)
    frames = []
    board = _Board(lesson, below, size)
    moment_s = lesson.tag.candidate.t_s
    told = [board.picture(t_s, held=held) for t_s, held in ((moment_s, True), (moment_s - 0.5, False))]
    # Its colours are those of the moment, when everything is there that is ever drawn.
    palette = _image(np.vstack(told)).quantize(GIF_COLOURS, dither=Image.Dither.NONE)
    for at_s, picture in moving_pictures(lesson, below, size, GIF_RATE, hold_s=settings.freeze_s):
        frames.append(_image(picture).quantize(palette=palette, dither=Image.Dither.NONE))
        if progress is not None:
            progress(min(at_s, whole_s), whole_s)
    sink = io.BytesIO()
    frames[0].save(
        sink, "GIF", save_all=True, append_images=frames[1:], duration=round(1000 / GIF_RATE), loop=0, optimize=False
    )
    write_whole(sink.getvalue(), out)


def _image(picture: np.ndarray) -> Image.Image:
    return Image.fromarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB))


class _Board:
    """Draws single pictures; the floor and the words that stay are drawn once."""

    def __init__(self, lesson: Lesson, below: str, size_px: tuple[int, int]) -> None:
        width, height = size_px
        self._lesson = lesson
        margin = round(MARGIN_SHARE * height)
        depth_ft = lesson.book.length_ft / 2
        head = round(0.155 * height)
        foot = round(0.045 * height)
        unit = min((width - 2 * margin) / lesson.book.width_ft, (height - head - foot - margin) / depth_ft)
        left = (width - unit * lesson.book.width_ft) / 2
        self._court = HalfCourt(lesson.book, lesson.end, (left, head), unit, depth_ft)
        self._names = names_of(lesson, lesson.playback.bodies(lesson.tag.candidate.t_s))
        self._text_px = 0.017 * height
        self._left = round(left)
        self._room = unit * lesson.book.width_ft
        self._height = height
        ground = np.full((height, width, 3), 255, dtype=np.uint8)
        ink(ground, self._court.empty())
        big, small = 1.45 * self._text_px, self._text_px
        y = 0.6 * big
        for text in at_most(wrapped(lesson.told.title, big, self._room, bold=True), 1):
            y += 1.5 * big
            write(ground, text, (self._left, y), big, TITLE, bold=True)
        for text in at_most(wrapped(lesson.told.said, small, self._room), 2):
            y += 1.75 * small
            write(ground, text, (self._left, y), small, TITLE)
        self._step_y = head - 0.55 * small
        write(ground, below, (self._left, height - 0.9 * small), 0.85 * small, SOFT)
        self._ground = ground

    def picture(self, t_s: float, *, held: bool = False) -> np.ndarray:
        """Everybody at a film time, (H, W, 3) uint8 BGR."""
        lesson, court = self._lesson, self._court
        picture = self._ground.copy()
        bodies = lesson.playback.bodies(t_s)
        taught = lesson.marks(t_s, held=held)
        if lesson.in_paint:
            ink(picture, [*crowd_marks(lesson, court), *court.empty()[1:]])
        shown = (Sort.WALKED, Sort.AHEAD, Sort.PASS, Sort.SCREEN, Sort.MEASURED, Sort.FLOOR)
        ink(picture, teaching_marks(taught, court, shown))
        if lesson.in_paint or held:
            counted = [track for role, track in lesson.tag.actors if role in CROWD]
            if held or abs(t_s - lesson.tag.candidate.t_s) < 1.0:
                ink(picture, count_marks(lesson, court, bodies, counted))
        holder = lesson.playback.holder(t_s)
        ink(picture, player_marks(lesson, court, bodies, self._names, holder))
        ball = lesson.playback.ball_ft(t_s)
        if ball is not None and holder < 0:
            x, y = court.of_court(np.array([ball]))[0]
            ink(picture, [Disc((float(x), float(y)), 0.75 * court.px_per_ft, BALL, INK, 0.15 * court.px_per_ft)])
        ink(picture, label_marks(taught, court, bodies, 1.9 * self._text_px / 1.45))
        now = f"{t_s - lesson.tag.candidate.t_s:+.1f} s"
        wide, _ = size_of(now, self._text_px)
        write(picture, now, (self._left + self._room - wide, self._step_y), self._text_px, SOFT)
        if taught.step:
            write(picture, taught.step, (self._left, self._step_y), self._text_px, STEP, bold=True)
        return picture


def ink(picture: np.ndarray, marks: list[Mark]) -> None:
    """Put marks on a picture in place; what :func:`pipeline.sets.ink.as_picture` does, fast enough for film."""
    for mark in marks:
        if isinstance(mark, InkPath):
            points = [np.round(np.array(mark.points) * (1 << SHIFT)).astype(np.int32)]
            colour = _bgr(mark.colour)
            if mark.filled:
                cv2.fillPoly(picture, points, colour, cv2.LINE_AA, shift=SHIFT)
            else:
                thick = max(1, round(mark.width))
                cv2.polylines(picture, points, False, colour, thick, cv2.LINE_AA, shift=SHIFT)  # noqa: FBT003
        elif isinstance(mark, Disc):
            centre = tuple(round(v * (1 << SHIFT)) for v in mark.centre)
            for radius, colour in (
                (mark.radius + mark.width / 2, _bgr(mark.colour)),
                (mark.radius - mark.width / 2, _bgr(mark.fill)),
            ):
                cv2.circle(picture, centre, round(radius * (1 << SHIFT)), colour, cv2.FILLED, cv2.LINE_AA, shift=SHIFT)
        else:
            text_px = LETTER * mark.size
            x, y = mark.at
            if mark.anchor is Anchor.MIDDLE:
                x -= size_of(mark.text, text_px, bold=mark.bold)[0] / 2
                y += text_px / 2
            blue, green, red = _bgr(mark.colour)
            write(picture, mark.text, (x, y), text_px, (red, green, blue), bold=mark.bold)


def _bgr(colour: str) -> tuple[int, int, int]:
    return int(colour[5:7], 16), int(colour[3:5], 16), int(colour[1:3], 16)
