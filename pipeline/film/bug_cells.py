"""The cells of a score graphic: lines of text taken apart into words' places, and what each place holds.

Nothing is known of the graphic's design: how the readings of a place behave over the film tells a game clock (runs down
or stands still) from a shot clock (runs down and is set again), a period (a word that hardly changes) and scores (never
fall). Common practice of broadcasts, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipeline.film.bug_text import Line
from pipeline.film.bug_words import clock_of, count_of, loose_period_of, period_of, spelt_period_of
from pipeline.film.settings import BugSettings


@dataclass(frozen=True, slots=True, eq=False)
class Slot:
    """A place in a line where a word stands: its box and its text in each picture (empty where nothing was read)."""

    box_px: tuple[float, float, float, float]
    texts: tuple[str, ...]


def line_slots(box: np.ndarray, lines: Sequence[Line]) -> list[Slot]:
    """Take a line of text apart into the places of its words, from its readings in several pictures.

    A place is a stretch in which characters stand in many pictures, and round which none do.
    """
    x1, y1, x2, y2 = (float(v) for v in box)
    height = y2 - y1
    grid = np.zeros(max(8, math.ceil(x2 - x1)) + 1)
    nonempty = 0
    for line in lines:
        seen = np.zeros_like(grid)
        for a, b in _words(line, x2 - x1, height):
            seen[max(0, math.floor(a)) : math.ceil(b) + 1] = 1
        grid += seen
        nonempty += bool(seen.any())
    if not nonempty:
        return []
    covered = np.concatenate([[0], (grid >= max(1.0, 0.2 * nonempty)).astype(np.int8), [0]])
    edges = np.flatnonzero(np.diff(covered))
    spans = list(zip(edges[::2], edges[1::2], strict=True))
    found = []
    for k, (a, b) in enumerate(spans):
        before = a - spans[k - 1][1] if k else math.inf
        after = spans[k + 1][0] - b if k + 1 < len(spans) else math.inf
        texts = tuple(
            "".join(
                c
                for c, place in zip(line.text, line.places, strict=True)
                if a - 1 <= place * (x2 - x1) <= b + 1 and c != " "
            )
            for line in lines
        )
        left = max(x1 + a - min(0.3 * height, before / 2), x1 - 0.15 * height)
        right = min(x1 + b + min(0.3 * height, after / 2), x2 + 0.15 * height)
        found.append(Slot((left, y1, right, y2), texts))
    return found


def _words(line: Line, width_px: float, height_px: float) -> list[tuple[float, float]]:
    """Stretches of a line's words along its width, pixels."""
    words: list[list[float]] = []
    open_word = False
    for character, place in zip(line.text, line.places, strict=True):
        x = place * width_px
        if character == " ":
            open_word = False
            continue
        if open_word and x - words[-1][1] <= 0.9 * height_px:
            words[-1][1] = x
        else:
            words.append([x, x])
        open_word = True
    return [(a - 0.2 * height_px, b + 0.2 * height_px) for a, b in words]


def name_slots(slots: Sequence[Slot], times_s: np.ndarray, settings: BugSettings) -> dict[str, Slot]:
    """Which slot is which field, by how its readings behave over time.

    Returns
    -------
    dict
        Field of :data:`~pipeline.film.tables.BUG_FIELDS` to slot; empty when there is no game clock.
    """
    clocks = [(_clock_likeness(s, times_s, settings), k) for k, s in enumerate(slots)]
    if not clocks or max(clocks)[0] <= 0:
        return {}
    clock = slots[max(clocks)[1]]
    named = {"clock": clock}
    rest = [s for s in slots if s is not clock]
    periods = [(_share(s, spelt_period_of), -_apart(s, clock), k) for k, s in enumerate(rest)]
    good = [p for p in periods if p[0] >= 0.5]
    near = 3.0 * (clock.box_px[3] - clock.box_px[1])
    for reads, least in ((period_of, 0.8), (loose_period_of, 0.5)):
        if not good:  # a bare figure, or one with unreadable letters, counts only right beside the clock
            bare = [(_share(s, reads), -_apart(s, clock), k) for k, s in enumerate(rest)]
            good = [p for p in bare if p[0] >= least and -p[1] <= near and _hardly_changes(rest[p[2]], reads)]
    if good:
        named["period"] = rest[max(good)[2]]
        rest = [s for s in rest if s is not named["period"]]
    shots = [(_shot_clock_likeness(s), k) for k, s in enumerate(rest)]
    if shots and max(shots)[0] > 0:
        named["shot_clock"] = rest[max(shots)[1]]
        rest = [s for s in rest if s is not named["shot_clock"]]
    scores = [s for s in rest if _is_score(s)]
    if len(scores) >= 2:
        pairs = [(_unlike(a, b), i, j) for i, a in enumerate(scores) for j, b in enumerate(scores) if i < j]
        _, i, j = min(pairs)
        named["score_a"], named["score_b"] = scores[i], scores[j]
    return named


