"""One film, all stages, into a library."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from importlib.metadata import version
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ball.path import ball_path
from pipeline.ball.possessions import possessions
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.pins import PinnedFrame
from pipeline.court.registration import register
from pipeline.court.settings import BookName
from pipeline.court.tables import AREAS, CAMERAS, MARKS, MOTION
from pipeline.crew import Crew, LocalCrew, Spread, in_turn
from pipeline.errors import ElbowroomError, FilmError
from pipeline.film.fetching import FilmPlace, film_digest
from pipeline.film.live import confirm_registered, judge_shots
from pipeline.film.probe import probe
from pipeline.film.tables import FRAMES, SHOTS
from pipeline.library.floor_doubt import floor_doubt
from pipeline.library.games import Game, Library, note_film_path, write_game_file
from pipeline.library.pins import read_pins
from pipeline.library.rosters import Rosters
from pipeline.night.clock_stage import clock_stage
from pipeline.night.jerseys import team_colours
from pipeline.night.looking import Stopwatch
from pipeline.night.play_stages import book_of, bring_tags, play_stages
from pipeline.night.stages import Progress, Ran, Stage, Tables, clear_unfinished, clear_units, has_units, run_stage
from pipeline.night.tables import SHOTS_SEEN
from pipeline.night.units import kept
from pipeline.night.vision import PARTS, Eyes, SeenParts, see_film, see_film_together
from pipeline.players.jersey_votes import with_jerseys
from pipeline.players.tables import BOXES, NUMBERS_SEEN, TRACKS
from pipeline.players.tracking import track
from pipeline.settings import Settings
from pipeline.tags import Merge, Tag
from pipeline.whole_files import append_line, write_whole

DAMAGE = "logs/damage.txt"
"""File of a game that says what the vision pass lost to damage; empty for nothing."""

WORTH_WORKERS = 1500
"""Analysed frames of live play (two minutes) from which on it pays to start workers for the tables alone."""

VISION_CODE = (
    "film",
    "backends.py",
    "networks.py",
    "torch_backend.py",
    "court/area_network.py",
    "court/image_motion.py",
    "court/marks.py",
    "players/detector.py",
    "players/jersey_numbers.py",
    "players/body_looks.py",
    "players/kit.py",
    "players/stance.npz",
    "night/looking.py",
    "night/pieces.py",
    "night/vision.py",
)


@dataclass(frozen=True, slots=True)
class Networks:
    """How to open the networks and to tell their weights apart, by task; they are opened only if a stage needs them.

    Attributes
    ----------
    open, digests : callable
    apart : callable, optional
        Opens them in one of so many worker processes; bears pickling. Without it the vision pass stays in this one.
    lookers : callable
        How many workers are to look at the film.
    crew : callable
        The workers that the run may have in all.
    """

    open: Callable[[], Eyes]
    digests: Callable[[], Mapping[str, str]]
    apart: Callable[[int], Eyes] | None = None
    lookers: Callable[[], int] = lambda: 1
    crew: Callable[[], Crew] = lambda: LocalCrew(1)


@dataclass(frozen=True, slots=True)
class FilmRun:
    """What running a film came to.

    Attributes
    ----------
    game : Game
        Its folder in the library.
    stages : tuple of Ran
        What ran and what was done already.
    merge : Merge
        What its candidates did to the tag store.
    tags : tuple of Tag
        The game's tags after it.
    length_s, live_s : float
        Length of the film, and of its live play.
    live_frames, registered_frames : int
        Analysed frames of live play, and those of them with a floor.
    possessions : int
        How many were found.
    damage : str
        What the film's vision pass lost to damage in the film, one sentence; empty for nothing.
    doubt : str
        That the floor was probably misread, and what to do, one sentence; empty where it was not.
    """

    game: Game
    stages: tuple[Ran, ...]
    merge: Merge
    tags: tuple[Tag, ...]
    length_s: float
    live_s: float
    live_frames: int
    registered_frames: int
    possessions: int
    damage: str
    doubt: str


def run_film(
    film: Path,
    library: Library,
    networks: Networks,
    settings: Settings,
    *,
    book: BookName | None,
    progress: Callable[[str], Progress],
    stopwatch: Stopwatch | None = None,
    address: str = "",
) -> FilmRun:
    """Run every stage on a film and bring its candidates into the tag store.

    Parameters
    ----------
    film : Path
        The film.
    library : Library
        Where the game goes. A film that is in it already (under any name) is run again there.
    networks : Networks
    settings : Settings
    book : str or None
        Rule book of a new game; a game that is there already goes by its ``game.toml``.
    progress : callable
        Called with a stage's name as it begins; gives the callback for its progress.
    stopwatch : Stopwatch, optional
        Is told what took how long in the vision pass.
    address : str
        Where the film was fetched from, if it was; workers on other machines fetch it there too.

    Raises
    ------
    FilmError
        If the film cannot be read to its end; a new game then leaves nothing behind.
    """
    info = probe(film, settings.film.decode)
    digest = film_digest(film)
    watch = stopwatch or Stopwatch()
    with library.claim(digest), networks.crew() as crew:
        game, chosen, ran = _seen_game(
            FilmPlace(film, digest, address), library, networks, settings, book, progress, crew, watch
        )
        told = game.file()
        colours = team_colours(told.team_0.jersey, told.team_1.jersey)
        rosters = {0: told.team_0.roster, 1: told.team_1.roster}
        for stage in table_stages(chosen, colours, rosters, read_pins(game), crew):
            ran.append(run_stage(stage, game, progress(stage.name)))
        watch.workers = dict(crew.used)
        clear_units(game)
        merge, tags = bring_tags(game, library, settings)
    shots, cameras = SHOTS.read(game.tables), CAMERAS.read(game.tables)
    live = shots.filter(shots["live"])
    in_play = cameras.filter(pc.is_in(cameras["shot"], live["shot"].combine_chunks()))
    result = FilmRun(
        game=game,
        stages=tuple(ran),
        merge=merge,
        tags=tags,
        length_s=info.duration_s,
        live_s=float(pc.sum(pc.subtract(live["end_s"], live["start_s"])).as_py() or 0.0),
        live_frames=in_play.num_rows,
        registered_frames=int(np.sum(np.array(in_play["status"].to_pylist(), dtype=object) != "unknown")),
        possessions=POSSESSIONS.read(game.tables).num_rows,
        damage=_damage_of(game),
        doubt=floor_doubt(game, in_play),
    )
    _log(result, film)
    return result


def _seen_game(
    place: FilmPlace,
    library: Library,
    networks: Networks,
    settings: Settings,
    book: BookName | None,
    progress: Callable[[str], Progress],
    crew: Crew,
    watch: Stopwatch,
) -> tuple[Game, Settings, list[Ran]]:
    """The film's game after the vision pass, and the settings with the game's own rule book."""
    film, digest = place.path, place.digest
    known = library.game_of_film(digest)
    game = known or library.begin(film, digest)
    clear_unfinished(game)
    if known is not None:
        note_film_path(known, film)
    try:
        if known is None:
            write_game_file(game, film, digest, book)
        told = game.file().rule_book
        chosen = settings.with_rule_book(told) if told else settings
        stage = _vision_stage(place, networks, chosen, partial(_note_damage, game), crew, watch)
        ran = run_stage(stage, game, progress(stage.name))
    except ElbowroomError as error:
        refused = isinstance(error, FilmError) and not isinstance(error.__cause__, OSError)
        if known is None and (refused or not has_units(game)):
            library.drop(game)  # the film is no good, or nothing has been seen of it yet
        raise
    return (library.keep(game) if known is None else game), chosen, [ran]


def _note_damage(game: Game, told: str) -> None:
    """Keep what the vision pass lost to damage: a run that is killed after it, or the next, must tell it too."""
    path = game.folder / DAMAGE
    path.parent.mkdir(exist_ok=True)
    write_whole(path, told)


def _damage_of(game: Game) -> str:
    path = game.folder / DAMAGE
    return path.read_text(encoding="utf-8") if path.is_file() else ""


def _log(result: FilmRun, film: Path) -> None:
    """Add a run to the game's log, one JSON object a line."""
    entry = {
        "when": datetime.now(UTC).isoformat(timespec="seconds"),
        "version": version("elbowroom"),
        "film": str(film),
        "stages": {ran.stage: round(ran.seconds, 2) for ran in result.stages if ran.ran},
        "unchanged": [ran.stage for ran in result.stages if not ran.ran],
        "tags": {
            "new": result.merge.new,
            "found again": result.merge.kept,
            "not found again": result.merge.missing,
            "changed": dict(result.merge.changed),
        },
        "damage": result.damage,
    }
    folder = result.game.folder / "logs"
    folder.mkdir(exist_ok=True)
    append_line(folder / "runs.jsonl", json.dumps(entry))


