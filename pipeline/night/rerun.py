"""Games of a library run again from the tables that they have: the film is opened only where it has to be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from pipeline.court.rule_books import rule_book
from pipeline.errors import LibraryError
from pipeline.library.games import Game, Library
from pipeline.library.pins import read_pins
from pipeline.night.import_tracks import import_tracks
from pipeline.night.jerseys import team_colours
from pipeline.night.play_stages import bring_tags, play_stages
from pipeline.night.run import Networks, run_film, table_stages
from pipeline.night.stages import Progress, Ran, Stage, clear_unfinished, clear_units, forget_from, run_stage
from pipeline.players.imported_rows import Convention
from pipeline.settings import Settings
from pipeline.tags import Merge, Tag


class From(StrEnum):
    """Stages that a game can be run again from, in their order."""

    FILM = "film"  # of tracking data: the import
    CLOCK = "clock"
    COURT = "court"
    PLAYERS = "players"
    BALL = "ball"
    ACTIONS = "actions"
    SETS = "sets"
    SPACING = "spacing"


@dataclass(frozen=True, slots=True)
class Rerun:
    """What running a game again came to."""

    game: Game
    stages: tuple[Ran, ...]
    merge: Merge
    tags: tuple[Tag, ...]


def rerun_game(
    game: Game,
    library: Library,
    networks: Networks,
    settings: Settings,
    *,
    since: From,
    progress: Callable[[str], Progress],
) -> Rerun:
    """Run a game's stages from one on, whether or not anything has changed; decisions are kept.

    Parameters
    ----------
    game : Game
    library : Library
    networks : Networks
        Opened only from :attr:`From.FILM` on.
    settings : Settings
    since : From
        The first stage that is run again. What is before it runs only if its inputs, settings or code have changed.
    progress : callable
        Called with a stage's name as it begins; gives the callback for its progress.

    Raises
    ------
    LibraryError
        If the game's tables or, from :attr:`From.FILM` on, its film are not there.
    """
    told = game.file()
    if told.tracking is not None:
        return _rerun_tracking(game, library, settings, since, progress)
    if since is From.FILM:
        film = game.film()
        forget_from(game, since)
        run = run_film(film, library, networks, settings, book=None, progress=progress)
        return Rerun(run.game, run.stages, run.merge, run.tags)
    chosen = settings.with_rule_book(told.rule_book) if told.rule_book else settings
    colours = team_colours(told.team_0.jersey, told.team_1.jersey)
    rosters = {0: told.team_0.roster, 1: told.team_1.roster}
    with library.claim(told.digest), networks.crew() as crew:
        stages = table_stages(chosen, colours, rosters, read_pins(game), crew)
        return _run(game, library, settings, stages, since, progress)


def _rerun_tracking(
    game: Game, library: Library, settings: Settings, since: From, progress: Callable[[str], Progress]
) -> Rerun:
    told = game.file()
    assert told.tracking is not None
    if told.rule_book == "":
        raise LibraryError(f"{game.folder / 'game.toml'} names no rule_book; write the court's into it.")
    if since in (From.ACTIONS, From.SETS, From.SPACING):
        with library.claim(told.digest):
            return _run(game, library, settings, play_stages(settings, rule_book(told.rule_book)), since, progress)
    forget_from(game, "import")
    convention = Convention(told.tracking.origin, told.tracking.y_axis)
    done = import_tracks(
        [Path(told.tracking.path)], library, settings, book=told.rule_book, convention=convention, progress=progress
    )
    own = next(one for one in done if one.game.name == game.name)
    return Rerun(own.game, own.stages, own.merge, own.tags)


def _run(
    game: Game,
    library: Library,
    settings: Settings,
    stages: tuple[Stage, ...],
    since: From,
    progress: Callable[[str], Progress],
) -> Rerun:
    clear_unfinished(game)
    forget_from(game, since)
    ran = tuple(run_stage(stage, game, progress(stage.name)) for stage in stages)
    clear_units(game)
    merge, tags = bring_tags(game, library, settings)
    return Rerun(game, ran, merge, tags)
