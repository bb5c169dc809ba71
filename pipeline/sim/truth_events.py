"""Actions, faults and sets of a simulated film, as rows of the pipeline's tables.

Comes in: a ``FilmPlan``, whose possessions carry what happened in them (``plays.deeds``). Goes out: rows for live play
as the film shows it. What is doubtful by the glossary goes into tables of its own (``actions_unsure``,
``faults_unsure``): an evaluation counts it neither way.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from enum import Enum
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.actions.tables import ACTIONS, EVENT_COLUMNS
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.sim.crew import FilmPlan, View
from pipeline.sim.plays.deeds.run import Seen
from pipeline.sim.plays.places import to_court
from pipeline.sim.plays.script import SetRun
from pipeline.spacing.tables import FAULTS
from pipeline.tables import TableSpec

ACTIONS_UNSURE = TableSpec("actions_unsure", ACTIONS.version, pa.schema(EVENT_COLUMNS), added=ACTIONS.added)
"""Actions that the glossary's words allow but do not force: found or not, neither is an error."""
FAULTS_UNSURE = TableSpec("faults_unsure", FAULTS.version, pa.schema(EVENT_COLUMNS), added=FAULTS.added)
"""Faults of the same sort."""

SETS_UNSURE = TableSpec("set_candidates_unsure", SET_CANDIDATES.version, SET_CANDIDATES.schema)
"""Ball screens of that sort, called by their place."""

_FILM_TIMES = ("paint_entry_s",)
"""Measures that are moments of the film."""


class Certainty(Enum):
    """Which rows a table takes."""

    CERTAIN = "certain"
    DOUBTFUL = "doubtful"


def film_time(plan: FilmPlan, game_s: float) -> tuple[float, int] | None:
    """Film time and shot of a moment of the game as the live main camera shows it; None when it is not shown."""
    for k, shot in reversed(list(enumerate(plan.shots))):
        if shot.view is View.MAIN and shot.game_from_s - 1e-6 <= game_s < shot.game_from_s + shot.end_s - shot.start_s:
            return shot.start_s + game_s - shot.game_from_s, k
    return None


def event_tables(plan: FilmPlan) -> dict[str, pa.Table]:
    """Actions, faults and sets, certain and doubtful."""
    certain, doubtful = Certainty.CERTAIN, Certainty.DOUBTFUL
    return {
        "actions": ACTIONS.from_rows(_numbered(_rows(plan, "seen", certain))),
        "actions_unsure": ACTIONS_UNSURE.from_rows(_numbered(_rows(plan, "seen", doubtful))),
        "faults": FAULTS.from_rows(_numbered(_rows(plan, "faults", certain))),
        "faults_unsure": FAULTS_UNSURE.from_rows(_numbered(_rows(plan, "faults", doubtful))),
        "set_candidates": SET_CANDIDATES.from_rows(_numbered(_sets(plan, certain))),
        "set_candidates_unsure": SETS_UNSURE.from_rows(_numbered(_sets(plan, doubtful))),
    }


def _numbered(rows: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    ordered = sorted(rows, key=lambda r: (r["t_s"], r["kind"], str(r["actors"])))
    return [{"event": k} | row for k, row in enumerate(ordered)]


def _rows(plan: FilmPlan, which: str, certainty: Certainty) -> list[dict[str, Any]]:
    rows = []
    for number, stretch in enumerate(plan.game.stretches):
        for seen in getattr(stretch.possession, which):
            if bool(seen.certain) is (certainty is Certainty.CERTAIN):
                row = _event(plan, number, seen)
                if row is not None:
                    rows.append(row)
    return rows


def _event(plan: FilmPlan, number: int, seen: Seen) -> dict[str, Any] | None:
    """A row of an event table; None when live play does not show its moment."""
    p = plan.game.stretches[number].possession
    placed = _placed(plan, number, seen.start_s, seen.t_s, seen.end_s)
    if placed is None:
        return None
    shift = placed["t_s"] - seen.t_s
    xy = to_court(np.array([[seen.place_uv]]), p.book, p.end)[0, 0]
    measures = {k: v + shift if k in _FILM_TIMES else v for k, v in seen.measures.items()}
    measures |= {"u_ft": seen.place_uv[0], "v_ft": seen.place_uv[1], "sigma_ft": 0.0}
    return placed | {
        "kind": seen.kind,
        "actors": _actors(seen.roles),
        "x_ft": float(xy[0]),
        "y_ft": float(xy[1]),
        "measures": _measures(measures),
        "traits": sorted(seen.traits.items()),
    }


def _placed(plan: FilmPlan, number: int, start: float, moment: float, end: float) -> dict[str, Any] | None:
    """Times in the film of something in a possession, from its own times."""
    stretch = plan.game.stretches[number]
    at = stretch.start_s + moment
    shown = film_time(plan, at)
    if shown is None or at > stretch.live_end_s:
        return None
    t, shot = shown
    shift, limits = t - at, plan.shots[shot]
    return {
        "shot": shot,
        "possession": number,
        "start_s": max(stretch.start_s + start + shift, limits.start_s),
        "end_s": min(stretch.start_s + max(end, moment) + shift, limits.end_s),
        "t_s": t,
        "attacked_end": stretch.possession.end,
        "score": 1.0,
    }


def _actors(roles: Sequence[tuple[str, int]]) -> list[dict[str, Any]]:
    return [{"role": role, "track": actor} for role, actor in roles]


def _measures(measures: Mapping[str, float]) -> list[tuple[str, float | None]]:
    return sorted((k, None if np.isnan(v) else float(v)) for k, v in measures.items())


def _sets(plan: FilmPlan, certainty: Certainty) -> list[dict[str, Any]]:
    rows = []
    for number, stretch in enumerate(plan.game.stretches):
        for run in stretch.possession.sets:
            row = _set(plan, number, run)
            if row is not None and run.certain is (certainty is Certainty.CERTAIN):
                rows.append(row)
    return rows


def _set(plan: FilmPlan, number: int, run: SetRun) -> dict[str, Any] | None:
    p = plan.game.stretches[number].possession
    placed = _placed(plan, number, run.start_s, run.t_s, run.end_s)
    if placed is None:
        return None
    step = min(round(run.t_s / p.dt_s), len(p.xy_ft) - 1)
    return placed | {
        "kind": run.name,
        "actors": _actors(run.roles),
        "x_ft": float(p.ball_ft[step, 0]),
        "y_ft": float(p.ball_ft[step, 1]),
        "measures": _measures(dict(run.measures)),
        "traits": [],
        "ending": run.ending or None,
        "complete": not run.missing,
        "phases": [],
        "missing": list(run.missing),
    }
