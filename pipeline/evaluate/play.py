"""Actions and faults on real five-on-five play: base rates, and agreement with readers.

The folder holds ``tracks.parquet`` (possession, t_s, agent, x_ft, y_ft; agent -1 is the ball, 0-4 attack, 5-9
defend) and ``possessions.parquet``; with ``labels.json`` beside them (what readers saw in each possession) the
finds are also scored. Every possession there ends in a made basket, which says which end is attacked.

The holder is worked out by the glossary's rough rule alone: the nearest player while the ball is within 5 ft of
him and slower than 25 ft/s.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.actions import find_actions
from pipeline.actions.corners import CORNER
from pipeline.actions.drives import NAME as DRIVE
from pipeline.actions.events import Event, events_from_table
from pipeline.actions.on_ball_screens import SCREEN
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stretches import stretches
from pipeline.actions.view_building import possession_views
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.rule_books import RuleBook, rule_book
from pipeline.errors import DataError
from pipeline.players.tables import TRACKS
from pipeline.spacing.arrivals import ENTERS, arrivals
from pipeline.spacing.faults import faults_of
from pipeline.spacing.scene import scene
from pipeline.spacing.settings import FaultSettings, SpacingSettings, shipped_faults

AGENTS = 11
FIVE = 5
"""Others in the paint that make it crowded (glossary)."""
HOLD_WITHIN_FT = 5.0
HOLD_BALL_SLOWER_FT_S = 25.0
SAME_EVENT_S = 1.0
"""A find and a reader's event nearer in time than this are one."""

POSSESSION_COLUMNS = ("possession", "t_s", "agent", "x_ft", "y_ft")


@dataclass(frozen=True, slots=True)
class PlayTables:
    """One possession in the pipeline's own tables.

    Attributes
    ----------
    name : str
        The possession's name in its folder.
    tracks, ball, touches, possessions : pa.Table
        As the players and ball rooms declare them; track = agent.
    """

    name: str
    tracks: pa.Table
    ball: pa.Table
    touches: pa.Table
    possessions: pa.Table


def read_play(folder: Path, book: RuleBook) -> Iterator[tuple[PlayTables, int]]:
    """Possessions of a folder in the documented form, one by one, each with how many there are.

    Raises
    ------
    DataError
        If the folder lacks ``tracks.parquet`` or its columns.
    """
    path = folder / "tracks.parquet"
    if not path.is_file():
        raise DataError(f"{folder} holds no tracks.parquet; give a folder of possessions in the documented form.")
    try:
        table = pq.read_table(path)
    except pa.ArrowException as error:
        raise DataError(f"{path} is no Parquet file ({error}); give a folder in the documented form.") from error
    missing = [name for name in POSSESSION_COLUMNS if name not in table.schema.names]
    if missing:
        raise DataError(f"{path} lacks the columns {missing}; it needs {list(POSSESSION_COLUMNS)}.")
    names = np.asarray(table["possession"].cast(pa.string()).to_numpy(zero_copy_only=False), dtype=str)
    t, agent, x, y = (table[c].to_numpy().astype(float) for c in POSSESSION_COLUMNS[1:])
    order = np.lexsort((agent, t, names))
    starts = np.flatnonzero(np.concatenate([[True], names[order][1:] != names[order][:-1]]))
    parts = np.split(order, starts[1:])
    for rows in parts:
        if len(rows) % AGENTS or not np.array_equal(agent[rows[:AGENTS]], np.arange(-1, AGENTS - 1)):
            raise DataError(f"{path}: possession {names[rows[0]]} does not have the ball and ten players at each time.")
        xy = np.stack([x[rows], y[rows]], axis=-1).reshape(-1, AGENTS, 2)
        if len(xy) >= 3:
            times = t[rows].reshape(-1, AGENTS)[:, 0]
            yield play_tables(names[rows[0]], times, xy[:, 0], xy[:, 1:], book), len(parts)


