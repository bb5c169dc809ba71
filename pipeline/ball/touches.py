"""Touches: holds, what came between them, and dribbles where they can be seen."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.ball.dribble import dribbles
from pipeline.ball.evidence import NOBODY, Evidence
from pipeline.ball.flights import FlightKind
from pipeline.ball.settings import BallSettings, TouchSettings
from pipeline.ball.story import State, Story

if TYPE_CHECKING:
    from pipeline.ball.path import Places


@dataclass(frozen=True, slots=True)
class Hold:
    """One body's hold: column, first and past-last frame."""

    who: int
    first: int
    last: int


def runs(values: np.ndarray) -> list[tuple[int, int]]:
    """Stretches of equal values as (first, past-last)."""
    if not len(values):
        return []
    edges = np.flatnonzero(np.diff(values)) + 1
    bounds = [0, *edges.tolist(), len(values)]
    return list(pairwise(bounds))


def holds_of(evidence: Evidence, story: Story, settings: TouchSettings) -> list[Hold]:
    """Holds of at least ``least_hold_s``, in order."""
    holder = np.where(story.state == State.HELD, story.who, NOBODY)
    times, step = evidence.times_s, evidence.step_s
    return [
        Hold(int(holder[a]), a, b)
        for a, b in runs(holder)
        if holder[a] != NOBODY and times[b - 1] - times[a] + step >= settings.least_hold_s - 1e-9
    ]


def touches_of(
    evidence: Evidence, story: Story, places: Places, attacking: np.ndarray, every: BallSettings
) -> list[dict[str, Any]]:
    """Touches of one shot in order of time, as rows of the ``touches`` table without their numbers.

    ``attacking`` (F,) is the team that attacks, -1 unknown: where it stays the same after the ball has gone to what
    seems to be an opponent, a team was misread and the ball passed.
    """
    settings = every.touches
    bodies, times, step = evidence.bodies, evidence.times_s, evidence.step_s
    holds = holds_of(evidence, story, settings)
    result: list[dict[str, Any]] = []

    def add(kind: str, start_s: float, end_s: float, who: int, to: int, score: float) -> None:
        result.append(
            {
                "shot": evidence.shot,
                "kind": kind,
                "start_s": start_s,
                "end_s": max(end_s, start_s),
                "track": int(bodies.names[who]) if who != NOBODY else None,
                "to_track": int(bodies.names[to]) if to != NOBODY else None,
                "team": int(bodies.teams[who]) if who != NOBODY else -1,
                "score": score,
            }
        )

    def begins(hold: Hold) -> float:
        return float(times[hold.first] - (0.5 * step if hold.first else 0.0))

    def sure(first: int, last: int) -> float:
        inner = places.score[first:last]
        return float(np.mean(inner)) if len(inner) else 0.0

    for index, hold in enumerate(holds):
        end_s = float(times[hold.last - 1] + 0.5 * step)
        score = sure(hold.first, hold.last)
        add("hold", begins(hold), end_s, hold.who, NOBODY, score)
        during = slice(hold.first, hold.last)
        height = np.where(places.observed[during], places.ft[during, 2], np.nan)
        for a, b in dribbles(times[during], height, every.dribble):
            first, last = hold.first + a, hold.first + b
            add("dribble", float(times[first]), float(times[last - 1]), hold.who, NOBODY, sure(first, last))
        after = holds[index + 1] if index + 1 < len(holds) else None
        until = after.first if after else len(times)
        between = np.arange(hold.last, until)
        until_s = begins(after) if after else float(times[-1])
        shot = between[story.state[between] == State.SHOT]
        if len(shot):
            flight = int(story.flight[shot[-1]])
            ring_s = float(times[story.flights.end[flight]])
            add("shot", end_s, ring_s, int(story.flights.by[flight]), NOBODY, sure(int(shot[0]), int(shot[-1]) + 1))
            if after:
                last = int(story.flight[after.first - 1])
                made = last != NOBODY and story.flights.kind[last] == FlightKind.DROP
                kind = "rebound" if until_s - ring_s <= settings.rebound_s and not made else "loose"
                taker = after.who if kind == "rebound" else NOBODY
                add(kind, ring_s, until_s, taker, NOBODY, sure(int(shot[-1]) + 1, until))
        elif after is None or after.who == hold.who:
            continue
        elif _same_side(evidence, attacking, hold, after) and until_s - end_s <= settings.longest_flight_s:
            if not len(between) and not np.isfinite(bodies.place_ft[after.first, hold.who]).all():
                continue  # one body whose track broke
            gap = np.linalg.norm(bodies.place_ft[after.first, after.who] - bodies.place_ft[hold.last - 1, hold.who])
            # of a ball that was in the air for no more than a frame, arms must have reached
            reach_ft = settings.handoff_ft if len(between) > 1 else every.story.handoff_ft
            short = until_s - end_s <= settings.handoff_s and gap <= reach_ft
            both = min(score, sure(after.first, after.last))
            add("handoff" if short else "pass", end_s, until_s, hold.who, after.who, both)
        else:
            add("loose", end_s, until_s, NOBODY, NOBODY, min(score, sure(after.first, after.last)))
    return result


def _same_side(evidence: Evidence, attacking: np.ndarray, before: Hold, after: Hold) -> bool:
    """Teammates, or one of them an official, or the attack goes on as before: the ball was given, not lost."""
    bodies, times = evidence.bodies, evidence.times_s
    if bodies.official[before.who] or bodies.official[after.who]:
        return True
    teams = bodies.teams[[before.who, after.who]]
    if teams.min() >= 0 and teams[0] == teams[1]:
        return True
    later = min(int(np.searchsorted(times, times[after.first] + 1.0)), len(times) - 1)
    return bool(attacking[before.last - 1] >= 0 and attacking[before.last - 1] == attacking[later])
