"""A set's execution sheet: how often it was run, how it ended, how every point of emphasis came out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.library.games import Library
from pipeline.reports.points import PointFacts, point_facts
from pipeline.reports.runs import Run, Runs, read_runs
from pipeline.reports.settings import ReportSettings
from pipeline.reports.sides import Counted, Side
from pipeline.reports.standing import Standing, standing_of
from pipeline.sets.definition import SetDefinition
from pipeline.sets.emphasis import Grade
from pipeline.settings import Settings

NO_ENDING = "no ending of the file"


@dataclass(frozen=True, slots=True, eq=False)
class ExecutionSheet:
    """A set's execution sheet.

    Attributes
    ----------
    runs : Runs
    endings, counters : tuple of (name, int)
        How the runs ended, and which counters were played, as the file names them and in its order.
    points : tuple of PointFacts
        In order of the file.
    best, worst : tuple of Run
        No run is in both.
    standing : Standing or None
        What staff have said of the set's candidates so far; None where nothing was decided.
    """

    runs: Runs
    endings: tuple[tuple[str, int], ...]
    counters: tuple[tuple[str, int], ...]
    points: tuple[PointFacts, ...]
    best: tuple[Run, ...]
    worst: tuple[Run, ...]
    standing: Standing | None


def execution_sheet(
    library: Library, name: str, one: Side, settings: Settings, counted: Counted = Counted.CONFIRMED
) -> ExecutionSheet:
    """The execution sheet of a set of the library; SearchError where set, game or team do not exist."""
    runs = read_runs(library, name, one, settings, counted)
    return sheet_of_runs(runs, settings.reports, standing_of(library, (name,)).get(name))


def sheet_of_runs(runs: Runs, settings: ReportSettings, standing: Standing | None) -> ExecutionSheet:
    """The execution sheet of runs that were read."""
    definition = runs.definition
    best, worst = best_and_worst(runs.runs, settings.clips_shown)
    return ExecutionSheet(
        runs,
        _endings(runs.runs, definition),
        _counters(runs.runs, definition),
        tuple(point_facts(runs.runs, emphasis, settings) for emphasis in definition.emphases),
        best,
        worst,
        standing,
    )


def best_and_worst(runs: Sequence[Run], count: int) -> tuple[tuple[Run, ...], tuple[Run, ...]]:
    """The runs worth showing, at most ``count`` of each.

    A run's worth is its good points less its poor ones, over those known; among equals the one with more points known
    counts more, then the earlier. A run is among the best only with more good than poor points, among the worst only
    with more poor than good.
    """

    def worth(run: Run) -> float:
        known = len(run.points) - run.count(Grade.UNKNOWN)
        return (run.count(Grade.GOOD) - run.count(Grade.POOR)) / known if known else 0.0

    def known(run: Run) -> int:
        return len(run.points) - run.count(Grade.UNKNOWN)

    good = [run for run in runs if worth(run) > 0]
    poor = [run for run in runs if worth(run) < 0]
    best = sorted(good, key=lambda run: (-worth(run), -known(run), run.date, run.game, run.t_s))
    worst = sorted(poor, key=lambda run: (worth(run), -known(run), run.date, run.game, run.t_s))
    return tuple(best[:count]), tuple(worst[:count])


def _endings(runs: Sequence[Run], definition: SetDefinition) -> tuple[tuple[str, int], ...]:
    counts = Counter(run.ending or NO_ENDING for run in runs)
    names = [block.name for block in definition.endings]
    others = sorted(set(counts) - set(names))
    return tuple((name, counts[name]) for name in (*names, *others) if name in names or counts[name])


def _counters(runs: Sequence[Run], definition: SetDefinition) -> tuple[tuple[str, int], ...]:
    counts = Counter(run.counter for run in runs if run.counter)
    names = [counter.block.name for counter in definition.counters]
    return tuple((name, counts[name]) for name in (*names, *sorted(set(counts) - set(names))) if counts[name])
