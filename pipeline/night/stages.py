"""Stages: what runs when, on which tables, and when it need not run again.

A stage is a plain function from tables to tables. Its key is a digest of the tables it reads, the settings of its
rooms, its rooms' source code and whatever else it declares; a stage whose key is the one in ``state.json`` and
whose tables are there is not run again. While it runs it may keep what it has done in a folder of its key
(``units/``): a killed run goes on from there, and the folder goes when the stage is done.

At every moment what can be read is whole: a stage's tables are all made under temporary names first, so that a full
disk leaves the old ones; then the stage's old entry is taken out of ``state.json``, the tables get their names, and the
new entry is written. A kill or a power cut in between costs the stage, never more.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa

import pipeline
from pipeline.errors import LibraryError
from pipeline.library.games import Game
from pipeline.tables import TableSpec
from pipeline.user_files import read_json
from pipeline.whole_files import clear_temporaries, flush_folder, write_whole

UNITS = "units"
"""Folder of a game in which stages that are not done yet keep what they have done."""

Progress = Callable[[float, float], None]
"""Called with what is done and what there is to do, in any unit."""

Tables = Mapping[str, pa.Table]
"""Tables by name."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One step of the way.

    Attributes
    ----------
    name : str
        Shown while it runs and kept in ``state.json``.
    reads, writes : tuple of TableSpec
        Tables before and after it.
    rooms : tuple of str
        Rooms, or single modules of rooms, whose source code it runs.
    settings : sequence of JSON-ready values
        The settings it depends on.
    run : callable
        From the tables it reads, a progress callback and a folder for what it has done so far, which need not be there
        yet, to the tables it writes.
    depends : mapping of str to str
        Digests of other things it depends on (the film, the weights).
    """

    name: str
    reads: tuple[TableSpec, ...]
    writes: tuple[TableSpec, ...]
    rooms: tuple[str, ...]
    settings: Sequence[Any]
    run: Callable[[Tables, Progress, Path], Tables]
    depends: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Ran:
    """What became of a stage: whether it ran or was already done, and how long it took."""

    stage: str
    ran: bool
    seconds: float


def run_stage(stage: Stage, game: Game, progress: Progress) -> Ran:
    """Run a stage on a game unless it is done already; its tables and state are written whole or not at all."""
    key = stage_key(stage, game)
    units = game.folder / UNITS / f"{stage.name}-{key[:16]}"
    done = read_state(game).get(stage.name, {})
    if done.get("key") == key and all(spec.path(game.tables).is_file() for spec in stage.writes):
        return Ran(stage.name, ran=False, seconds=0.0)
    began = time.monotonic()
    tables = stage.run({spec.name: spec.read(game.tables) for spec in stage.reads}, progress, units)
    _replace_tables(stage, tables, game)
    seconds = time.monotonic() - began
    entry = {
        "key": key,
        "finished": datetime.now(UTC).isoformat(timespec="seconds"),
        "seconds": round(seconds, 2),
        "code": code_digest(stage.rooms)[:12],
        "rows": {spec.name: tables[spec.name].num_rows for spec in stage.writes},
    }
    _write_state(game, {**read_state(game), stage.name: entry})
    shutil.rmtree(units, ignore_errors=True)
    return Ran(stage.name, ran=True, seconds=seconds)


def clear_unfinished(game: Game) -> None:
    """Take away what killed runs have left in a game that this run has claimed: files under temporary names."""
    for folder in (game.folder, game.tables, game.folder / "logs"):
        clear_temporaries(folder)


def has_units(game: Game) -> bool:
    """Whether a stage of the game has kept something of what it has done."""
    return (game.folder / UNITS).is_dir()


def clear_units(game: Game) -> None:
    """Take away what stages have kept, once all are done; some may be of settings that nobody uses any more."""
    shutil.rmtree(game.folder / UNITS, ignore_errors=True)


def stage_key(stage: Stage, game: Game) -> str:
    """Digest of everything a stage's result depends on."""
    parts: dict[str, Any] = {
        "name": stage.name,
        "reads": {spec.name: file_digest(spec.path(game.tables)) for spec in stage.reads},
        "writes": {spec.name: spec.version for spec in stage.writes},
        "settings": [_plain(value) for value in stage.settings],
        "code": code_digest(stage.rooms),
        "depends": dict(stage.depends),
    }
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def code_digest(rooms: Sequence[str]) -> str:
    """Digest of the source code of some rooms, or of single modules of them (``court/marks.py``)."""
    root = Path(pipeline.__file__).parent
    digest = hashlib.sha256()
    for room in sorted(rooms):
        place = root / room
        for path in [place] if place.is_file() else sorted(place.rglob("*.py")):
            digest.update(str(path.relative_to(root)).encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def file_digest(path: Path) -> str:
    """SHA-256 of a file; LibraryError when it is missing."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except FileNotFoundError as error:
        raise LibraryError(f"{path} is missing; delete the game's state.json and run the film again.") from error


def read_state(game: Game) -> dict[str, Any]:
    """Which stages ran; empty when nothing is known."""
    try:
        state = read_json(game.state_file, LibraryError, advice="delete it and run the film again", largest_mb=1)
    except FileNotFoundError:
        return {}
    if not isinstance(state, dict) or not all(isinstance(entry, dict) for entry in state.values()):
        raise LibraryError(f"{game.state_file} is not a record of stages; delete it and run the film again.")
    return state


ORDER = ("import", "film", "clock", "court", "players", "ball", "actions", "sets", "spacing")
"""Stages in their order; a game has the first or the second."""


def forget_from(game: Game, stage: str) -> None:
    """Take a stage and those after it for not run; their tables stay until they are replaced."""
    state = read_state(game)
    gone = ORDER[ORDER.index(stage) :]
    _write_state(game, {name: entry for name, entry in state.items() if name not in gone})


def _replace_tables(stage: Stage, tables: Tables, game: Game) -> None:
    """Give a stage's tables their places: all are made first, then its old entry goes, then they are renamed."""
    aside: list[tuple[Path, Path]] = []
    try:
        for spec in stage.writes:
            aside.append((spec.write_aside(tables[spec.name], game.tables), spec.path(game.tables)))
        _forget(game, stage.name)
        for temporary, final in aside:
            os.replace(temporary, final)
    finally:
        for temporary, _ in aside:
            temporary.unlink(missing_ok=True)
    flush_folder(game.tables)


def _forget(game: Game, stage: str) -> None:
    """Before a stage's tables are replaced one by one, take its old entry away: a kill in between reruns it."""
    state = read_state(game)
    if state.pop(stage, None) is not None:
        _write_state(game, state)


def _write_state(game: Game, state: Mapping[str, Any]) -> None:
    write_whole(game.state_file, json.dumps(state, indent=1, sort_keys=True))


def _plain(value: Any) -> Any:
    return value.model_dump(mode="json") if hasattr(value, "model_dump") else value