def table_stages(
    settings: Settings,
    colours: np.ndarray | None = None,
    rosters: Rosters = MappingProxyType({}),
    pins: Sequence[PinnedFrame] = (),
    crew: Crew | None = None,
) -> tuple[Stage, ...]:
    """The stages after the vision pass, from tables to tables, in order.

    ``colours`` are the teams' jerseys as staff gave them, CIELAB (2, 3); ``rosters`` who wears which number; ``pins``
    landmarks of the floor that staff pinned. With a crew, its workers share the shots of a long film.
    """
    numbers = {team: sorted(roster) for team, roster in rosters.items()}
    kits = {"jerseys": "" if colours is None else str(np.round(colours, 3).tolist()), "rosters": str(numbers)}
    return (
        clock_stage(settings),
        Stage(
            "court",
            (MARKS, AREAS, FRAMES, MOTION, SHOTS_SEEN),
            (CAMERAS, SHOTS),
            ("court", "film/live.py"),
            [settings.court, settings.film.live],
            _court_of(settings, pins, crew),
            {"pins": str([(one.frame, sorted(one.points.items())) for one in pins])},
        ),
        Stage(
            "players",
            (BOXES, CAMERAS, SHOTS, NUMBERS_SEEN),
            (TRACKS,),
            ("players",),
            [settings.players, settings.numbers.voting],
            _players_of(settings, colours, numbers, crew),
            kits,
        ),
        Stage(
            "ball",
            (BOXES, CAMERAS, TRACKS),
            (BALL, TOUCHES, POSSESSIONS),
            ("ball",),
            [settings.ball],
            _ball_of(settings, crew),
        ),
        *play_stages(settings),
    )