def _share(slot: Slot, reads: Callable[[str], float | None]) -> float:
    filled = [t for t in slot.texts if t]
    if len(filled) < 0.3 * len(slot.texts):
        return 0.0
    return sum(reads(t) is not None for t in filled) / len(filled)


def _apart(a: Slot, b: Slot) -> float:
    (ax1, ay1, ax2, ay2), (bx1, by1, bx2, by2) = a.box_px, b.box_px
    return math.hypot(max(0.0, max(ax1, bx1) - min(ax2, bx2)), max(0.0, max(ay1, by1) - min(ay2, by2)))


def _hardly_changes(slot: Slot, reads: Callable[[str], float | None]) -> bool:
    """Whether a slot's figure stays or grows by one, misreadings aside, as a period's does."""
    values = [v for v in (reads(t) for t in slot.texts if t) if v is not None]
    return sum(a != b for a, b in pairwise(values)) <= 0.15 * len(values) + 1


def _clock_likeness(slot: Slot, times_s: np.ndarray, settings: BugSettings) -> float:
    """How many of a slot's readings are those of one game clock; 0 if it is none."""
    read = [(t, clock_of(text)) for t, text in zip(times_s, slot.texts, strict=True) if text]
    known = [(t, v) for t, v in read if v is not None]
    if len(known) < 3 or len(known) < settings.least_readable * len(read):
        return 0.0
    steps = [(t2 - t1, v2 - v1) for (t1, v1), (t2, v2) in pairwise(known)]
    down = sum(-gone - 1.5 <= moved <= 0.05 for gone, moved in steps)
    up = sum(-0.05 <= moved <= gone + 1.5 for gone, moved in steps)
    fits = max(down, up) / len(steps)
    moves = any(abs(moved) >= 0.1 for _, moved in steps)
    # A clock that stands still throughout is taken only if nothing else is there.
    return len(known) * fits * (1.0 if moves else 0.3) if fits >= 0.6 else 0.0


def _shot_clock_likeness(slot: Slot) -> float:
    values = [v for v in (count_of(t) for t in slot.texts if t) if v is not None]
    filled = sum(bool(t) for t in slot.texts)
    if len(values) < 3 or len(values) < 0.6 * filled or max(values) > 35:
        return 0.0
    falls = sum(b < a for a, b in pairwise(values))
    return float(len(set(values))) if falls >= max(1, 0.15 * len(values)) and len(set(values)) >= 3 else 0.0


def _is_score(slot: Slot) -> bool:
    filled = [t for t in slot.texts if t]
    values = [int(t) for t in filled if t.isdigit() and len(t) <= 3]
    if len(values) < 3 or len(values) < 0.6 * len(filled):
        return False
    return sum(b < a for a, b in pairwise(values)) <= 0.15 * len(values)


def _unlike(a: Slot, b: Slot) -> float:
    """How unlike two cells' boxes are: the scores of both teams stand in twins."""
    (ax1, ay1, ax2, ay2), (bx1, by1, bx2, by2) = a.box_px, b.box_px
    tall = abs(math.log((ay2 - ay1) / (by2 - by1)))
    aligned = min(abs(ax1 + ax2 - bx1 - bx2), abs(ay1 + ay2 - by1 - by2)) / (2 * (ay2 - ay1))
    return tall + aligned
