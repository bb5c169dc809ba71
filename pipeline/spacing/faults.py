"""Spacing faults: crowded paint.

The rule is the glossary's: five or more others (both teams, the handler not counted) have a foot in the
paint at the moment the handler turns the corner or his foot enters the paint on a drive, for 0.2 s around it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.actions.drives import NAME as DRIVE
from pipeline.actions.events import Event, events_to_table
from pipeline.actions.corners import CORNER
from pipeline.actions.view import PossessionView
from pipeline.spacing.paint import others_in_paint, paint_probability, probability_of_at_least
from pipeline.spacing.settings import CrowdedPaintSettings, FaultSettings, Severity
from pipeline.spacing.tables import FAULTS

CROWDED_PAINT = "crowded_paint"

TURNS, ENTERS = "turns the corner", "enters the paint"
THE_HANDLER = "the handler"
"""The handler in a sentence, where neither name nor number is known."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """A moment at which the number of bodies in the paint decides.

    Attributes
    ----------
    event : Event
        The drive or turned corner that it comes from.
    t_s : float
        The moment, film time.
    what : str
        What the handler does then, as words for a sentence.
    count : int
        Others in the attacked paint in the least crowded frame within half of ``around_s`` of the moment.
    """

    event: Event
    t_s: float
    what: str
    count: int


def arrivals(view: PossessionView, actions: Sequence[Event], settings: CrowdedPaintSettings) -> list[Arrival]:
    """The deciding moments of one possession with their counts, in order of time."""
    inside = others_in_paint(view)
    found = []
    for event in actions:
        if event.possession != view.possession or event.shot != view.shot:
            continue
        if event.kind == CORNER:
            moment_s, what = event.t_s, TURNS
        elif event.kind == DRIVE and np.isfinite(event.measures["paint_entry_s"]):
            moment_s, what = event.measures["paint_entry_s"], ENTERS
        else:
            continue
        count = int(_counts(view, inside, event)[_around(view, moment_s, settings.around_s / 2)].min())
        found.append(Arrival(event, float(moment_s), what, count))
    return sorted(found, key=lambda a: a.t_s)


def crowded_paint(view: PossessionView, actions: Sequence[Event], settings: CrowdedPaintSettings) -> list[Event]:
    """Crowded-paint candidates of one possession.

    Moments of one handler within ``one_candidate_within_s`` make one candidate, told by the most crowded.
    The score is the probability that at least ``others_at_least`` others stood in the paint at the moment,
    given how sure each one's place was.
    """
    groups: list[list[Arrival]] = []
    for arrival in arrivals(view, actions, settings):
        if arrival.count < settings.others_at_least:
            continue
        mine = (
            group
            for group in groups
            if group[-1].event.actor("handler") == arrival.event.actor("handler")
            and arrival.t_s - group[-1].t_s <= settings.one_candidate_within_s
        )
        group = next(mine, None)
        if group is None:
            groups.append([arrival])
        else:
            group.append(arrival)
    return [_candidate(view, group, settings) for group in groups]


def find_faults(views: Sequence[PossessionView], actions: Sequence[Event], settings: FaultSettings) -> pa.Table:
    """Run every fault rule over every possession; the ``faults`` table."""
    found: list[Event] = []
    for view in views:
        found.extend(crowded_paint(view, actions, settings.crowded_paint))
    return events_to_table(found, FAULTS)


def severity_of(event: Event, settings: FaultSettings) -> Severity:
    """How severe a fault is by the fault library."""
    rule = settings.crowded_paint
    return Severity.SEVERE if event.measures["count"] >= rule.severe_at_least else rule.severity


def sentence_of(event: Event, settings: FaultSettings, handler: str = THE_HANDLER) -> str:
    """What a fault says, in the fault library's words."""
    what = TURNS if event.measures["at_corner"] else ENTERS
    return settings.crowded_paint.sentence.format(count=int(event.measures["count"]), moment=what, handler=handler)


def _candidate(view: PossessionView, group: Sequence[Arrival], settings: CrowdedPaintSettings) -> Event:
    chosen = max(group, key=lambda a: a.count)
    handler = chosen.event.actor("handler")
    column = int(np.flatnonzero(view.tracks == handler)[0])
    inside = others_in_paint(view)
    inside[:, column] = False
    counts = inside.sum(axis=1)
    moment = int(np.abs(view.t_s - chosen.t_s).argmin())
    first = last = moment
    while first > 0 and counts[first - 1] >= settings.others_at_least:
        first -= 1
    while last + 1 < len(counts) and counts[last + 1] >= settings.others_at_least:
        last += 1
    chances = paint_probability(view, moment, settings.least_sigma_ft)
    chances[column] = 0.0
    here = np.flatnonzero(inside[moment])
    return Event(
        kind=CROWDED_PAINT,
        shot=view.shot,
        possession=view.possession,
        start_s=min(a.event.start_s for a in group),
        end_s=max(float(view.t_s[last]), *(max(a.event.end_s, a.t_s) for a in group)),
        t_s=float(view.t_s[moment]),
        actors=(("handler", int(view.tracks[column])), *((_role(view, int(n)), int(view.tracks[n])) for n in here)),
        place_ft=view.court_place_ft(moment, column),
        attacked_end=view.end,
        measures={
            "count": float(counts[moment]),
            "peak_count": float(counts[_around(view, chosen.t_s, settings.peak_within_s)].max()),
            "attackers": float(inside[moment, view.attackers].sum()),
            "defenders": float(inside[moment, view.defenders].sum()),
            "unknown_team": float(inside[moment, view.teams < 0].sum()),
            "crowded_for_s": float(view.t_s[last] - view.t_s[first]),
            "players_placed": float(np.isfinite(view.uv_ft[moment]).all(axis=1).sum()),
            "at_corner": float(chosen.what == TURNS),
        },
        score=probability_of_at_least(settings.others_at_least, chances),
    )


def _role(view: PossessionView, column: int) -> str:
    if view.teams[column] < 0:
        return "in_paint"
    return "attacker_in_paint" if view.teams[column] == view.team else "defender_in_paint"


def _counts(view: PossessionView, inside: np.ndarray, event: Event) -> np.ndarray:
    """Others in the paint at each moment, this event's handler never counted, with or without the ball, (T,)."""
    others = view.tracks != event.actor("handler")
    return inside[:, others].sum(axis=1)


def _around(view: PossessionView, moment_s: float, half_s: float) -> np.ndarray:
    """Moments within ``half_s`` of a time, the nearest one always included, as indices."""
    near = np.abs(view.t_s - moment_s)
    return np.flatnonzero((near <= half_s + 1e-6) | (near == near.min()))