def play_tables(name: str, t_s: np.ndarray, ball_ft: np.ndarray, players_ft: np.ndarray, book: RuleBook) -> PlayTables:
    """Put one possession into the pipeline's tables.

    Parameters
    ----------
    name : str
        Its name.
    t_s : ndarray (T,)
        Times, rising; T at least 3.
    ball_ft : ndarray (T, 2)
        Floor point under the ball, court frame.
    players_ft : ndarray (T, 10, 2)
        Attackers 0-4, defenders 5-9.
    book : RuleBook
        The court.
    """
    count, players = players_ft.shape[:2]
    frame = np.arange(count)
    velocity = np.gradient(players_ft, t_s, axis=0)
    gap = np.linalg.norm(players_ft - ball_ft[:, None], axis=2)
    speed = np.linalg.norm(np.gradient(ball_ft, t_s, axis=0), axis=1)
    held = (gap.min(axis=1) <= HOLD_WITHIN_FT) & (speed < HOLD_BALL_SLOWER_FT_S)
    holder = np.where(held, gap.argmin(axis=1), -1)
    wide = count * players
    track = np.tile(np.arange(players), count)
    nothing = pa.nulls(wide, pa.float32())
    tracks = TRACKS.from_columns(
        {
            "frame": np.repeat(frame, players),
            "t_s": np.repeat(t_s, players),
            "shot": np.zeros(wide, int),
            "track": track,
            "role": ["player"] * wide,
            "team": (track >= 5).astype(int),
            "jersey": pa.nulls(wide, pa.string()),
            "x_ft": players_ft[..., 0].ravel(),
            "y_ft": players_ft[..., 1].ravel(),
            "vx_ft_s": velocity[..., 0].ravel(),
            "vy_ft_s": velocity[..., 1].ravel(),
            "sigma_ft": np.zeros(wide),
            "observed": np.ones(wide, bool),
            "x1_px": nothing,
            "y1_px": nothing,
            "x2_px": nothing,
            "y2_px": nothing,
            "score": np.ones(wide),
        }
    )
    unseen = pa.nulls(count, pa.float32())
    ball = BALL.from_columns(
        {
            "frame": frame,
            "t_s": t_s,
            "shot": np.zeros(count, int),
            "x_px": unseen,
            "y_px": unseen,
            "x_ft": ball_ft[:, 0],
            "y_ft": ball_ft[:, 1],
            "z_ft": pa.nulls(count, pa.float64()),
            "holder": [None if h < 0 else int(h) for h in holder],
            "observed": np.ones(count, bool),
            "score": np.ones(count),
        }
    )
    holds: list[dict[str, Any]] = [
        {
            "shot": 0,
            "kind": "hold",
            "start_s": float(t_s[a]),
            "end_s": float(t_s[b - 1]),
            "track": player,
            "to_track": None,
            "team": int(player >= 5),
            "score": 1.0,
        }
        for player in range(players)
        for a, b in stretches(holder == player)
    ]
    holds.sort(key=lambda h: h["start_s"])
    touches = TOUCHES.from_rows([{"touch": n, **h} for n, h in enumerate(holds)])
    left = ball_ft[-min(5, count) :, 0].mean() < book.length_ft / 2
    possessions = POSSESSIONS.from_rows(
        [
            {
                "possession": 0,
                "shot": 0,
                "team": 0,
                "attacked_end": "left" if left else "right",
                "start_s": float(t_s[0]),
                "end_s": float(t_s[-1]),
                "score": 1.0,
            }
        ]
    )
    return PlayTables(name, tracks, ball, touches, possessions)


