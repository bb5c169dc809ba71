"""Two sides of a library on the same set: teams, games, periods or stretches of the season."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.library.games import Library
from pipeline.reports.differences import (
    Difference,
    Verdict,
    games_p,
    judged,
    median_difference_of_games,
    share_difference,
    share_p,
    shuffled_p,
)
from pipeline.reports.intervals import UNKNOWN, Estimate, known_of
from pipeline.reports.points import PointFacts, gap_between, own_rng, point_facts
from pipeline.reports.runs import Run, Runs, read_runs
from pipeline.reports.settings import ReportSettings
from pipeline.reports.sides import Counted, Side
from pipeline.reports.standing import Standing, standing_of
from pipeline.reports.wording import ENDINGS
from pipeline.sets.definition import SetDefinition
from pipeline.sets.emphasis import Grade, unit
from pipeline.settings import Settings


@dataclass(frozen=True, slots=True, eq=False)
class ComparedPoint:
    """A point of emphasis on two sides.

    Attributes
    ----------
    name, title, unit : str
    facts : (PointFacts, PointFacts)
        Of the one and of the other side.
    difference : Estimate
        Medians, the one side's less the other's; unknown for points that are words.
    good_difference : Estimate
        Shares that were good, likewise.
    verdict : Verdict
        On the medians; on the shares where the point is a word.
    matters : float
        The difference that would matter, in the unit of the point (or as a share).
    told : str
        The verdict in a sentence.
    """

    name: str
    title: str
    unit: str
    facts: tuple[PointFacts, PointFacts]
    difference: Estimate
    good_difference: Estimate
    verdict: Verdict
    matters: float
    told: str

    @property
    def is_word(self) -> bool:
        """Whether it is a word and no number."""
        return self.facts[0].is_word


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Two sides on the same set.

    Attributes
    ----------
    definition : SetDefinition
    sides : (Runs, Runs)
    points : tuple of ComparedPoint
        In order of the file.
    shared : int
        Runs that belong to both sides; a comparison wants none.
    standing : Standing or None
    """

    definition: SetDefinition
    sides: tuple[Runs, Runs]
    points: tuple[ComparedPoint, ...]
    shared: int
    standing: Standing | None


def compare_set(
    library: Library, name: str, one: Side, other: Side, settings: Settings, counted: Counted = Counted.CONFIRMED
) -> Comparison:
    """Compare two sides on one set.

    Raises
    ------
    SearchError
        If set, game or team do not exist.
    """
    sides = (read_runs(library, name, one, settings, counted), read_runs(library, name, other, settings, counted))
    return compare_runs(sides, settings.reports, standing_of(library, (name,)).get(name))


def compare_runs(sides: tuple[Runs, Runs], settings: ReportSettings, standing: Standing | None = None) -> Comparison:
    """Compare runs that were read."""
    definition = sides[0].definition
    facts = [
        (point_facts(sides[0].runs, emphasis, settings), point_facts(sides[1].runs, emphasis, settings))
        for emphasis in definition.emphases
    ]
    measured = [_difference(pair, sides, settings) for pair in facts]
    verdicts = judged([one for one, _ in measured], settings.fewest_runs, settings.confidence)
    labels = (sides[0].side.label, sides[1].side.label)
    points = tuple(
        ComparedPoint(
            name=pair[0].emphasis.name,
            title=pair[0].emphasis.title,
            unit=unit(pair[0].emphasis),
            facts=pair,
            difference=UNKNOWN if pair[0].is_word else one.estimate,
            good_difference=good,
            verdict=verdict,
            matters=one.matters,
            told=_told(pair, one, verdict, labels, settings),
        )
        for pair, (one, good), verdict in zip(facts, measured, verdicts, strict=True)
    )
    here = {(run.game, run.t_s, run.tag) for run in sides[0].runs}
    shared = sum((run.game, run.t_s, run.tag) in here for run in sides[1].runs)
    return Comparison(definition, sides, points, shared, standing)


