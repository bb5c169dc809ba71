"""Tracking data from elsewhere into a library: the same rules as for film, without a film."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pyarrow as pa

from pipeline.actions.coinciding import coinciding
from pipeline.actions.settings import ViewSettings
from pipeline.ball.imported_ball import play_tables
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.rule_books import RuleBook, rule_book
from pipeline.court.settings import BookName
from pipeline.errors import LibraryError
from pipeline.film.tables import CLOCK
from pipeline.library.games import Game, Library, TrackingFile, write_tracking_game_file
from pipeline.night.play_stages import bring_tags, play_stages
from pipeline.night.stages import Progress, Ran, Stage, Tables, file_digest, run_stage
from pipeline.night.tracking_files import POSSESSIONS_FILE, TRACKS_FILE, read_tracking
from pipeline.players.imported_play import Stretch, first_frames, games_of, laid_apart
from pipeline.players.imported_rows import Convention, Rows, read_rows
from pipeline.players.tables import TRACKS
from pipeline.settings import Settings
from pipeline.tags import Merge, Tag
from pipeline.whole_files import append_line

IMPORT_CODE = ("players", "ball")


@dataclass(frozen=True, slots=True)
class Imported:
    """What importing one game came to.

    Attributes
    ----------
    game : Game
        Its folder in the library.
    stages : tuple of Ran
        What ran and what was done already.
    merge : Merge
    tags : tuple of Tag
        The game's tags after it.
    length_s : float
        Length of its stretches of play.
    moments, stretches, possessions : int
    unused : tuple of str
        Columns of the data that were not read.
    merged : tuple of float
        When, on the game's clock, two players are first told to be at one place, for every stretch that has it.
    """

    game: Game
    stages: tuple[Ran, ...]
    merge: Merge
    tags: tuple[Tag, ...]
    length_s: float
    moments: int
    stretches: int
    possessions: int
    unused: tuple[str, ...]
    merged: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Given:
    """One game of a file, read and checked, not yet in the library."""

    name: str
    tracking: TrackingFile
    teams: tuple[str, str]
    stretches: tuple[Stretch, ...]
    unused: tuple[str, ...]


def import_tracks(
    files: Sequence[Path],
    library: Library,
    settings: Settings,
    *,
    book: BookName = "nba",
    convention: Convention | None = None,
    progress: Callable[[str], Progress] = lambda _name: _silent,
) -> tuple[Imported, ...]:
    """Read files of tracking data and run every rule on them.

    All files are read and checked before anything is written. A file's games become games of the library, one for
    every name in its column ``game``; what is there already is run again.

    Parameters
    ----------
    files : sequence of Path
        CSV or Parquet with the columns of :mod:`pipeline.players.imported_rows`, or folders in the form of
        :mod:`pipeline.night.tracking_files`.
    library : Library
    settings : Settings
    book : str
        Rule book of the court.
    convention : Convention, optional
        How places are measured; from a corner, y away from the camera, if left out.
    progress : callable
        Called with a stage's name as it begins; gives the callback for its progress.

    Raises
    ------
    TrackingError
        If a file is not in the documented form; nothing is written then.
    LibraryError
        If a game is there already with another rule book or another way of measuring.
    """
    court = rule_book(book)
    chosen = convention or Convention()
    step = progress("reading")
    given: list[_Given] = []
    for number, path in enumerate(files):
        given += _read(path, court, chosen, settings)
        step(number + 1, len(files))
    for one in given:
        _check_known(one, library, book)
    step = progress("importing")
    done: list[Imported] = []
    for number, one in enumerate(given):
        done.append(_bring(one, library, settings, court))
        step(number + 1, len(given))
    return tuple(done)


def _read(path: Path, book: RuleBook, convention: Convention, settings: Settings) -> list[_Given]:
    table, source = read_tracking(path)
    rows = read_rows(table, source, book, convention)
    data = _data_digest(path)
    return [
        _given(path, game, stretches, rows, data, convention, settings)
        for game, stretches in games_of(rows, book, settings.imported).items()
    ]


def _given(
    path: Path,
    game: str,
    stretches: Sequence[Stretch],
    rows: Rows,
    data: str,
    convention: Convention,
    settings: Settings,
) -> _Given:
    digest = hashlib.sha256(f"{data}/{game}".encode()).hexdigest()
    tracking = TrackingFile(
        path=str(path.resolve()), digest=digest, origin=convention.origin, y_axis=convention.y_axis
    )  # fmt: skip
    name = f"{path.stem}-{game}" if game else path.stem
    return _Given(name, tracking, rows.team_names, laid_apart(stretches, settings.imported), rows.unused)


def _data_digest(path: Path) -> str:
    """Recognises the data wherever it lies: SHA-256 over its files."""
    parts = [path / TRACKS_FILE, path / POSSESSIONS_FILE] if path.is_dir() else [path]
    return hashlib.sha256("".join(file_digest(part) for part in parts if part.is_file()).encode()).hexdigest()


def _check_known(given: _Given, library: Library, book: BookName) -> None:
    """A game that is there already was measured as it is now."""
    known = library.game_of_film(given.tracking.digest)
    if known is None:
        return
    told = known.file()
    before = told.tracking
    if told.rule_book not in ("", book):
        raise LibraryError(
            f"Game '{known.name}' is on a {told.rule_book} court by its game.toml; say --rule-book {told.rule_book}, "
            f"or change {known.folder / 'game.toml'}."
        )
    if before is None:
        return
    for option, now, then in (
        ("--origin", given.tracking.origin, before.origin),
        ("--y-axis", given.tracking.y_axis, before.y_axis),
    ):
        if now != then:
            raise LibraryError(
                f"Game '{known.name}' was imported with {option} {then}; say so again, or change "
                f"{known.folder / 'game.toml'}."
            )


def _bring(given: _Given, library: Library, settings: Settings, book: RuleBook) -> Imported:
    """Write one game and run every rule on it."""
    digest = given.tracking.digest
    with library.claim(digest):
        known = library.game_of_film(digest)
        game = known or library.begin(Path(f"{given.name}.tracks"), digest)
        try:
            if known is None:
                write_tracking_game_file(game, given.tracking, book.name, given.teams)
            stages = (_import_stage(given, settings, book), *play_stages(settings, book))
            ran = tuple(run_stage(stage, game, _silent) for stage in stages)
        except BaseException:
            if known is None:
                library.drop(game)
            raise
        game = library.keep(game) if known is None else game
    merge, tags = bring_tags(game, library, settings)
    result = Imported(
        game=game,
        stages=ran,
        merge=merge,
        tags=tags,
        length_s=float(sum(s.t_s[-1] - s.t_s[0] for s in given.stretches)),
        moments=sum(len(s.t_s) for s in given.stretches),
        stretches=len(given.stretches),
        possessions=POSSESSIONS.read(game.tables).num_rows,
        unused=given.unused,
        merged=tuple(t for s in given.stretches for t in _first_merged_s(s, settings.actions.view)),
    )
    _log(result, given)
    return result


def _first_merged_s(stretch: Stretch, rules: ViewSettings) -> list[float]:
    """When two players of a stretch are first told to be at one place for a while; empty if never."""
    place = stretch.players_ft[:, ~stretch.official]
    gap = np.linalg.norm(place[:, :, None] - place[:, None], axis=3)
    found = coinciding(gap, float(np.median(np.diff(stretch.t_s))), rules).any(axis=(1, 2))
    return [float(stretch.t_s[found][0])] if found.any() else []


def _silent(_done: float, _total: float) -> None:
    """Progress that nobody watches."""


def _import_stage(given: _Given, settings: Settings, book: RuleBook) -> Stage:
    """The stage that writes the tables which film gets from the vision pass on."""

    def run(_tables: Tables, progress: Progress, _units: Path) -> Tables:
        play = play_tables(given.stretches, book, settings.imported, settings.ball)
        progress(1, 1)
        return {
            "tracks": play.tracks,
            "ball": play.ball,
            "touches": play.touches,
            "possessions": play.possessions,
            "clock": clock_table(given.stretches),
        }

    depends = {
        "data": given.tracking.digest,
        "rule book": book.name,
        "measured": f"{given.tracking.origin}, {given.tracking.y_axis}",
    }
    writes = (TRACKS, BALL, TOUCHES, POSSESSIONS, CLOCK)
    return Stage("import", (), writes, IMPORT_CODE, [settings.imported, settings.ball], run, depends)


def clock_table(stretches: Sequence[Stretch]) -> pa.Table:
    """The game's time at every moment, as the data tells it."""
    parts = [CLOCK.empty()]
    for stretch, first in zip(stretches, first_frames(stretches), strict=True):
        count = len(stretch.t_s)
        known = np.isfinite(stretch.clock_s)
        has_period = np.isfinite(stretch.period) & (np.abs(stretch.period) < 100)
        period = np.where(has_period, np.nan_to_num(stretch.period), 0).astype(np.int8)
        parts.append(
            CLOCK.from_columns(
                {
                    "frame": first + np.arange(count),
                    "t_s": stretch.t_s,
                    "period": pa.array(period, pa.int8(), mask=~has_period),
                    "game_clock_s": pa.array(stretch.clock_s.astype(np.float32), pa.float32(), mask=~known),
                    "shot_clock_s": pa.nulls(count, pa.float32()),
                    "running": pa.nulls(count, pa.bool_()),
                    "status": np.where(known, "read", "hidden"),
                }
            )
        )
    return pa.concat_tables(parts)


def _log(result: Imported, given: _Given) -> None:
    """Add an import to the game's log, one JSON object a line."""
    entry = {
        "when": datetime.now(UTC).isoformat(timespec="seconds"),
        "version": version("elbowroom"),
        "tracking": given.tracking.path,
        "stages": {ran.stage: round(ran.seconds, 2) for ran in result.stages if ran.ran},
        "unchanged": [ran.stage for ran in result.stages if not ran.ran],
        "tags": {
            "new": result.merge.new,
            "found again": result.merge.kept,
            "not found again": result.merge.missing,
            "changed": dict(result.merge.changed),
        },
        "unused columns": list(given.unused),
    }
    folder = result.game.folder / "logs"
    folder.mkdir(exist_ok=True)
    append_line(folder / "runs.jsonl", json.dumps(entry))