def evaluate_play(
    folder: Path,
    *,
    actions: ActionSettings | None = None,
    spacing: SpacingSettings | None = None,
    faults: FaultSettings | None = None,
    book: str = "nba",
    on_progress: Callable[[float, float], None] | None = None,
) -> dict[str, Any]:
    """Base rates on a folder of possessions, and agreement with its readers where it has any.

    Returns
    -------
    dict
        ``possessions``, ``drives``, ``drives_into_paint``, ``others_in_paint_share`` (share of those drives per
        number of others in the paint as the handler enters it), ``crowded_share`` (share at or above the
        threshold), ``crowded_threshold``, ``corners_turned``,
        ``on_ball_screens``, ``on_ball_screens_contact``, ``faults`` (of every fault of the library how many were found,
        their number per possession and the share of possessions that have one); with labels also ``readers``.
    """
    actions = actions or ActionSettings()
    spacing = spacing or SpacingSettings()
    faults = faults or shipped_faults()
    court = rule_book(book)
    labels = _labels(folder)
    counts: Counter[int] = Counter()
    found: Counter[str] = Counter()
    fault_counts: Counter[str] = Counter()
    fault_games: Counter[str] = Counter()
    scores = {kind: Counter[str]() for kind in ("drives", "on_ball_screens")}
    plays = read_play(folder, court)
    for done, (play, total) in enumerate(plays, start=1):
        if on_progress is not None:
            on_progress(done, total)
        events = events_from_table(find_actions(play.tracks, play.ball, play.touches, play.possessions, court, actions))
        views = possession_views(play.tracks, play.ball, play.touches, play.possessions, court, actions)
        found["possessions"] += 1
        for event in events:
            found[event.kind] += 1
            found["contact"] += event.kind == SCREEN and event.traits["contact"] == "yes"
        for view in views:
            here = scene(view, events, spacing)
            entered = [m.event for m in arrivals(here) if m.event.traits["moment"] == ENTERS]
            counts.update(int(e.measures["count"]) for e in entered)
            told = faults_of(here, faults.library)
            fault_counts.update(e.kind for e in told)
            fault_games.update({e.kind for e in told})
        if play.name in labels:
            for kind, tally in scores.items():
                tally.update(_agreement(kind, events, labels[play.name]))
    total = sum(counts.values())
    result: dict[str, Any] = {
        "possessions": found["possessions"],
        "drives": found[DRIVE],
        "drives_into_paint": total,
        "others_in_paint_share": {str(n): counts[n] / total for n in range(max(counts) + 1)} if total else {},
        "crowded_threshold": FIVE,
        "crowded_share": sum(n for count, n in counts.items() if count >= FIVE) / total if total else None,
        "corners_turned": found[CORNER],
        "on_ball_screens": found[SCREEN],
        "on_ball_screens_contact": found["contact"],
        "faults": {
            rule.name: {
                "found": fault_counts[rule.name],
                "per_possession": fault_counts[rule.name] / found["possessions"],
                "possessions_share": fault_games[rule.name] / found["possessions"],
            }
            for rule in faults.library
            if found["possessions"]
        },
    }
    if labels:
        result["readers"] = {kind: _rates(tally) for kind, tally in scores.items()}
    return result


def _labels(folder: Path) -> Mapping[str, Mapping[str, Any]]:
    path = folder / "labels.json"
    if not path.is_file():
        return {}
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except json.JSONDecodeError as error:
        raise DataError(f"{path} is not valid JSON ({error}); repair it or take it away.") from error


def _agreement(kind: str, events: Sequence[Event], labels: Mapping[str, Any]) -> Counter[str]:
    """Hits, misses and false finds of one kind: events of both readers count as missed, those of one neither way."""
    mine = [_key(kind, e) for e in events if e.kind == {"drives": DRIVE, "on_ball_screens": SCREEN}[kind]]
    theirs = labels.get(kind, [])
    tally: Counter[str] = Counter()
    used: set[int] = set()
    for label in sorted(theirs, key=lambda one: -one["readers"]):
        who = (label["player"],) if kind == "drives" else (label["handler"], label["screener"])
        best = min(
            (
                (_apart(label["t"], times), n)
                for n, (actors, times) in enumerate(mine)
                if actors == who and n not in used and _apart(label["t"], times) <= SAME_EVENT_S
            ),
            default=None,
        )
        if best is not None:
            used.add(best[1])
        if label["readers"] >= 2:
            tally["hits" if best is not None else "missed"] += 1
    tally["false"] = len(mine) - len(used)
    return tally


def _key(kind: str, event: Event) -> tuple[tuple[int, ...], tuple[float, float]]:
    if kind == "drives":
        return (event.actors[0][1],), (event.start_s, event.end_s)
    return (event.actors[0][1], event.actors[1][1]), (event.t_s, event.t_s)


def _apart(t_s: float, interval: tuple[float, float]) -> float:
    return max(interval[0] - t_s, t_s - interval[1], 0.0)


def _rates(tally: Counter[str]) -> dict[str, Any]:
    hits, missed, false = tally["hits"], tally["missed"], tally["false"]
    return {
        "seen_by_both": hits + missed,
        "found": hits,
        "false": false,
        "recall": hits / (hits + missed) if hits + missed else None,
        "precision": hits / (hits + false) if hits + false else None,
    }
