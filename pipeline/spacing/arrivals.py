"""Arrivals at the paint: the handler turns the corner, or his foot enters the paint on a drive.

The count is the glossary's: others (both teams, the handler not counted) with a foot in the paint, as many as stood
there for ``around_s`` around the moment.
"""

from __future__ import annotations

from types import MappingProxyType

import numpy as np

from pipeline.actions.events import Event
from pipeline.spacing.paint import paint_probability
from pipeline.spacing.scene import Moment, Scene

NAME = "arrival"
TURNS, ENTERS = "turns_the_corner", "enters_the_paint"


def arrivals(scene: Scene) -> list[Moment]:
    """The arrivals of one possession, in order of time; their measures are those of the moment itself but ``count``.

    ``count`` is the least number of others within half of ``around_s`` of the moment, so that a body passing through
    for a moment does not count. Surer or less sure places change its chances, not the count. The score is that of the
    drive or the turned corner. A corner whose handler was not seen about the moment is not known: where he pointed was
    filled in. That he came into the paint is known from where he was before and after. Who turns when he is in the
    paint already has arrived before.
    """
    found = []
    for event in scene.of_kind("corner_turned", "drive"):
        turned = event.kind == "corner_turned"
        moment_s = event.t_s if turned else event.measures["paint_entry_s"]
        column = scene.column(event, "handler")
        if not np.isfinite(moment_s) or column is None:
            continue
        if turned and (not scene.seen_about(event.t_s, column) or scene.in_paint(event.t_s, column)):
            continue
        found.append(_arrival(scene, event, column, float(moment_s), TURNS if turned else ENTERS))
    return sorted(found, key=lambda m: m.event.t_s)


def _arrival(scene: Scene, event: Event, column: int, moment_s: float, what: str) -> Moment:
    view, settings = scene.view, scene.settings
    inside = scene.spacing.in_paint.copy()
    inside[:, column] = False  # with or without the ball
    counts = inside.sum(axis=1)
    near = np.abs(view.t_s - moment_s)
    around = (near <= settings.around_s / 2 + 1e-6) | (near == near.min())
    moment = int(near.argmin())
    count = int(counts[around].min())
    first = last = moment
    while first > 0 and counts[first - 1] >= count:
        first -= 1
    while last + 1 < len(counts) and counts[last + 1] >= count:
        last += 1
    here = np.flatnonzero(inside[moment])
    chances = paint_probability(view, moment, settings.least_sigma_ft, settings.foot_ft)
    chances[column] = 0.0
    peak = counts[near <= settings.peak_within_s + 1e-6]
    found = Event(
        kind=NAME,
        shot=view.shot,
        possession=view.possession,
        start_s=event.start_s,
        end_s=max(event.end_s, moment_s, float(view.t_s[last])),
        t_s=float(view.t_s[moment]),
        actors=(("handler", int(view.tracks[column])), *((_role(scene, int(n)), int(view.tracks[n])) for n in here)),
        place_ft=view.court_place_ft(moment, column),
        attacked_end=view.end,
        measures=MappingProxyType(
            {
                "count": float(count),
                "peak_count": float(peak.max(initial=count)),
                "attackers": float(inside[moment, view.attackers].sum()),
                "defenders": float(inside[moment, view.defenders].sum()),
                "unknown_team": float(inside[moment, view.teams < 0].sum()),
                "crowded_for_s": float(view.t_s[last] - view.t_s[first]),
                "players_placed": float(np.isfinite(view.uv_ft[moment]).all(axis=1).sum()),
                "u_ft": float(view.uv_ft[moment, column, 0]),
                "v_ft": float(view.uv_ft[moment, column, 1]),
                "sigma_ft": float(view.sigma_ft[moment, column]),
            }
        ),
        score=event.score,
        traits=MappingProxyType({"moment": what}),
    )
    return Moment(found, chances=MappingProxyType({"count": tuple(float(c) for c in chances)}))


def _role(scene: Scene, column: int) -> str:
    team = scene.view.teams[column]
    if team < 0:
        return "in_paint"
    return "attacker_in_paint" if team == scene.view.team else "defender_in_paint"
