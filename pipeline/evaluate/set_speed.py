"""How long a season takes: the whole set library against the actions of many games.

``python -m pipeline.evaluate.set_speed FOLDER… [--games 82] [--workers 2]``. Each folder holds the tables of one game
(``actions``, ``tracks``, ``ball``); with fewer folders than games they are taken again and again. Reading the tables
counts, finding the actions does not.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import cycle, islice
from pathlib import Path

from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import BALL
from pipeline.court.rule_books import RULE_BOOKS
from pipeline.errors import DataError
from pipeline.players.tables import TRACKS
from pipeline.sets.finding import find_sets
from pipeline.sets.settings import SetSettings, shipped_sets

GAMES = 82
"""Games of a season."""


@dataclass(frozen=True, slots=True)
class GameTime:
    """What matching one game took.

    Attributes
    ----------
    possessions, actions : int
    read_s, match_s : float
        Processor time.
    found : Counter
        Whole matches by set.
    """

    possessions: int
    actions: int
    read_s: float
    match_s: float
    found: Counter[str]


@dataclass(frozen=True, slots=True)
class Season:
    """What a season took: ``wall_s`` by the clock, everything else added up over the games."""

    games: int
    sets: int
    workers: int
    wall_s: float
    possessions: int
    actions: int
    read_s: float
    match_s: float
    found: Counter[str]


def time_season(folders: Sequence[Path], games: int = GAMES, workers: int = 2) -> Season:
    """Match the shipped library against ``games`` games on ``workers`` processes.

    Raises
    ------
    DataError
        If no folder is given.
    """
    if not folders:
        raise DataError("There is no game to match; give at least one folder with tables of actions, tracks and ball.")
    chosen = list(islice(cycle(folders), games))
    library = len(shipped_sets().definitions)
    context = multiprocessing.get_context("forkserver")
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        list(pool.map(_warm, range(workers)))
        began = time.monotonic()
        done = list(pool.map(_match, chosen))
        wall_s = time.monotonic() - began
    return Season(
        games=games,
        sets=library,
        workers=workers,
        wall_s=wall_s,
        possessions=sum(one.possessions for one in done),
        actions=sum(one.actions for one in done),
        read_s=sum(one.read_s for one in done),
        match_s=sum(one.match_s for one in done),
        found=sum((one.found for one in done), Counter()),
    )


def season_lines(season: Season) -> list[str]:
    """A report for people."""
    each = (season.read_s + season.match_s) / season.games
    return [
        f"{season.games} games, {season.possessions} possessions, {season.actions} actions, {season.sets} sets: "
        f"{season.wall_s:.1f} s on {season.workers} processes",
        f"processor time: reading {season.read_s:.1f} s, matching {season.match_s:.1f} s, {each:.2f} s a game",
        "whole matches: " + ", ".join(f"{name} {count}" for name, count in season.found.most_common()),
    ]


def _warm(_number: int) -> int:
    """Load the library, which a run does once."""
    return len(shipped_sets().definitions)


def _match(folder: Path) -> GameTime:
    began = time.process_time()
    actions, tracks, ball = (spec.read(folder) for spec in (ACTIONS, TRACKS, BALL))
    read_s = time.process_time() - began
    found = find_sets(shipped_sets().definitions, actions, tracks, ball, RULE_BOOKS["nba"], SetSettings())
    whole = Counter(row["kind"] for row in found.select(["kind", "complete"]).to_pylist() if row["complete"])
    possessions = actions.group_by(["shot", "possession"]).aggregate([]).num_rows
    return GameTime(possessions, actions.num_rows, read_s, time.process_time() - began - read_s, whole)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="How long matching every set against a season takes.")
    parser.add_argument("folders", nargs="+", type=Path, help="folders of tables, one a game")
    parser.add_argument("--games", type=int, default=GAMES)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    report = season_lines(time_season(given.folders, given.games, given.workers))
    sys.stdout.write("\n".join(report) + "\n")


if __name__ == "__main__":
    main()
