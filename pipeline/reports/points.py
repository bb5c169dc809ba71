"""A point of emphasis over many runs: its values, its words, how many were good."""

from __future__ import annotations

import math
import zlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.reports.intervals import Estimate, median, share
from pipeline.reports.runs import Run
from pipeline.reports.settings import ReportSettings
from pipeline.reports.wording import ENDINGS
from pipeline.sets.definition import Emphasis, Range, Words
from pipeline.sets.emphasis import Grade, unit


@dataclass(frozen=True, slots=True, eq=False)
class PointFacts:
    """A point of emphasis over some runs.

    Attributes
    ----------
    emphasis : Emphasis
    values : ndarray of shape (N,)
        The runs' values, NaN where unknown; empty for points that are words.
    words : tuple of (word, count)
        Words that were seen, the most frequent first; empty for points that are numbers.
    grades : mapping-like tuple of (Grade, count)
    good : Estimate
        Share that was good of those known.
    middle : Estimate
        Median of the values; unknown for words.
    """

    emphasis: Emphasis
    values: np.ndarray
    words: tuple[tuple[str, int], ...]
    grades: tuple[tuple[Grade, int], ...]
    good: Estimate
    middle: Estimate

    @property
    def known(self) -> int:
        """Runs of which the point is known."""
        return sum(count for grade, count in self.grades if grade is not Grade.UNKNOWN)

    def count(self, grade: Grade) -> int:
        """Runs of a grade."""
        return dict(self.grades)[grade]

    @property
    def is_word(self) -> bool:
        """Whether it is a word and no number."""
        return is_word(self.emphasis)


def is_word(emphasis: Emphasis) -> bool:
    """Whether a point of emphasis looks at a word and not at a number."""
    return any(isinstance(one, Words) for one in (*emphasis.good, *emphasis.poor))


def own_rng(seed: int, *names: str) -> np.random.Generator:
    """A generator for one number of a report, the same whatever else the report holds."""
    return np.random.default_rng([seed, *(zlib.crc32(name.encode()) for name in names)])


def point_facts(runs: Sequence[Run], emphasis: Emphasis, settings: ReportSettings) -> PointFacts:
    """A point of emphasis over runs of its set."""
    own = [next(point for point in run.points if point.emphasis.name == emphasis.name) for run in runs]
    grades = Counter(point.grade for point in own)
    known = len(own) - grades[Grade.UNKNOWN]
    words: Counter[str] = Counter()
    values = np.empty(0)
    if is_word(emphasis):
        words.update(str(point.value) for point in own if point.grade is not Grade.UNKNOWN)
    else:
        values = np.array([point.value if isinstance(point.value, float) else math.nan for point in own])
    return PointFacts(
        emphasis,
        values,
        tuple(sorted(words.items(), key=lambda pair: (-pair[1], pair[0]))),
        tuple((grade, grades[grade]) for grade in Grade),
        share(grades[Grade.GOOD], known, settings.confidence),
        median(values, settings.confidence, settings.resamples, own_rng(settings.seed, "median", emphasis.name)),
    )


def in_words(emphasis: Emphasis, grade: Grade) -> str:
    """What is good or poor of a point, as the set file says it: ``up to 25 ft``, ``right``."""
    spoken = ENDINGS.get(unit(emphasis), "")
    parts = []
    for one in emphasis.good if grade is Grade.GOOD else emphasis.poor:
        if isinstance(one, Words):
            parts += [word.replace("_", " ") for word in one.words]
        else:
            parts.append(_range_words(one, spoken))
    return " or ".join(parts)


def ranges(emphasis: Emphasis, grade: Grade) -> tuple[Range, ...]:
    """The ranges of numbers that are good or poor."""
    chosen = emphasis.good if grade is Grade.GOOD else emphasis.poor
    return tuple(one for one in chosen if isinstance(one, Range))


def gap_between(emphasis: Emphasis) -> float:
    """How far the nearest poor value lies from the nearest good one; 0 where they meet, NaN where one has no end."""
    gaps = []
    for good in ranges(emphasis, Grade.GOOD):
        for poor in ranges(emphasis, Grade.POOR):
            gaps.append(max(poor.low - good.high, good.low - poor.high, 0.0))
    return min(gaps, default=math.nan)


def _range_words(one: Range, spoken: str) -> str:
    if math.isinf(one.low):
        return f"{'up to' if one.high_included else 'below'} {one.high:g}{spoken}"
    if math.isinf(one.high):
        return f"{'from' if one.low_included else 'above'} {one.low:g}{spoken}"
    return f"{one.low:g} to {one.high:g}{spoken}"
