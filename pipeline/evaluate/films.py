"""How well a set of films was seen: the scores of each film beside what is asked, and all films together.

Comes in: folders of tables and the truth of the same films, paired by name. Goes out: one line a measure with the value
over all films, the worst film, and the count. Shares are pooled over everything counted, F1 from the pooled counts;
medians, 95th percentiles, HOTA and IDF1 are means of the films' values weighted by what each holds; the line says so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Any

from pipeline.evaluate.film import evaluate_film
from pipeline.evaluate.games import game_pairs


class Better(Enum):
    """Which way a measure is better."""

    HIGHER = "at least"
    LOWER = "at most"


class Pooling(Enum):
    """How a measure of several films becomes one."""

    F1 = "F1 of pooled counts"
    SHARE = "pooled share"
    MEAN = "weighted mean"


@dataclass(frozen=True, slots=True)
class Measure:
    """One line of the table.

    Attributes
    ----------
    name : str
        As the table shows it.
    path : tuple of str
        Where the value lies in the scores of ``evaluate_film``.
    count : tuple of str
        Where the number of things it is over lies.
    pooling : Pooling
    reach : float
        The figure asked for.
    better : Better
    unit : str
        "ft", or "%" for shares.
    """

    name: str
    path: tuple[str, ...]
    count: tuple[str, ...]
    pooling: Pooling
    reach: float
    better: Better = Better.HIGHER
    unit: str = "%"


_PLACE, _FLOOR, _WHO = ("players", "position_ft"), ("players", "players_on_floor"), ("players", "identity")

MEASURES = (
    Measure("live frames registered", ("court", "registered"), ("court", "live_frames"), Pooling.SHARE, 0.97),
    Measure("court error, median", ("court", "median_ft"), ("court", "points"), Pooling.MEAN, 0.5, Better.LOWER, "ft"),
    Measure("court error, p95", ("court", "p95_ft"), ("court", "points"), Pooling.MEAN, 1.5, Better.LOWER, "ft"),
    Measure("player position, median", (*_PLACE, "median"), (*_PLACE, "count"), Pooling.MEAN, 0.8, Better.LOWER, "ft"),
    Measure("player position, p95", (*_PLACE, "p95"), (*_PLACE, "count"), Pooling.MEAN, 2.5, Better.LOWER, "ft"),
    Measure("players on the floor, recall", (*_FLOOR, "recall"), (*_FLOOR, "truth"), Pooling.SHARE, 0.97),
    Measure("players on the floor, precision", (*_FLOOR, "precision"), (*_FLOOR, "found"), Pooling.SHARE, 0.97),
    Measure("identities per shot, HOTA", (*_WHO, "HOTA"), (*_WHO, "truth"), Pooling.MEAN, 0.88),
    Measure("identities per shot, IDF1", (*_WHO, "IDF1"), (*_WHO, "truth"), Pooling.MEAN, 0.92),
    Measure("team right", ("players", "team", "right"), ("players", "team", "count"), Pooling.SHARE, 0.99),
    Measure(
        "officials kept out",
        ("players", "officials_kept_out", "share"),
        ("players", "officials_kept_out", "count"),
        Pooling.SHARE,
        0.98,
    ),
    Measure("holder right", ("ball", "holder", "right"), ("ball", "holder", "held_frames"), Pooling.SHARE, 0.93),
    Measure("passes, F1", ("ball", "passes"), ("ball", "passes", "truth"), Pooling.F1, 0.90),
    Measure("possessions, F1", ("ball", "possessions"), ("ball", "possessions", "truth"), Pooling.F1, 0.95),
    Measure("shot boundaries, F1", ("shots", "boundaries"), ("shots", "boundaries", "truth"), Pooling.F1, 0.97),
    Measure("live view, F1", ("shots", "live"), ("shots", "live", "truth"), Pooling.F1, 0.97),
    Measure("clock within 1 s where shown", ("clock", "right"), ("clock", "shown_frames"), Pooling.SHARE, 0.99),
)
"""What is asked of film that nothing was trained on."""


@dataclass(frozen=True, slots=True)
class Line:
    """A measure over all films: None where no film could be measured."""

    measure: Measure
    value: float | None
    worst: float | None
    worst_film: str
    count: int

    def met(self) -> bool | None:
        """Whether the figure asked for is reached."""
        if self.value is None:
            return None
        higher = self.measure.better is Better.HIGHER
        return self.value >= self.measure.reach if higher else self.value <= self.measure.reach


def _at(scores: Mapping[str, Any], path: Sequence[str]) -> Any:
    value: Any = scores
    for key in path:
        if not isinstance(value, Mapping):
            return None
        value = value.get(key)
    return value


def _value(measure: Measure, scores: Mapping[str, Any]) -> tuple[float | None, int]:
    at = _at(scores, measure.path)
    if measure.pooling is Pooling.F1:
        at = at.get("f1") if isinstance(at, Mapping) else None
    return (None if at is None else float(at)), int(_at(scores, measure.count) or 0)


def pool(measure: Measure, films: Mapping[str, Mapping[str, Any]]) -> Line:
    """One line over the scores of several films.

    Parameters
    ----------
    measure : Measure
    films : mapping of str to scores
        What ``evaluate_film`` says of each film, by name.
    """
    found = {name: _value(measure, scores) for name, scores in films.items()}
    known = {name: (value, count) for name, (value, count) in found.items() if value is not None and count > 0}
    if measure.pooling is Pooling.F1:
        counted = [_at(scores, measure.path) for scores in films.values()]
        sums = [sum(int(c[k]) for c in counted if isinstance(c, Mapping)) for k in ("right", "found", "truth")]
        value = 2 * sums[0] / (sums[1] + sums[2]) if sums[1] + sums[2] else None
        count = sums[2]
    else:
        count = sum(c for _, c in known.values())
        value = sum(v * c for v, c in known.values()) / count if count else None
    if not known:
        return Line(measure, value, None, "", count)
    choose: Callable[..., str] = min if measure.better is Better.HIGHER else max
    worst = choose(known, key=lambda name: known[name][0])
    return Line(measure, value, known[worst][0], worst, count)


def evaluate_films(
    tables: Path, truths: Path, on_film: Callable[[str, int, int], None] = lambda _name, _done, _all: None
) -> dict[str, Any]:
    """Score every film of a folder and all together.

    Parameters
    ----------
    tables, truths : Path
        See :func:`~pipeline.evaluate.games.game_pairs`.
    on_film : callable
        Told before each film: its name, how many are done, how many there are.

    Returns
    -------
    dict
        ``measures``: a list of lines (name, reach, value, worst, worst_film, count, met, pooling, unit);
        ``films``: the scores of each.
    """
    together = game_pairs(tables, truths)
    films: dict[str, dict[str, Any]] = {}
    for number, (name, (game, truth)) in enumerate(together.items()):
        on_film(name, number, len(together))
        films[name] = evaluate_film(game, truth)
    lines = [pool(measure, films) for measure in MEASURES]
    return {"measures": [as_dict(line) for line in lines], "films": films}


def as_dict(line: Line) -> dict[str, Any]:
    """A line ready for JSON."""
    measure = line.measure
    return {
        "name": measure.name,
        "asked": f"{measure.better.value} {shown(measure.reach, measure.unit)}",
        "value": line.value,
        "worst": line.worst,
        "worst_film": line.worst_film,
        "count": line.count,
        "met": line.met(),
        "pooling": measure.pooling.value,
        "unit": measure.unit,
    }


def shown(value: float | None, unit: str) -> str:
    """A value as people read it."""
    if value is None:
        return "not measured"
    return f"{value:.2f} ft" if unit == "ft" else f"{100 * value:.1f} %"


def as_markdown(result: Mapping[str, Any]) -> str:
    """The table for a README."""
    rows = ["| measure | asked | all films | worst film | over | met |", "|---|---|---|---|---|---|"]
    for line in result["measures"]:
        worst = f"{shown(line['worst'], line['unit'])} ({line['worst_film']})" if line["worst_film"] else ""
        met = {True: "yes", False: "no", None: "not measured"}[line["met"]]
        value = shown(line["value"], line["unit"])
        rows.append(f"| {line['name']} | {line['asked']} | {value} | {worst} | {line['count']} | {met} |")
    return "\n".join(rows)