def _vision_stage(
    place: FilmPlace,
    networks: Networks,
    settings: Settings,
    on_damage: Callable[[str], None],
    crew: Crew,
    watch: Stopwatch,
) -> Stage:
    looks = {"analysed_frames_per_s", "least_floor_share", "stretch_s", "piece_s"}
    night = settings.night.model_dump(include=looks)
    depends = {"film": place.digest, **networks.digests()}

    def run(_tables: Tables, progress: Progress, units: Path) -> Tables:
        parts = SeenParts(units)
        lookers = networks.lookers()
        if networks.apart is not None and (lookers > 1 or crew.elsewhere):
            apart = partial(networks.apart, lookers)
            seen = see_film_together(place, apart, settings, parts, progress, crew, lookers, watch)
        else:
            seen = see_film(place.path, networks.open(), settings, parts, progress, watch)
        on_damage(seen.damage)
        readings = seen.tables["bug_readings"]
        shots = judge_shots(seen.found, seen.tables["evidence"], settings.film.live, readings=readings)
        return {"shots_seen": shots, **seen.tables}

    looked_with = [settings.film, settings.court.marks, settings.court.motion, settings.numbers.reading, night]
    return Stage("film", (), (SHOTS_SEEN, *PARTS), VISION_CODE, looked_with, run, depends)


def _spread(crew: Crew | None, frames: int) -> Spread:
    """Workers where they are there already, or where there is enough to do to start them."""
    return in_turn if crew is None or not (crew.begun or frames >= WORTH_WORKERS) else crew.spread


def _court_of(
    settings: Settings, pins: Sequence[PinnedFrame], crew: Crew | None
) -> Callable[[Tables, Progress, Path], Tables]:
    def run(tables: Tables, progress: Progress, units: Path) -> Tables:
        seen = tables["shots_seen"]
        pinned = tables["frames"].filter(
            pc.is_in(tables["frames"]["frame"], pa.array([p.frame for p in pins], pa.int64()))
        )
        shots = {*seen.filter(pc.field("live"))["shot"].to_pylist(), *pinned["shot"].to_pylist()}
        live = pa.array(sorted(shots), pa.int32())
        areas, frames = (tables[name].filter(pc.is_in(tables[name]["shot"], live)) for name in ("areas", "frames"))
        cameras = register(
            tables["marks"],
            areas,
            settings.court.registration,
            frames=frames,
            motion=tables["motion"],
            pins=pins,
            spread=kept(_spread(crew, frames.num_rows), units),
        )
        registered = pc.not_equal(cameras["status"], "unknown").to_numpy()
        shots = confirm_registered(seen, cameras["shot"].to_numpy(), registered, settings.film.live)
        progress(1, 1)
        return {"cameras": cameras, "shots": shots}

    return run


def _players_of(
    settings: Settings, colours: np.ndarray | None, rosters: Mapping[int, Sequence[str]], crew: Crew | None
) -> Callable[[Tables, Progress, Path], Tables]:
    def run(tables: Tables, progress: Progress, units: Path) -> Tables:
        seen = (tables["boxes"], tables["cameras"], tables["shots"])
        spread = kept(_spread(crew, tables["cameras"].num_rows), units)
        found = track(
            *seen,
            settings.players,
            team_colours=colours,
            numbers_seen=tables["numbers_seen"],
            voting=settings.numbers.voting,
            on_shot=progress,
            spread=spread,
        )
        return {"tracks": with_jerseys(found, tables["numbers_seen"], rosters, settings.numbers.voting)}

    return run


def _ball_of(settings: Settings, crew: Crew | None) -> Callable[[Tables, Progress, Path], Tables]:
    def run(tables: Tables, progress: Progress, units: Path) -> Tables:
        tracks, cameras = tables["tracks"], tables["cameras"]
        spread = kept(_spread(crew, cameras.num_rows), units)
        path, held = ball_path(tables["boxes"], cameras, tracks, settings.ball, spread=spread)
        progress(1, 2)
        book = book_of(tables["cameras"])
        spells = POSSESSIONS.empty() if book is None else possessions(held, tracks, book, settings.ball)
        progress(2, 2)
        return {"ball": path, "touches": held, "possessions": spells}

    return run
