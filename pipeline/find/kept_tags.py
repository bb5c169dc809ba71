"""Tags read once: rows kept beside the games' index, of which only those are read again that somebody changed.

Every change of a tag adds a line to its history, so a row is good as long as its tag's newest line is the one that the
row was read with. What staff's decisions taught is kept likewise, by those decisions. Where nothing can be written
everything is read anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.find.index import FOLDER
from pipeline.find.maps import spread
from pipeline.find.tag_rows import TAG_ROWS, rows_of
from pipeline.library.games import Library
from pipeline.tags import TagStore
from pipeline.tags.evidence_model import Basis, Feature, Model, Part
from pipeline.tags.ranking import VERSION as RANKING_VERSION
from pipeline.tags.ranking import by_kind, decisions_key, models_of
from pipeline.tags.records import Family

VERSION = 1
"""Raised when rows are made otherwise."""

TAGS_FILE = f"tags-{VERSION}.arrow"
MODELS_FILE = f"models-{VERSION}.json"

_KEPT = pa.schema([*TAG_ROWS, ("line", pa.int64()), ("line_at", pa.string())])


def kept_tag_rows(library: Library, store: TagStore, names: Sequence[str] = TAG_ROWS.names) -> pa.Table:
    """Every tag of a library's store, withdrawn ones too, with its probability: ``TAG_ROWS``.

    Parameters
    ----------
    library : Library
        Where rows are kept.
    store : TagStore
        Its store.
    names : sequence of str
        The columns that are wanted.
    """
    folder = library.root / FOLDER
    lines = store.latest_lines()
    before = _read(folder / TAGS_FILE)
    now, changed = _brought_up(before, lines, store)
    stamp = _stamp(lines)
    if changed or before is None or (before.schema.metadata or {}).get(b"stamp") != stamp:
        now = _with_probabilities(now, _models(folder / MODELS_FILE, store))
        now = now.replace_schema_metadata({b"stamp": stamp})
        _keep(folder / TAGS_FILE, _as_stream(now))
    return now.select(names).replace_schema_metadata(None)


def _stamp(lines: Mapping[int, tuple[int, str]]) -> bytes:
    told = repr((RANKING_VERSION, sorted(lines.items())))
    return hashlib.blake2b(told.encode(), digest_size=16).hexdigest().encode()


def _brought_up(
    before: pa.Table | None, lines: Mapping[int, tuple[int, str]], store: TagStore
) -> tuple[pa.Table, bool]:
    """Rows of all tags, those that are as they were taken over; and whether any was not."""
    if before is None:
        before = _KEPT.empty_table()
    kept = zip(before["tag"].to_pylist(), before["line"].to_pylist(), before["line_at"].to_pylist(), strict=True)
    good = np.array([lines.get(tag) == (line, at) for tag, line, at in kept], dtype=bool)
    same = before.filter(pa.array(good, pa.bool_()))
    missing = set(lines) - set(same["tag"].to_pylist())
    if not missing and len(same) == len(before):
        return before, False
    fresh = rows_of(store.tags_of(missing), {})
    told = [lines[tag] for tag in fresh["tag"].to_pylist()]
    fresh = fresh.append_column("line", pa.array([line for line, _ in told], pa.int64()))
    fresh = fresh.append_column("line_at", pa.array([at for _, at in told], pa.string()))
    return pa.concat_tables([same.cast(_KEPT), fresh.cast(_KEPT)]).combine_chunks(), True


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Evidence of rows of one kind, see :class:`pipeline.tags.evidence_model.Evidences`."""

    table: pa.Table
    measures: Mapping[str, pa.Array]
    traits: Mapping[str, pa.Array]

    def scores(self) -> np.ndarray:
        return np.asarray(self.table["score"].to_numpy(), dtype=float)

    def measure(self, name: str) -> np.ndarray:
        found = self.measures.get(name)
        if found is None:
            return np.full(self.table.num_rows, np.nan)
        return np.asarray(pc.fill_null(found, np.nan).to_numpy(zero_copy_only=False), dtype=float)

    def is_word(self, trait: str, word: str) -> np.ndarray:
        found = self.traits.get(trait)
        if found is None:
            return np.full(self.table.num_rows, word == "unknown")
        return np.asarray(pc.equal(pc.fill_null(found, "unknown"), word).to_numpy(zero_copy_only=False), dtype=bool)


def _with_probabilities(rows: pa.Table, models: Mapping[tuple[Family, str], Model]) -> pa.Table:
    """The same rows, ``probability`` by the models of their kinds; the score where there is none."""
    found = np.clip(np.asarray(rows["score"].to_numpy(), dtype=float), 0, 1)
    for (family, kind), model in models.items():
        mine = pc.and_(pc.equal(rows["family"], family.value), pc.equal(rows["kind"], kind))
        own = rows.filter(mine)
        if own.num_rows:
            evidence = _Rows(own, spread(own["measures"]), spread(own["traits"]))
            found[np.asarray(mine.to_numpy())] = model.probabilities(evidence)
    place = rows.schema.get_field_index("probability")
    return rows.set_column(place, rows.schema.field(place), pa.array(found, pa.float64()))


def _models(path: Path, store: TagStore) -> Mapping[tuple[Family, str], Model]:
    """What decisions taught, learnt again only for kinds with new ones."""
    decisions = store.decisions()
    kept = _read_models(path)
    models = models_of(decisions, kept)
    keys = {kind: decisions_key(own) for kind, own in by_kind(decisions).items()}
    now = {keys[kind]: model for kind, model in models.items()}
    if now != kept:
        _keep(path, json.dumps({key: asdict(model) for key, model in now.items()}).encode())
    return models


def _read_models(path: Path) -> dict[str, Model]:
    try:
        return {key: _model(told) for key, told in json.loads(path.read_bytes()).items()}
    except (OSError, ValueError, KeyError, TypeError):  # missing or damaged: learnt again
        return {}


def _model(told: Mapping[str, Any]) -> Model:
    features = tuple(Feature(**{**one, "part": Part(one["part"])}) for one in told["features"])
    return Model(**{**told, "basis": Basis(told["basis"]), "features": features})


def _read(path: Path) -> pa.Table | None:
    """Rows kept before; None where there are none that can be read."""
    try:
        with pa.memory_map(str(path)) as source:
            table = pa.ipc.open_file(source).read_all()
    except (OSError, pa.ArrowException):
        return None
    return table if table.schema.equals(_KEPT) else None


def _as_stream(table: pa.Table) -> bytes:
    sink = pa.BufferOutputStream()
    with pa.ipc.new_file(sink, table.schema) as writer:
        writer.write_table(table)
    return sink.getvalue().to_pybytes()


def _keep(path: Path, content: bytes) -> bool:
    """Write a file whole under a temporary name and rename it; False where that cannot be."""
    temporary = path.with_suffix(f".{os.getpid()}-{os.urandom(4).hex()}.tmp")
    try:
        path.parent.mkdir(exist_ok=True)
        temporary.write_bytes(content)
        os.replace(temporary, path)
    except OSError:
        with contextlib.suppress(OSError):
            temporary.unlink()
        return False
    return True
