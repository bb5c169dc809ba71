"""From the actions of a game to its ``set_candidates``."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.actions.events import Event, events_from_table
from pipeline.court.places import PLACES
from pipeline.court.rule_books import RuleBook
from pipeline.sets.definition import SetDefinition
from pipeline.sets.emphasis import points
from pipeline.sets.floor import Floor, points_uv
from pipeline.sets.match import Match, shared_time
from pipeline.sets.matching import match_set
from pipeline.sets.meetings import HIDDEN, MET, untold_screens
from pipeline.sets.plan import Plan, plan_set
from pipeline.sets.play import Fit, Play
from pipeline.sets.settings import SetSettings
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.sets.telling import UNSEEN
from pipeline.sets.unseen import unseen_passes

HALF = 0.5
"""Share of a match's actions, or of the shorter one's time, from which on two matches are taken as one."""


def find_sets(
    definitions: Sequence[SetDefinition],
    actions: pa.Table,
    tracks: pa.Table,
    ball: pa.Table,
    book: RuleBook,
    settings: SetSettings,
) -> pa.Table:
    """Match every set against every possession of a game.

    Parameters
    ----------
    definitions : sequence of SetDefinition
    actions, tracks, ball : pa.Table
        As their rooms declare them; ``tracks`` and ``ball`` may be empty, and what they would tell is then unknown.
    book : RuleBook
    settings : SetSettings

    Returns
    -------
    pa.Table
        ``set_candidates``, in order of time.
    """
    plans = [plan_set(one) for one in definitions]
    rows: list[dict[str, Any]] = []
    for play in plays(actions, tracks, ball, book, settings):
        rows.extend(candidate_row(match, play) for match in match_play(plans, play))
    rows.sort(key=lambda row: (row["t_s"], row["kind"], row["start_s"]))
    return SET_CANDIDATES.from_rows([{**row, "event": number} for number, row in enumerate(rows)])


def plays(actions: pa.Table, tracks: pa.Table, ball: pa.Table, book: RuleBook, settings: SetSettings) -> Iterable[Play]:
    """The possessions of a game, ready for matching, in order of time."""
    events = list(events_from_table(actions))
    numbers = actions["event"].to_pylist()
    floor = Floor(tracks, ball, book, settings)
    groups: dict[tuple[int, int], list[int]] = {}
    for index, event in enumerate(events):
        groups.setdefault((event.shot, event.possession), []).append(index)
    unseen: dict[tuple[int, int], range] = {}
    for key, indices in groups.items():
        indices.sort(key=lambda i: (events[i].t_s, events[i].start_s, events[i].kind, numbers[i]))
        more: list[Event] = []
        if settings.unseen_at_most:
            here = [events[i] for i in indices]
            more = [*unseen_passes(here, floor, settings), *untold_screens(here, floor, settings)]
        unseen[key] = range(len(events), len(events) + len(more))
        events += more
    points = points_uv(events, floor)
    grades = floor.grades(points.reshape(-1, 2)).reshape(len(events), 3, len(PLACES))
    for key, indices in groups.items():
        chosen = np.array([*indices, *unseen[key]])
        yield Play(
            [events[i] for i in chosen], [numbers[i] for i in indices], points[chosen], grades[chosen], floor, settings
        )


def match_play(plans: Sequence[Plan], play: Play) -> list[Match]:
    """Matches of all sets in one possession, the best of those that are made of the same actions.

    Complete matches come first, then those that ask for more, then the better. A match goes when one before it has used
    :data:`HALF` of the actions of its main line; a complete one also goes when its file yields to a set that was
    completely played at the same time, or when it takes a screen on trust and another has all in it that was seen.
    """
    every = [match for plan in plans for match in match_set(plan, play)]
    found = [match for match in every if not any(_explains(other, match, play) for other in every)]
    kept: list[Match] = []
    for match in sorted(
        found, key=lambda one: (not one.complete, -one.size(), one.rank()[1:], one.plan.definition.name)
    ):
        main = (
            frozenset(index for index in match.main if index < len(play.numbers)) or match.main
        )  # what was seen of it
        if any(len(main & other.used) >= HALF * len(main) for other in kept if other.plan is not match.plan):
            continue
        if not any(_yields(match, other) for other in found):
            kept.append(match)
    return kept


def _explains(other: Match, match: Match, play: Play) -> bool:
    """Whether a whole set without anything on trust has in it all that was seen of a match with a screen on trust.

    Two meet so often that a screen where one was hidden and none was seen to run by explains nothing there.
    """
    if not other.complete or _on_trust(other):
        return False
    if all(play.events[fit.index].traits.get(MET) != HIDDEN for fit in _on_trust(match)):
        return False
    seen = frozenset(index for index in match.main if index < len(play.numbers))
    return bool(seen) and seen <= other.main


def _on_trust(match: Match) -> list[Fit]:
    """What a match takes on trust."""
    return [met.fit for met in match.met if met.fit is not None and not met.fit.seen]


def _yields(match: Match, other: Match) -> bool:
    if not other.complete or other.plan.definition.name not in match.plan.definition.yields_to:
        return False
    if len(match.main) > 1 and _on_trust(other):
        return False  # only a bare screen yields to what was taken on trust
    return shared_time(match.start_s, match.end_s, other.start_s, other.end_s) >= HALF


def candidate_row(match: Match, play: Play) -> dict[str, Any]:
    """A match as a row of ``set_candidates``; its number is still missing."""
    moment: Event = play.events[match.moment]
    definition = match.plan.definition
    emphases = points(match, play)
    measures = [
        (point.measure, None if math.isnan(point.value) else point.value)
        for point in emphases
        if not isinstance(point.value, str)
    ]
    traits = [(point.emphasis.name, point.grade.value) for point in emphases]
    traits += [(f"{point.emphasis.name}_was", point.value) for point in emphases if isinstance(point.value, str)]
    traits += [(UNSEEN, met.phase.name) for met in match.met if met.fit is not None and not met.fit.seen]
    traits += [("counter", match.counter or "none"), ("side", "as_drawn" if match.mirror > 0 else "mirrored")]
    return {
        "kind": definition.name,
        "shot": moment.shot,
        "possession": moment.possession if moment.possession >= 0 else None,
        "start_s": match.start_s,
        "end_s": match.end_s,
        "t_s": match.t_s,
        "actors": [
            {"role": player.name, "track": track}
            for player, track in zip(definition.players, match.tracks, strict=True)
            if track is not None
        ],
        "x_ft": moment.place_ft[0],
        "y_ft": moment.place_ft[1],
        "attacked_end": moment.attacked_end,
        "measures": measures,
        "traits": traits,
        "score": match.score,
        "ending": match.ending,
        "complete": match.complete,
        "phases": [
            {
                "name": met.phase.name,
                "found": fit is not None and fit.seen,
                "event": None if fit is None or not fit.seen else play.numbers[fit.index],
                "start_s": None if fit is None else fit.start_s,
                "end_s": None if fit is None else fit.end_s,
            }
            for met in match.met
            for fit in (met.fit,)
        ],
        "missing": list(match.missing),
    }
