"""Actions, sets and faults of whole games against the truth of the same games.

A game is a folder of tables (or a game of a library); its truth is a folder of true tables. A found track is, at each
moment, the true actor whose place it takes in most frames around it, so that a track that changes bodies is judged by
whom it follows then.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from scipy.optimize import linear_sum_assignment

from pipeline.actions.events import Event, events_from_table
from pipeline.actions.tables import ACTIONS
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.court.tables import CAMERAS
from pipeline.errors import DataError
from pipeline.evaluate.event_scores import (
    ActorOf,
    EventScoreSettings,
    Tally,
    score_events,
    score_sets,
    together,
)
from pipeline.night.play_stages import book_of, play_stages
from pipeline.night.stages import UNITS
from pipeline.players.tables import TRACKS
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.settings import Settings
from pipeline.spacing.tables import FAULTS
from pipeline.tables import TableSpec
from pipeline.user_files import read_json

REACH_FT = 6.0
"""A found body farther from a true one is another body; as in the film scores."""
AROUND_S = 0.5
"""A track's actor is voted for over this long before and after a moment."""


class Family(StrEnum):
    """What is scored."""

    ACTIONS = "actions"
    SETS = "sets"
    FAULTS = "faults"


TABLE: Mapping[Family, TableSpec] = {
    Family.ACTIONS: ACTIONS,
    Family.SETS: SET_CANDIDATES,
    Family.FAULTS: FAULTS,
}


def tables_of(game: Path) -> Path:
    """Folder of a game's tables: its own ``tables`` folder, or the folder itself."""
    return game / "tables" if (game / "tables").is_dir() else game


def game_pairs(games: Path, truths: Path) -> dict[str, tuple[Path, Path]]:
    """Games with their truth: one game and its truth folder, or two folders that hold several by name.

    Parameters
    ----------
    games : Path
        A game, a library, or a folder of games or of their tables: ``NAME``, with dashes, ``NAME_seen`` or as the
        truth is called.
    truths : Path
        A truth folder, or a folder of them: ``NAME_truth``, or where there is none of these, ``NAME``.

    Raises
    ------
    DataError
        If no truth is there, or a game is missing.
    """
    if TRACKS.path(truths).is_file():
        return {games.name: (games, truths)}
    folders = [p for p in sorted(truths.glob("*/")) if TRACKS.path(p).is_file()]
    named = [p for p in folders if p.name.endswith("_truth")]
    found = {p.name.removesuffix("_truth"): p for p in named or folders}
    if not found:
        raise DataError(f"{truths} holds no truth tables and no folders of them; give what the simulator wrote.")
    place = games / "games" if (games / "games").is_dir() else games
    paired = {}
    for name, truth in found.items():
        called = (name, name.replace("_", "-"), f"{name}_seen", truth.name)
        game = next((place / one for one in called if (place / one).is_dir()), None)
        if game is None:
            raise DataError(f"{place} has no game '{name}'; run or import it into this folder first.")
        paired[name] = (game, truth)
    return paired


def found_again(game: Path, out: Path, settings: Settings) -> Path:
    """Find actions, sets and faults anew from a game's tracks, ball, touches and possessions.

    Parameters
    ----------
    game : Path
        A game or its folder of tables. Its rule book is the one that its cameras found, or that ``truth.json`` names.
    out : Path
        Folder that the new tables are written into, the tracks beside them.
    settings : Settings

    Raises
    ------
    DataError
        If the rule book is not known.
    """
    folder = tables_of(game)
    book = _book(folder)
    out.mkdir(parents=True, exist_ok=True)
    TRACKS.write(TRACKS.read(folder), out)
    for stage in play_stages(settings, book):
        made = (out, folder)
        tables = {s.name: s.read(next(f for f in made if s.path(f).is_file() or f is folder)) for s in stage.reads}
        for name, table in stage.run(tables, lambda _done, _all: None, out / UNITS).items():
            next(s for s in stage.writes if s.name == name).write(table, out)
    return out


def _book(folder: Path) -> RuleBook:
    if CAMERAS.path(folder).is_file():
        found = book_of(CAMERAS.read(folder))
        if found is not None:
            return found
    note = folder / "truth.json"
    told = read_json(note, DataError, advice="repair it") if note.exists() else None
    name = told.get("rule_book") if isinstance(told, dict) else None
    if not isinstance(name, str) or name not in RULE_BOOKS:
        raise DataError(f"{folder} does not say which rule book its floor follows; it needs cameras or a truth.json.")
    return RULE_BOOKS[name]


