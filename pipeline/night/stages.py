"""Stages: what runs when, on which tables, and when it need not run again.

A stage is a plain function from tables to tables. Its key is a digest of the tables it reads, the settings of its
rooms, its rooms' source code and whatever else it declares; a stage whose key is the one in ``state.json`` and
whose tables are there is not run again.
"""

from __future__ import annotations

import hashlib
import json
import os
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
        From the tables it reads, and a progress callback, to the tables it writes.
    depends : mapping of str to str
        Digests of other things it depends on (the film, the weights).
    """

    name: str
    reads: tuple[TableSpec, ...]
    writes: tuple[TableSpec, ...]
    rooms: tuple[str, ...]
    settings: Sequence[Any]
    run: Callable[[Tables, Progress], Tables]
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
    state = read_state(game)
    done = state.get(stage.name, {})
    if done.get("key") == key and all(spec.path(game.tables).is_file() for spec in stage.writes):
        return Ran(stage.name, ran=False, seconds=0.0)
    began = time.monotonic()
    tables = stage.run({spec.name: spec.read(game.tables) for spec in stage.reads}, progress)
    _forget(game, stage.name)
    for spec in stage.writes:
        spec.write(tables[spec.name], game.tables)
    seconds = time.monotonic() - began
    entry = {
        "key": key,
        "finished": datetime.now(UTC).isoformat(timespec="seconds"),
        "seconds": round(seconds, 2),
        "code": code_digest(stage.rooms)[:12],
        "rows": {spec.name: tables[spec.name].num_rows for spec in stage.writes},
    }
    _write_state(game, {**read_state(game), stage.name: entry})
    return Ran(stage.name, ran=True, seconds=seconds)


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
        state = json.loads(game.state_file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise LibraryError(f"{game.state_file} is damaged ({error}); delete it and run the film again.") from error
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


def _forget(game: Game, stage: str) -> None:
    """Before a stage's tables are replaced one by one, take its old entry away: a kill in between reruns it."""
    state = read_state(game)
    if state.pop(stage, None) is not None:
        _write_state(game, state)


def _write_state(game: Game, state: Mapping[str, Any]) -> None:
    temporary = game.state_file.with_suffix(f".{os.getpid()}.tmp")
    temporary.write_text(json.dumps(state, indent=1, sort_keys=True), encoding="utf-8")
    os.replace(temporary, game.state_file)


def _plain(value: Any) -> Any:
    return value.model_dump(mode="json") if hasattr(value, "model_dump") else value