def what_matters(facts: PointFacts, settings: ReportSettings) -> float:
    """The difference of a point that would change what is practised; 0 where nobody has said."""
    if facts.is_word:
        return settings.share_that_matters
    least = {"ft": settings.feet_that_matter, "s": settings.seconds_that_matter}.get(unit(facts.emphasis), 0.0)
    gap = gap_between(facts.emphasis)
    return max(least, gap if math.isfinite(gap) else 0.0)


def _difference(
    pair: tuple[PointFacts, PointFacts], sides: tuple[Runs, Runs], settings: ReportSettings
) -> tuple[Difference, Estimate]:
    """What is judged of a point, and the difference of its shares."""
    a, b = pair
    name = a.emphasis.name
    counts = ((a.count(Grade.GOOD), a.known), (b.count(Grade.GOOD), b.known))
    good = share_difference(*counts, settings.confidence)
    matters = what_matters(a, settings)
    if a.is_word:
        shares = [_good_shares(side.runs, name) for side in sides]
        p = _larger(share_p(*counts), games_p(*shares))
        return Difference(good, p, matters, min(a.known, b.known)), good
    games = [_by_game(side.runs, facts.values) for side, facts in zip(sides, pair, strict=True)]
    fewest = int(min(np.isfinite(a.values).sum(), np.isfinite(b.values).sum()))
    apart = median_difference_of_games(
        games[0], games[1], settings.confidence, settings.resamples, own_rng(settings.seed, "difference", name)
    )
    by_runs = shuffled_p(a.values, b.values, settings.shuffles, own_rng(settings.seed, "shuffle", name))
    by_games = games_p(*([float(np.median(known)) for known in map(known_of, side) if len(known)] for side in games))
    return Difference(apart, _larger(by_runs, by_games), matters, fewest), good


def _larger(by_runs: float, by_games: float) -> float:
    """The larger of two chances; that of the runs where games say nothing."""
    return by_runs if math.isnan(by_games) else max(by_runs, by_games)


def _by_game(runs: Sequence[Run], values: np.ndarray) -> list[np.ndarray]:
    names = np.array([run.game for run in runs])
    return [values[names == name] for name in dict.fromkeys(names.tolist())]


def _good_shares(runs: Sequence[Run], name: str) -> list[float]:
    """Share of good runs in each game in which the point is known."""
    good: dict[str, list[bool]] = {}
    for run in runs:
        grade = next(point.grade for point in run.points if point.emphasis.name == name)
        if grade is not Grade.UNKNOWN:
            good.setdefault(run.game, []).append(grade is Grade.GOOD)
    return [sum(own) / len(own) for own in good.values()]


def _told(
    pair: tuple[PointFacts, PointFacts],
    one: Difference,
    verdict: Verdict,
    labels: tuple[str, str],
    settings: ReportSettings,
) -> str:
    a, b = pair
    ending = ENDINGS.get(unit(a.emphasis), "")

    def amount(value: float) -> str:
        return f"{100 * value:.0f} points of a hundred" if a.is_word else f"{value:.1f}{ending}"

    if verdict is Verdict.TOO_FEW:
        return (
            f"Too few to compare: {a.known} and {b.known} runs in which it is known; from {settings.fewest_runs} on "
            "each side a report compares."
        )
    apart = one.estimate
    if verdict is Verdict.DIFFERENT:
        more = "more often good" if a.is_word else "higher"
        less = "less often good" if a.is_word else "lower"
        return f"Different: {labels[0]} {more if apart.value > 0 else less} by {amount(abs(apart.value))}."
    if verdict is Verdict.ALIKE:
        return f"Alike: whatever the difference is, it is under {amount(one.matters)}."
    if apart.low > 0 or apart.high < 0:
        return (
            f"The sample cannot tell: they lie {amount(abs(apart.value))} apart, but by so much a point of a page may "
            "lie apart by chance, or a game by its day."
        )
    widest = max(abs(apart.low), abs(apart.high))
    return (
        f"The sample cannot tell: a difference of {amount(widest)} is possible, and so is none. "
        "That is not the same as no difference."
    )