def score_games(
    pairs: Mapping[str, tuple[Path, Path]], family: Family, settings: EventScoreSettings | None = None
) -> dict[str, Any]:
    """Score one family of events over games, all together.

    What the truth holds for doubtful (a table ``NAME_unsure`` beside its own) counts neither way.

    Returns
    -------
    dict
        ``kinds`` (per kind: precision, recall, f1 with counts, timing, errors of measures, traits right, how often
        a thing was unknown), ``mean_f1``, ``least_f1``, ``least_kind``, ``all``, ``games``.
    """
    settings = settings or EventScoreSettings()
    spec = TABLE[family]
    doubtful = replace(spec, name=f"{spec.name}_unsure")
    tallies: dict[str, Tally] = {}
    for game, truth in pairs.values():
        folder = tables_of(game)
        found, true = (_events(spec, place) for place in (folder, truth))
        neither = _events(doubtful, truth) if doubtful.path(truth).is_file() else ()
        actor_of = actors_of(TRACKS.read(folder), TRACKS.read(truth))
        score = score_sets if family is Family.SETS else score_events
        scored = score(found, true, actor_of, settings, neither=neither)
        for kind, tally in scored.items():
            tallies.setdefault(kind, Tally()).add(tally)
    return {**together(tallies), "games": len(pairs)}


def _events(spec: TableSpec, folder: Path) -> Sequence[Event]:
    if not spec.path(folder).is_file():
        raise DataError(f"{folder} has no {spec.path(folder).name}; run the game (or make its truth) again.")
    table = spec.read(folder)
    if "complete" in table.schema.names:
        table = table.filter(pc.field("complete"))
    return events_from_table(table)


def actors_of(found: pa.Table, true: pa.Table, reach_ft: float = REACH_FT, around_s: float = AROUND_S) -> ActorOf:
    """Look-up of the true actor that a found track is at a time.

    Parameters
    ----------
    found, true : pa.Table
        ``tracks`` tables of the same play.
    reach_ft : float
        Farther apart than this, two places are of two bodies.
    around_s : float
        Frames this long before and after the moment vote.
    """
    times, places, ids = _by_time(true)
    step_s = float(np.median(np.diff(times))) if len(times) > 1 else 0.1
    votes: dict[int, tuple[list[float], list[int]]] = {}
    found_times, found_places, found_ids = _by_time(found)
    for t, xy, names in zip(found_times, found_places, found_ids, strict=True):
        nearest = int(np.abs(times - t).argmin()) if len(times) else -1
        if nearest < 0 or abs(times[nearest] - t) > 0.5 * step_s + 1e-6:
            continue
        gain = np.clip(reach_ft - np.linalg.norm(xy[:, None] - places[nearest][None], axis=2), 0, None)
        for r, c in zip(*linear_sum_assignment(-gain), strict=True):
            if gain[r, c] > 0:
                at, who = votes.setdefault(int(names[r]), ([], []))
                at.append(float(t))
                who.append(int(ids[nearest][c]))
    known = {track: (np.array(at), np.array(who)) for track, (at, who) in votes.items()}

    def actor_of(track: int, t_s: float) -> int | None:
        if track not in known:
            return None
        at, who = known[track]
        first, last = np.searchsorted(at, [t_s - around_s - 1e-9, t_s + around_s + 1e-9])
        if first == last:
            return None
        names, counts = np.unique(who[first:last], return_counts=True)
        return int(names[counts.argmax()])

    return actor_of


def _by_time(tracks: pa.Table) -> tuple[np.ndarray, list[np.ndarray], list[np.ndarray]]:
    """Times (T,), and for each the places (N, 2) and names (N,) of the players then."""
    players = tracks.filter((pc.field("role") == "player") & pc.field("x_ft").is_valid()).sort_by("t_s")
    t = players["t_s"].to_numpy()
    xy = np.column_stack([players["x_ft"].to_numpy(), players["y_ft"].to_numpy()]).reshape(-1, 2)
    names = players["track"].to_numpy()
    times, starts = np.unique(t, return_index=True)
    return times, np.split(xy, starts[1:]), np.split(names, starts[1:])


def as_lines(result: Mapping[str, Any]) -> list[str]:
    """The scores as a table for a terminal or a README, worst measures told in a line of their own."""
    lines = [
        "| kind | true | found | right | recall | precision | F1 | moment off, median s |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for kind, r in result["kinds"].items():
        shares = " | ".join("" if r[name] is None else f"{r[name]:.3f}" for name in ("recall", "precision", "f1"))
        off = "" if r["off_s"]["median"] is None else f"{r['off_s']['median']:.2f}"
        lines.append(f"| {kind} | {r['truth']} | {r['found']} | {r['right']} | {shares} | {off} |")
    if result["mean_f1"] is not None:
        lines.append(
            f"Mean F1 {result['mean_f1']:.3f} over {sum(bool(r['truth']) for r in result['kinds'].values())} kinds in"
            f" {result['games']} games; least {result['least_f1']:.3f} ({result['least_kind']})."
        )
    for kind, r in result["kinds"].items():
        told = [f"{name} {e['median']:.2f}/{e['p95']:.2f}" for name, e in r["measures"].items() if e["count"]] + [
            f"{name} {100 * t['right']:.0f} %" for name, t in r["traits"].items()
        ]
        if told:
            lines.append(f"{kind}, errors (median/p95) and words right: {', '.join(told)}")
    return lines
