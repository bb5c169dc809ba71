"""Faults: situations that a fault file calls one, each with its evidence, grouped so that one fault is told once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import pyarrow as pa

from pipeline.actions.events import Event, events_to_table
from pipeline.actions.view import PossessionView
from pipeline.conditions import predicate
from pipeline.spacing.arrivals import arrivals
from pipeline.spacing.ball_situations import ball_inside, catches, post_ups, touches
from pipeline.spacing.judging import chance_of, holds_over
from pipeline.spacing.rules import End, FaultLibrary, FaultRule, values_of
from pipeline.spacing.scene import Moment, Scene, Spell, of_action, scene
from pipeline.spacing.screen_situations import (
    dead_dribbles,
    on_ball_screens,
    screeners_after,
    used_screens,
    zipper_cuts,
)
from pipeline.spacing.settings import SpacingSettings
from pipeline.spacing.situations import SITUATION, SITUATIONS, Lasting
from pipeline.spacing.spells import ball_side, moments_of, two_teammates
from pipeline.spacing.tables import FAULTS


def _actions_of(kind: str) -> Callable[[Scene], list[Moment]]:
    return lambda scene: [of_action(event, kind, {}, {}) for event in scene.of_kind(kind)]


MOMENTS: Mapping[str, Callable[[Scene], list[Moment]]] = MappingProxyType(
    {
        "arrival": arrivals,
        "on_ball_screen": on_ball_screens,
        "used_screen": used_screens,
        "dead_dribble": dead_dribbles,
        "catch": catches,
        "touch": touches,
        "post_up": post_ups,
        "after_screen": screeners_after,
        "ball_inside": ball_inside,
        "zipper_cut": zipper_cuts,
        "drive": _actions_of("drive"),
        "off_ball_screen": _actions_of("off_ball_screen"),
    }
)
"""Finders of moments by situation."""

SPELLS: Mapping[str, Callable[[Scene], Iterator[Spell]]] = MappingProxyType(
    {"two_teammates": two_teammates, "ball_side": ball_side}
)
"""Finders of spells by situation."""

assert {s.name for s in SITUATIONS} == {*MOMENTS, *SPELLS}


def find_faults(
    views: Sequence[PossessionView], actions: Sequence[Event], library: FaultLibrary, settings: SpacingSettings
) -> pa.Table:
    """Look for every fault of a library in every possession; the ``faults`` table.

    A fault's score is how sure it is that its situation was there, times how sure it is that its condition holds,
    given how sure the places and numbers are. What a rule needs and nobody saw makes no fault, nor does what is less
    sure than ``least_score``.
    """
    found: list[Event] = []
    for view in views:
        found.extend(faults_of(scene(view, actions, settings), library))
    return events_to_table(found, FAULTS)


def faults_of(one: Scene, library: FaultLibrary) -> list[Event]:
    """The faults of one possession, in order of the library."""
    moments: dict[str, list[Moment]] = {}
    spells: dict[str, list[Spell]] = {}
    found: list[Event] = []
    for rule in library:
        if rule.about.lasting is Lasting.MOMENT:
            if rule.situation not in moments:
                moments[rule.situation] = MOMENTS[rule.situation](one)
            holds = predicate(rule.where)
            hits = [m for m in moments[rule.situation] if holds(values_of(m.event))]
        else:
            if rule.situation not in spells:
                spells[rule.situation] = list(SPELLS[rule.situation](one))
            hits = [
                moment
                for spell in spells[rule.situation]
                for moment in moments_of(
                    one, spell, holds_over(rule.where, {**spell.measures, **spell.traits}), rule.for_s
                )
            ]
        told = (_candidate(rule, group) for group in _grouped(hits, rule.once_s))
        found.extend(event for event in told if event.score >= one.settings.least_score)
    return found


def _grouped(moments: Sequence[Moment], within_s: float) -> list[list[Moment]]:
    """Moments of the same main actor at most ``within_s`` after one another, in order of time.

    What lasts and is taken up again by the same players within that time of its end is one, too: unsure places break
    it.
    """
    groups: list[list[Moment]] = []
    for moment in sorted(moments, key=lambda m: m.event.t_s):
        group = next((g for g in reversed(groups) if _belongs(moment.event, g[-1].event, within_s)), None)
        if group is None:
            groups.append([moment])
        else:
            group.append(moment)
    return groups


def _belongs(event: Event, last: Event, within_s: float) -> bool:
    if event.actors[:1] != last.actors[:1]:
        return False
    lasts = SITUATION[event.kind].lasting is Lasting.SPELL and event.actors == last.actors
    return event.t_s - (last.end_s if lasts else last.t_s) <= within_s


def _candidate(rule: FaultRule, group: Sequence[Moment]) -> Event:
    chosen = group[0]
    if rule.worst is not None:
        sign, measure = (1 if rule.worst.end is End.HIGHEST else -1), rule.worst.measure
        chosen = max(group, key=lambda m: sign * m.event.measures[measure])
    return replace(
        chosen.event,
        kind=rule.name,
        start_s=min(m.event.start_s for m in group),
        end_s=max(m.event.end_s for m in group),
        score=float(chosen.event.score * chance_of(rule.where, chosen)),
    )
