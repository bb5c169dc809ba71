"""What happened in a tag as numbered half-court frames on one sheet, with the trade's signs."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.clips.half_court_page import (
    HalfCourt,
    count_marks,
    crowd_marks,
    label_marks,
    names_of,
    player_marks,
    teaching_marks,
)
from pipeline.clips.half_court_signs import strokes_between
from pipeline.clips.lesson import CROWD, SCREENS, THROWN, Lesson
from pipeline.clips.marks import Sort
from pipeline.sets.ink import Mark, Page, Words, wrapped
from pipeline.sets.sheet import key_marks
from pipeline.sets.signs import INK, stroke_marks

PX_PER_FT = 7.4
DEPTH_FT = 44.0
ACROSS = 3
"""Frames in a row."""

GAP, MARGIN, LEAST_WIDTH = 26, 34, 870
GREY = "#5c5c5c"
TEXT, HEAD, TITLE = 13.5, 14.5, 24.0
ROOM_SHARE = 0.88
"""Lines of words are broken before the edge: a browser's letters are wider than those measured here."""

LEAST_FRAME_S = 0.5
"""Phases that begin within this of each other share a frame."""

LEAD_S = 3.0
"""Of something without phases the first frame shows at least this much before its moment."""


PART_S = 1.8
"""A frame on the way to the moment shows at least this much."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame: what happens between two film times, or everybody at one moment.

    Attributes
    ----------
    head : str
    from_s, to_s : float
        The same for a moment.
    """

    head: str
    from_s: float
    to_s: float


def frames_of_tag(lesson: Lesson) -> tuple[Frame, ...]:
    """A frame for each phase of a set; of anything else the way to its moment, the moment, and what came of it."""
    moment_s = lesson.tag.candidate.t_s
    if lesson.told.steps:
        groups: list[list[int]] = []
        steps = sorted(lesson.told.steps, key=lambda step: step.start_s)
        for number, step in enumerate(steps):
            if groups and step.start_s - steps[groups[-1][0]].start_s < LEAST_FRAME_S:
                groups[-1].append(number)
            else:
                groups.append([number])
        starts = [steps[group[0]].start_s for group in groups]
        ends = [*starts[1:], max(step.end_s for step in steps)]
        heads = [", ".join(steps[number].name for number in group) for group in groups]
        starts[0] = min(starts[0], lesson.start_s)
        return tuple(Frame(*one) for one in zip(heads, starts, ends, strict=True) if one[2] - one[1] > 0.05)
    begin_s = min(lesson.start_s, moment_s - LEAD_S)
    frames = _parted(lesson, begin_s, moment_s)
    frames.append(Frame("the moment", moment_s, moment_s))
    if lesson.end_s - moment_s > 0.6:
        frames.append(Frame("after", moment_s, lesson.end_s))
    return tuple(frames)


def _parted(lesson: Lesson, from_s: float, to_s: float) -> list[Frame]:
    """The way to a moment in frames that end with a pass, a handoff or a screen, none shorter than can be read."""
    cuts = [from_s]
    for event in sorted(lesson.told.events, key=lambda event: event.end_s):
        ends_s = event.end_s if event.kind in THROWN else event.t_s
        if event.kind in (*THROWN, *SCREENS) and ends_s - cuts[-1] >= PART_S and to_s - ends_s >= 0.5 * PART_S:
            cuts.append(ends_s)
    cuts.append(to_s)
    pairs = itertools.pairwise(cuts)
    return [Frame("before" if first == from_s else "then", first, last) for first, last in pairs]


def sheet_of_tag(lesson: Lesson, below: str) -> Page:
    """The whole tag on one page; ``below`` says where it is from."""
    frames = frames_of_tag(lesson)
    wide, tall = round(lesson.book.width_ft * PX_PER_FT), round(DEPTH_FT * PX_PER_FT)
    across = min(ACROSS, max(2, len(frames)))
    width = max(LEAST_WIDTH, 2 * MARGIN + across * wide + (across - 1) * GAP)
    marks: list[Mark] = []
    y = MARGIN + TITLE
    marks.append(Words((MARGIN, y), lesson.told.title, TITLE, INK, bold=True))
    y += 8
    for text in wrapped(lesson.told.said, TEXT + 1, ROOM_SHARE * (width - 2 * MARGIN)):
        y += 19
        marks.append(Words((MARGIN, y), text, TEXT + 1, INK))
    y += 32
    marks += key_marks(MARGIN, y, "takes no part")
    y += 24
    names = names_of(lesson, lesson.playback.bodies(lesson.tag.candidate.t_s))
    for row in range(0, len(frames), across):
        for column, frame in enumerate(frames[row : row + across]):
            x = MARGIN + column * (wide + GAP)
            court = HalfCourt(lesson.book, lesson.end, (x, y), PX_PER_FT, DEPTH_FT)
            marks += frame_marks(lesson, frame, court, names)
            length_s = frame.to_s - frame.from_s
            told = f"{row + column + 1}. {frame.head[:1].upper()}{frame.head[1:]}"
            told += f", {length_s:.1f} s" if length_s else ""
            marks.append(Words((x + 2, y + tall + 20), told, HEAD, INK, bold=True))
        y += tall + 42
    legend = ", ".join(_legend(lesson, names))
    for text in wrapped(legend, TEXT, ROOM_SHARE * (width - 2 * MARGIN)):
        marks.append(Words((MARGIN, y), text, TEXT, INK))
        y += 18
    marks.append(Words((MARGIN, y + 4), f"{below}. Crosses defend.", 11.5, GREY))
    return Page(width, round(y + 4 + MARGIN * 0.7), tuple(marks))


def frame_marks(lesson: Lesson, frame: Frame, court: HalfCourt, names: dict[int, str]) -> list[Mark]:
    """One frame: the floor, what is told of it, everybody on top."""
    bodies = lesson.playback.bodies(frame.from_s)
    still = frame.to_s == frame.from_s
    taught = lesson.marks(frame.from_s, held=still)
    marks = court.empty()
    counted = [track for role, track in lesson.tag.actors if role in CROWD]
    if still and lesson.in_paint:
        marks[1:1] = crowd_marks(lesson, court)
    if still:
        marks += teaching_marks(taught, court, (Sort.MEASURED, Sort.FLOOR, Sort.PASS, Sort.SCREEN))
        marks += count_marks(lesson, court, bodies, counted)
    else:
        for stroke in strokes_between(lesson, frame.from_s, frame.to_s):
            marks += stroke_marks(stroke, court.on_page, 1.8)
    marks += player_marks(lesson, court, bodies, names, lesson.playback.holder(frame.from_s))
    if still:
        marks += label_marks(taught, court, bodies, 13.0)
    return marks


def _legend(lesson: Lesson, names: dict[int, str]) -> Iterator[str]:
    """Who is who: what stands in a circle, the role, and the number worn where it stands in no circle."""
    for track, role in lesson.roles.items():
        if track not in names or role in CROWD:
            continue
        worn = lesson.told.names.get(track, "")
        told = (
            "" if not worn else f" ({worn.partition(' ')[2]})" if worn.split(" ")[0] == names[track] else f" ({worn})"
        )
        yield f"{names[track]} {lesson.role_word(role)}{'' if told == ' ()' else told}".strip()
