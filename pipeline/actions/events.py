"""One thing that happened, with the evidence for it, and its row in a table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.tables import TableSpec


@dataclass(frozen=True, slots=True, eq=False)
class Event:
    """An action or a fault.

    Attributes
    ----------
    kind : str
        What it is, e.g. ``"drive"``.
    shot, possession : int
        Where in the film it belongs.
    start_s, end_s, t_s : float
        Interval (half-open) and the moment of it, film time.
    actors : tuple of (role, track)
        Who did it, the main actor first.
    place_ft : tuple of two floats
        Where, court frame.
    attacked_end : str
        ``"left"`` or ``"right"``.
    measures : mapping of str to float
        Every quantity that the rule used; units end the names. A value may be NaN: not known.
    score : float
        0..1; the recogniser's docstring says what it means.
    traits : mapping of str to str
        What is said of it in words (``vocabulary``); ``"unknown"`` where it could not be seen.
    """

    kind: str
    shot: int
    possession: int
    start_s: float
    end_s: float
    t_s: float
    actors: tuple[tuple[str, int], ...]
    place_ft: tuple[float, float]
    attacked_end: str
    measures: Mapping[str, float]
    score: float
    traits: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    def actor(self, role: str) -> int | None:
        """The track in a role, or None."""
        return next((track for name, track in self.actors if name == role), None)


def events_to_table(events: Iterable[Event], spec: TableSpec) -> pa.Table:
    """Rows of an event table, in order of time, numbered from 0."""
    ordered = sorted(events, key=lambda e: (e.t_s, e.kind, e.actors))
    rows: list[dict[str, Any]] = [
        {
            "event": number,
            "kind": e.kind,
            "shot": e.shot,
            "possession": e.possession,
            "start_s": e.start_s,
            "end_s": e.end_s,
            "t_s": e.t_s,
            "actors": [{"role": role, "track": track} for role, track in e.actors],
            "x_ft": e.place_ft[0],
            "y_ft": e.place_ft[1],
            "attacked_end": e.attacked_end,
            "measures": [(name, None if np.isnan(value) else float(value)) for name, value in e.measures.items()],
            "traits": list(e.traits.items()),
            "score": e.score,
        }
        for number, e in enumerate(ordered)
    ]
    return spec.from_rows(rows)


def events_from_table(table: pa.Table) -> tuple[Event, ...]:
    """The events of an event table."""
    return tuple(
        Event(
            kind=row["kind"],
            shot=row["shot"],
            possession=-1 if row["possession"] is None else row["possession"],
            start_s=row["start_s"],
            end_s=row["end_s"],
            t_s=row["t_s"],
            actors=tuple((a["role"], a["track"]) for a in row["actors"]),
            place_ft=(_number(row["x_ft"]), _number(row["y_ft"])),
            attacked_end=row["attacked_end"],
            measures=MappingProxyType({name: _number(value) for name, value in row["measures"] or []}),
            score=row["score"],
            traits=MappingProxyType(dict(row["traits"] or [])),
        )
        for row in table.to_pylist()
    )


def _number(value: float | None) -> float:
    return float("nan") if value is None else float(value)
