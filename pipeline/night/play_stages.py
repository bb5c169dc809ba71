"""What follows once it is known who was where and who had the ball: actions, sets, spacing, faults and their tags.

The same for film and for tracking data from elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.actions.events import Event, events_from_table
from pipeline.actions.recognisers import find_actions
from pipeline.actions.tables import ACTIONS
from pipeline.actions.view_building import possession_views
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.court.tables import CAMERAS
from pipeline.library.games import Game, Library
from pipeline.library.rosters import Rosters, called, jersey_of
from pipeline.night.stages import Progress, Stage, Tables
from pipeline.players.tables import TRACKS
from pipeline.sets.finding import find_sets
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.sets.telling import sentence_of as set_sentence
from pipeline.settings import Settings
from pipeline.spacing.faults import find_faults
from pipeline.spacing.measures import spacing_table
from pipeline.spacing.possession_measures import possession_measures_table
from pipeline.spacing.rules import Severity, sentence_of, severity_of
from pipeline.spacing.tables import FAULTS, POSSESSION_MEASURES, SPACING
from pipeline.tags import Candidate, Family, Merge, Tag
from pipeline.tags.explaining import action_sentence


def play_stages(settings: Settings, book: RuleBook | None = None) -> tuple[Stage, ...]:
    """The stages from tracks and touches on, in order.

    ``book`` is the court that the tables' feet are on; left out, it is the one that the film's cameras found.
    """
    cameras = (CAMERAS,) if book is None else ()
    depends = {} if book is None else {"rule book": book.name}
    return (
        Stage(
            "actions",
            (TRACKS, BALL, TOUCHES, POSSESSIONS, *cameras),
            (ACTIONS,),
            ("actions",),
            [settings.actions],
            _actions_of(settings, book),
            depends,
        ),
        Stage(
            "sets",
            (ACTIONS, TRACKS, BALL, *cameras),
            (SET_CANDIDATES,),
            ("conditions", "sets"),
            [settings.sets, settings.set_library],
            _sets_of(settings, book),
            depends,
        ),
        Stage(
            "spacing",
            (TRACKS, BALL, TOUCHES, POSSESSIONS, ACTIONS, *cameras),
            (SPACING, POSSESSION_MEASURES, FAULTS),
            ("actions", "conditions", "spacing"),
            [settings.actions, settings.spacing, settings.faults],
            _spacing_of(settings, book),
            depends,
        ),
    )


def bring_tags(game: Game, library: Library, settings: Settings) -> tuple[Merge, tuple[Tag, ...]]:
    """Bring a game's candidates into the tag store; what that did, and the game's tags after it."""
    told = game.file()
    rosters = {0: told.team_0.roster, 1: told.team_1.roster}
    faults = events_from_table(FAULTS.read(game.tables))
    jerseys = jersey_of(TRACKS.read(game.tables, ("track", "team", "jersey")))
    possessions = POSSESSIONS.read(game.tables)
    teams = dict(zip(possessions["possession"].to_pylist(), possessions["team"].to_pylist(), strict=True))
    candidates = [fault_candidate(event, settings, teams, jerseys, rosters) for event in faults]
    sets = SET_CANDIDATES.read(game.tables).to_pylist()
    candidates += [
        set_candidate(row, settings, teams, jerseys, rosters)
        for row in sets
        if row["complete"] or len(row["missing"]) <= settings.tags.phases_missing
    ]
    if settings.tags.actions:
        actions = events_from_table(ACTIONS.read(game.tables))
        candidates += [
            action_candidate(event, teams, jerseys, rosters) for event in actions if event.kind in settings.tags.actions
        ]
    with library.tag_store() as store:
        who = f"elbowroom {version('elbowroom')}"
        merge = store.merge(game.name, candidates, who=who, when=datetime.now(UTC))
        return merge, store.tags(game=game.name)


def fault_candidate(
    event: Event,
    settings: Settings,
    teams: Mapping[int, int | None],
    jerseys: Mapping[int, tuple[int, str]],
    rosters: Rosters,
) -> Candidate:
    """A fault as a candidate for the tag store; its sentence calls players by name or number where known."""
    rule = next(one for one in settings.faults.library if one.name == event.kind)
    told = sentence_of(event, rule, lambda track: called(track, jerseys, rosters))
    return _event_candidate(event, Family.FAULT, teams, severity_of(event, rule), told)


def set_candidate(
    row: Mapping[str, Any],
    settings: Settings,
    teams: Mapping[int, int | None],
    jerseys: Mapping[int, tuple[int, str]],
    rosters: Rosters,
) -> Candidate:
    """A set that was played as a candidate for the tag store."""
    definition = next(one for one in settings.set_library.definitions if one.name == row["kind"])
    return Candidate(
        kind=row["kind"],
        family=Family.SET,
        shot=row["shot"],
        possession=row["possession"],
        team=None if row["possession"] is None else teams.get(row["possession"]),
        start_s=row["start_s"],
        end_s=row["end_s"],
        t_s=row["t_s"],
        actors=tuple((actor["role"], actor["track"]) for actor in row["actors"]),
        measures={name: value for name, value in row["measures"] if value is not None and np.isfinite(value)},
        traits=dict(row["traits"] or []),
        score=float(row["score"]),
        severity=Severity.NOTE.value,
        sentence=set_sentence(row, definition, lambda track: called(track, jerseys, rosters)),
        ending=row["ending"],
        missing=tuple(row["missing"] or ()),
    )


def action_candidate(
    event: Event, teams: Mapping[int, int | None], jerseys: Mapping[int, tuple[int, str]], rosters: Rosters
) -> Candidate:
    """An action as a candidate for the tag store."""
    told = action_sentence(event, lambda track: called(track, jerseys, rosters))
    return _event_candidate(event, Family.ACTION, teams, Severity.NOTE, told)


def _event_candidate(
    event: Event, family: Family, teams: Mapping[int, int | None], severity: Severity, sentence: str
) -> Candidate:
    possession = event.possession if event.possession >= 0 else None
    return Candidate(
        kind=event.kind,
        family=family,
        shot=event.shot,
        possession=possession,
        team=None if possession is None else teams.get(possession),
        start_s=event.start_s,
        end_s=event.end_s,
        t_s=event.t_s,
        actors=event.actors,
        measures={name: value for name, value in event.measures.items() if np.isfinite(value)},
        traits=dict(event.traits),
        score=float(event.score),
        severity=severity.value,
        sentence=sentence,
    )


def book_of(cameras: pa.Table) -> RuleBook | None:
    """The rule book that most registered frames of a film were taken for; None when no frame is registered."""
    names = [n for n in cameras.filter(pc.field("status") != "unknown")["rule_book"].to_pylist() if n in RULE_BOOKS]
    return RULE_BOOKS[max(sorted(set(names)), key=names.count)] if names else None


def _actions_of(settings: Settings, given: RuleBook | None) -> Callable[[Tables, Progress, Path], Tables]:
    def run(tables: Tables, progress: Progress, _units: Path) -> Tables:
        book = given or book_of(tables["cameras"])
        if book is None:
            return {"actions": ACTIONS.empty()}
        play = (tables["tracks"], tables["ball"], tables["touches"], tables["possessions"])
        found = find_actions(*play, book, settings.actions)
        progress(1, 1)
        return {"actions": found}

    return run


def _sets_of(settings: Settings, given: RuleBook | None) -> Callable[[Tables, Progress, Path], Tables]:
    definitions = settings.set_library.definitions

    def run(tables: Tables, progress: Progress, _units: Path) -> Tables:
        book = given or book_of(tables["cameras"])
        if book is None:
            return {"set_candidates": SET_CANDIDATES.empty()}
        found = find_sets(definitions, tables["actions"], tables["tracks"], tables["ball"], book, settings.sets)
        progress(1, 1)
        return {"set_candidates": found}

    return run


def _spacing_of(settings: Settings, given: RuleBook | None) -> Callable[[Tables, Progress, Path], Tables]:
    def run(tables: Tables, progress: Progress, _units: Path) -> Tables:
        book = given or book_of(tables["cameras"])
        if book is None:
            return {spec.name: spec.empty() for spec in (SPACING, POSSESSION_MEASURES, FAULTS)}
        play = (tables["tracks"], tables["ball"], tables["touches"], tables["possessions"])
        views = possession_views(*play, book, settings.actions)
        actions = events_from_table(tables["actions"])
        found = find_faults(views, actions, settings.faults.library, settings.spacing)
        progress(1, 1)
        return {
            "spacing": spacing_table(views, settings.spacing),
            "possession_measures": possession_measures_table(views, actions, settings.spacing),
            "faults": found,
        }

    return run
