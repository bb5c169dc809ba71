"""Actions, tracks and a ball made up for matching, without anybody recognising them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa

from pipeline.actions.events import Event, events_to_table
from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import BALL
from pipeline.court.attack_frame import to_court
from pipeline.court.rule_books import NBA
from pipeline.players.tables import TRACKS
from pipeline.sets.definition import SetDefinition
from pipeline.sets.finding import find_sets
from pipeline.sets.settings import SetSettings

BOOK = NBA
RATE = 10.0

Uv = tuple[float, float]


def action(
    kind: str,
    t_s: float,
    actors: Mapping[str, int],
    at: Uv = (20.0, 0.0),
    *,
    lasts_s: float = 0.6,
    score: float = 1.0,
    traits: Mapping[str, str] | None = None,
    **measures: float,
) -> Event:
    """An action around a moment, attack frame."""
    x, y = to_court(np.array([at]), BOOK, "left")[0]
    return Event(
        kind=kind,
        shot=0,
        possession=0,
        start_s=t_s - lasts_s,
        end_s=t_s + 0.1,
        t_s=t_s,
        actors=tuple(actors.items()),
        place_ft=(float(x), float(y)),
        attacked_end="left",
        measures={"u_ft": at[0], "v_ft": at[1], **measures},
        score=score,
        traits=dict(traits or {}),
    )


def thrown(t_s: float, passer: int, receiver: int, to: Uv, score: float = 1.0, **traits: str) -> Event:
    """A pass and its catch."""
    return action(
        "pass", t_s, {"passer": passer, "receiver": receiver}, to, score=score, traits=traits,
        catch_u_ft=to[0], catch_v_ft=to[1], catch_ring_ft=float(np.hypot(*to)),
    )  # fmt: skip


def cut(kind: str, t_s: float, cutter: int, start: Uv, end: Uv, **traits: str) -> Event:
    """A cut from one place to another."""
    return action(
        kind, t_s, {"cutter": cutter}, end, lasts_s=1.2, traits=traits,
        start_u_ft=start[0], start_v_ft=start[1], end_u_ft=end[0], end_v_ft=end[1],
    )  # fmt: skip


def mirrored(events: Sequence[Event]) -> list[Event]:
    """The same on the other side."""
    found = []
    for event in events:
        measures = {name: -value if name.endswith("v_ft") else value for name, value in event.measures.items()}
        found.append(replace(event, measures=measures, place_ft=(event.place_ft[0], BOOK.width_ft - event.place_ft[1])))
    return found


def renumbered(events: Sequence[Event], numbers: Mapping[int, int]) -> list[Event]:
    """The same with other tracks."""
    return [replace(e, actors=tuple((role, numbers[track]) for role, track in e.actors)) for e in events]


def standing(places: Mapping[int, Uv], until_s: float = 30.0, *, flip: bool = False) -> pa.Table:
    """Tracks that stay where they are, attack frame, all of one team."""
    times = np.arange(0, until_s, 1 / RATE)
    tables = []
    for track, (u, v) in places.items():
        x, y = to_court(np.array([[u, -v if flip else v]]), BOOK, "left")[0]
        columns = {field.name: pa.nulls(len(times), field.type) for field in TRACKS.schema}
        columns["t_s"] = pa.array(times)
        columns["frame"] = pa.array(np.arange(len(times)), TRACKS.schema.field("frame").type)
        columns["shot"] = pa.array(np.zeros(len(times)), pa.float64()).cast(TRACKS.schema.field("shot").type)
        columns["track"] = pa.array(np.full(len(times), track), TRACKS.schema.field("track").type)
        columns["team"] = pa.array(np.zeros(len(times), dtype=np.int8), TRACKS.schema.field("team").type)
        columns["role"] = pa.array(["player"] * len(times))
        columns["x_ft"] = pa.array(np.full(len(times), x))
        columns["y_ft"] = pa.array(np.full(len(times), y))
        tables.append(pa.Table.from_arrays([columns[n] for n in TRACKS.schema.names], schema=TRACKS.schema))
    return pa.concat_tables(tables) if tables else TRACKS.empty()


def ball_seen(places: Sequence[tuple[float, Uv]]) -> pa.Table:
    """A ball that was surely seen at some times, each with its place in the attack frame, and at no others."""
    xy = to_court(np.array([uv for _, uv in places]), BOOK, "left")
    rows = [
        {"frame": k, "t_s": t_s, "shot": 0, "x_ft": x, "y_ft": y, "observed": True, "score": 0.8}
        for k, ((t_s, _), (x, y)) in enumerate(zip(places, xy.tolist(), strict=True))
    ]
    return BALL.from_rows([{name: row.get(name) for name in BALL.schema.names} for row in rows])


def matches(
    definitions: SetDefinition | Sequence[SetDefinition],
    events: Sequence[Event],
    tracks: pa.Table | None = None,
    settings: SetSettings | None = None,
    ball: pa.Table | None = None,
) -> list[dict]:
    """Rows of ``set_candidates``, maps as dicts, actors as a dict."""
    chosen = [definitions] if isinstance(definitions, SetDefinition) else list(definitions)
    table = find_sets(
        chosen,
        events_to_table(events, ACTIONS),
        TRACKS.empty() if tracks is None else tracks,
        BALL.empty() if ball is None else ball,
        BOOK,
        settings or SetSettings(),
    )
    rows = []
    for row in table.to_pylist():
        actors = {actor["role"]: actor["track"] for actor in row["actors"]}
        phases = {phase["name"]: phase["event"] for phase in row["phases"] if phase["found"]}
        rows.append(
            {
                **row,
                "actors": actors,
                "phases": phases,
                "measures": dict(row["measures"]),
                "traits": dict(row["traits"]),
            }
        )
    return rows
