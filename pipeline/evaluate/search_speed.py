"""How fast a library of many games is searched.

    python -m pipeline.evaluate.search_speed OUT --games 100 --seed 21 --seed 22 --seed 23 --seed 24

Makes a library of so many games out of simulated drills (the drills of the seeds in turn, each game a copy of one under
a name, a date and teams of its own; tracks are linked, not copied), brings their faults and sets into the tag store,
decides a part of them, and asks it questions. Each question is asked once to warm up and then several times; the median
is told. Once made, the library is used again.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pyarrow as pa

from pipeline.ball.tables import BALL
from pipeline.find import Filters, search
from pipeline.find.index import FOLDER
from pipeline.find.views import run_sql, views_of
from pipeline.library.games import Library
from pipeline.night.play_stages import bring_tags
from pipeline.players.tables import TRACKS
from pipeline.sets.emphasis import measure_name
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.settings import Settings
from pipeline.sim.drill import DrillRequest, write_drill
from pipeline.tags.records import State

POSSESSIONS = 190
"""Of a game, both teams together."""

DECIDED_OF = 5
"""Every so-many-th tag is decided."""

TEAMS = ("Harbour", "Hill", "Mill", "Quay", "Orchard")
WHEN = datetime(2026, 1, 1, tzinfo=UTC)

QUESTIONS: tuple[tuple[str, Filters], ...] = (
    (
        "weak-side motion ended in a post entry, return catch beyond 28 ft",
        Filters(sets=("weak_side_motion",), where="return_catch_ft > 28 and ended = 'post entry'"),
    ),
    ("every set and fault, latest 200", Filters(order="date desc", limit=200)),
    ("every confirmed tag", Filters(states=("confirmed",))),
    ("passes of one team longer than 35 ft", Filters(actions=("pass",), teams=("Harbour",), where="length_ft > 35")),
    (
        "on-ball screens that went under or switched, by how far out",
        Filters(
            actions=("on_ball_screen",),
            where="coverage in (under, switch) and contact known",
            order="handler_ring_distance_ft desc",
        ),
    ),
    ("every action surer than 0.99, the first 1000", Filters(actions=("any",), where="score > 0.99", limit=1000)),
)

QUERIES: tuple[tuple[str, str], ...] = (
    ("SQL: faults by kind and game", "SELECT kind, game, count(*) FROM faults GROUP BY ALL"),
    (
        "SQL: precision by kind",
        "SELECT kind, avg(CASE WHEN state = 'confirmed' THEN 1 ELSE 0 END) FROM tags "
        "WHERE state IN ('confirmed', 'rejected') GROUP BY kind",
    ),
    ("SQL: tracks of one game", "SELECT count(*), avg(sigma_ft) FROM tracks WHERE game = 'game-042'"),
)


@dataclass(frozen=True, slots=True)
class Timed:
    """A question, what it gave, how long it took, and the processor's time of it (of this process alone)."""

    question: str
    rows: int
    median_s: float
    longest_s: float
    cpu_s: float


def make_library(out: Path, games: int, seeds: Sequence[int], settings: Settings) -> Library:
    """The library to search."""
    library = Library(out / "library")
    drills = [_drill(seed, out / "drills") for seed in seeds]
    for number in range(games):
        drill = drills[number % len(drills)]
        folder = library.root / "games" / f"game-{number:03d}"
        (folder / "tables").mkdir(parents=True)
        for path in drill.glob("*.parquet"):
            big = path.stem in (TRACKS.name, BALL.name)
            if path.stem == SET_CANDIDATES.name:
                SET_CANDIDATES.write(_named_as_found(SET_CANDIDATES.read(drill), settings), folder / "tables")
            else:
                (os.link if big else shutil.copyfile)(path, folder / "tables" / path.name)
        told = (TEAMS[number % 5], TEAMS[(number + 1 + number // 5 % 4) % 5])
        (folder / "game.toml").write_text(
            f'date = "{date(2025, 10, 1) + timedelta(days=2 * number)}"\nopponent = "{told[1]}"\nrule_book = "nba"\n'
            f'[team_0]\nname = "{told[0]}"\n[team_1]\nname = "{told[1]}"\n'
            f'[tracking]\npath = "game-{number:03d}.csv"\ndigest = "{number:064x}"\n',
            encoding="utf-8",
        )
        bring_tags(library.game(f"game-{number:03d}"), library, settings)
    with library.tag_store() as store:
        for tag in store.tags()[::DECIDED_OF]:
            verdict = State.CONFIRMED if tag.candidate.score > 0.9 or tag.tag % 3 == 0 else State.REJECTED
            store.decide(tag.tag, verdict, who="bench", when=WHEN)
    return library


def _named_as_found(sets: pa.Table, settings: Settings) -> pa.Table:
    """True sets with their measures called as the matcher calls them, with units."""
    called = {
        (one.name, emphasis.name): measure_name(emphasis)
        for one in settings.set_library.definitions
        for emphasis in one.emphases
    }
    rows = sets.to_pylist()
    for row in rows:
        row["measures"] = [(called.get((row["kind"], name), name), value) for name, value in row["measures"]]
    return SET_CANDIDATES.from_rows(rows)


def _decide_and_search(library: Library, settings: Settings) -> int:
    with library.tag_store() as store:
        tag = store.tags(game="game-007", kind="pushed_out_catch")[0]
        verdict = State.REJECTED if tag.state is State.CONFIRMED else State.CONFIRMED
        store.decide(tag.tag, verdict, who="bench", when=WHEN)
    return search(library, Filters(faults=("pushed_out_catch",)), settings).total


def _drill(seed: int, folder: Path) -> Path:
    """A drill's tables; made once."""
    made = folder / f"drill_{seed}"
    return made if (made / "truth.json").is_file() else write_drill(DrillRequest(seed, POSSESSIONS, book="nba"), folder)


def timed(question: str, ask: Callable[[], int], times: int) -> Timed:
    """Ask once, then so many times."""
    ask()
    taken, cpu = [], []
    for _ in range(times):
        begin, worked = time.perf_counter(), time.process_time()
        rows = ask()
        taken.append(time.perf_counter() - begin)
        cpu.append(time.process_time() - worked)
    return Timed(question, rows, statistics.median(taken), max(taken), statistics.median(cpu))


def measure(library: Library, settings: Settings, times: int) -> Iterator[Timed]:
    """Every question: making the index, searching, SQL, and one search as a command of its own."""
    shutil.rmtree(library.root / FOLDER, ignore_errors=True)
    begin, worked = time.perf_counter(), time.process_time()
    search(library, Filters(limit=0), settings)
    made = time.perf_counter() - begin
    yield Timed("the first search, which makes the index", 0, made, made, time.process_time() - worked)
    yield timed("the search after somebody decided a tag", lambda: _decide_and_search(library, settings), times)
    for question, filters in QUESTIONS:
        yield timed(question, lambda filters=filters: search(library, filters, settings).total, times)  # type: ignore[misc]

    def ask(query: str) -> int:
        with views_of(library).connection as connection:
            return run_sql(connection, query).num_rows

    for question, query in QUERIES:
        yield timed(question, lambda query=query: ask(query), times)  # type: ignore[misc]
    command = [sys.executable, "-m", "pipeline.cli", "find", "--fault", "any", "--limit", "20", "--library"]
    yield timed(
        "the command 'elbowroom find --fault any --limit 20', start of Python included",
        lambda: subprocess.run([*command, str(library.root)], check=True, capture_output=True).returncode,
        times,
    )


def main(arguments: list[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        prog="python -m pipeline.evaluate.search_speed", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("out", type=Path)
    parser.add_argument("--games", type=int, default=100)
    parser.add_argument("--seed", type=int, action="append")
    parser.add_argument("--times", type=int, default=7)
    asked = parser.parse_args(arguments)
    settings = Settings()
    library = Library(asked.out / "library")
    if not library.exists:
        make_library(asked.out, asked.games, asked.seed or [21, 22, 23, 24], settings)
    with views_of(library).connection as views:
        for name in ("games", "actions", "set_candidates", "faults", "tags", "decisions", "tracks"):
            ((count,),) = views.execute(f"SELECT count(*) FROM {name}").fetchall()
            print(f"{name}: {count} rows")  # noqa: T201
    print(f"Python {platform.python_version()}, {os.cpu_count()} processor cores, {platform.machine()}")  # noqa: T201
    print("| question | rows | median s | longest s | processor s |\n|---|---|---|---|---|")  # noqa: T201
    for one in measure(library, settings, asked.times):
        times = f"{one.median_s:.3f} | {one.longest_s:.3f} | {one.cpu_s:.3f}"
        print(f"| {one.question} | {one.rows} | {times} |", flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
