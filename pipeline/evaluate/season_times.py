"""How large and how fast a library is: sizes, the tag store, searches, reports, every page, a backup, a rerun.

    python -m pipeline.evaluate.season_times LIBRARY [--times 5] [--only pages --only reports]

Comes in: a library, best a season's (:mod:`pipeline.evaluate.season`). Goes out: a table. Every question is asked once
cold (what is kept in ``.find`` of the library is thrown away before searches, a server is new before pages) and then
several times; medians and the longest are told, by the clock and in processor time (with that of child processes). The
library is copied nowhere: a decision is taken and taken back, a rerun finds the same again.
"""

from __future__ import annotations

import argparse
import os
import platform
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Never

from pipeline.errors import LibraryError
from pipeline.find import Filters, read_bar, search
from pipeline.find.index import FOLDER as FIND_FOLDER
from pipeline.find.views import run_sql, views_of
from pipeline.library.games import Library
from pipeline.night.rerun import From, rerun_game
from pipeline.night.run import Networks
from pipeline.settings import Settings
from pipeline.tags import State
from pipeline.tags.backup import back_up, restore
from pipeline.tags.ranking import precision, rank

MB = 1e6
ACCEPTED_PAGE_S = 1.0


@dataclass(frozen=True, slots=True)
class Timed:
    """A question: what it gave, how long it took first, then in the median and at most; processor time of the median.

    Attributes
    ----------
    part, question, gave : str
    cold_s, median_s, longest_s, processor_s : float
        ``median_s`` is NaN where it was asked once.
    """

    part: str
    question: str
    gave: str
    cold_s: float
    median_s: float
    longest_s: float
    processor_s: float


def timed(part: str, question: str, ask: Callable[[], str], times: int) -> Timed:
    """Ask once, then so many times."""
    cold_s, cold_worked_s, gave = _once(ask)
    again = [_once(ask) for _ in range(times)]
    nothing = float("nan")
    return Timed(
        part,
        question,
        gave,
        cold_s,
        statistics.median(one[0] for one in again) if again else nothing,
        max((one[0] for one in again), default=cold_s),
        statistics.median(one[1] for one in again) if again else cold_worked_s,
    )


def _once(ask: Callable[[], str]) -> tuple[float, float, str]:
    began, worked = time.perf_counter(), _processor_s()
    gave = ask()
    return time.perf_counter() - began, _processor_s() - worked, gave


def _processor_s() -> float:
    """Of this process and its finished children."""
    return time.process_time() + sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2])


def sizes(library: Library) -> Iterator[tuple[str, float, int]]:
    """What lies in a library: name, MB, files."""
    tables: dict[str, list[int]] = {}
    for game in library.games():
        for path in game.tables.glob("*.parquet"):
            tables.setdefault(path.stem, []).append(path.stat().st_size)
    for name, found in sorted(tables.items(), key=lambda pair: -sum(pair[1])):
        yield f"table {name}", sum(found) / MB, len(found)
    whole = [size for found in tables.values() for size in found]
    yield "all tables", sum(whole) / MB, len(whole)
    for name, places in (
        ("tag store", [p for p in library.root.glob("library.db*") if p.is_file()]),
        ("search's index", list((library.root / FIND_FOLDER).glob("*"))),
        ("nights", list((library.root / "nights").rglob("*.*"))),
    ):
        yield name, sum(p.stat().st_size for p in places) / MB, len(places)


def of_store(library: Library, times: int) -> Iterator[Timed]:
    """What the pages ask the tag store."""
    one = library.games()[0].name
    with library.tag_store() as store:
        number = store.tags(game=one)[0].tag
        asked: tuple[tuple[str, Callable[[], int]], ...] = (
            ("every tag", lambda: len(store.tags())),
            ("tags to decide", lambda: len(store.tags(state=State.CANDIDATE))),
            ("tags of one game", lambda: len(store.tags(game=one))),
            ("counts by kind and state", lambda: len(store.counts())),
            ("newest line of every tag", lambda: len(store.latest_lines())),
            ("every decision with its evidence", lambda: len(store.decisions())),
            ("history of one tag", lambda: len(store.history(number))),
            ("reels", lambda: len(store.reels())),
            ("precision of every recogniser", lambda: len(precision(store.decisions()))),
            (
                "ranking of all that is to decide",
                lambda: len(rank(store.decisions(), store.tags(state=State.CANDIDATE))),
            ),
        )
        for question, ask in asked:
            yield timed("store", question, lambda ask=ask: f"{ask()} rows", times)  # type: ignore[misc]

        def decide_and_back() -> str:
            now = datetime.now(UTC)
            store.decide(number, State.UNSURE, who="season times", when=now)
            store.undo(number, who="season times", when=now)
            return "2 lines"

        yield timed("store", "a decision and taking it back", decide_and_back, times)


BAR = (
    "pushed_out_catch",
    "weak_side_motion return_catch_ft > 28",
    "crowded_paint team:Harbour since:2026-01-01",
    "state:confirmed",
    "on_ball_screen coverage in (under, switch)",
    "action:any",
    "",
)
"""What people write into the search's bar; the last shows everything."""


def of_search(library: Library, settings: Settings, times: int) -> Iterator[Timed]:
    """Searching and SQL in this process; first everything anew, then from what is kept."""
    shutil.rmtree(library.root / FIND_FOLDER, ignore_errors=True)
    yield timed(
        "search", "the first search, which makes the index", lambda: _hits(library, "pushed_out_catch", settings), 0
    )
    for text in BAR:
        yield timed("search", f"bar: {text or '(nothing)'}", lambda text=text: _hits(library, text, settings), times)  # type: ignore[misc]
    for question, query in (
        ("SQL: faults by kind and game", "SELECT kind, game, count(*) FROM faults GROUP BY ALL"),
        ("SQL: mean sigma of every place", "SELECT count(*), avg(sigma_ft) FROM tracks"),
    ):
        yield timed("search", question, lambda query=query: _rows(library, query), times)  # type: ignore[misc]


def _hits(library: Library, text: str, settings: Settings) -> str:
    filters = read_bar(text, settings) if text else Filters()
    return f"{search(library, filters, settings).total} hits"


def _rows(library: Library, query: str) -> str:
    with views_of(library).connection as connection:
        return f"{run_sql(connection, query).num_rows} rows"


def of_commands(library: Library, settings: Settings, times: int) -> Iterator[Timed]:
    """Commands as processes of their own, start of Python included."""
    del settings
    where = ["--library", str(library.root)]
    with tempfile.TemporaryDirectory() as folder:
        commands = (
            ["find", "pushed_out_catch", *where],
            ["sql", "select kind, count(*) from faults group by all", *where],
            ["list", *where],
            ["precision", *where],
            ["report", "set", "weak_side_motion", "--out", f"{folder}/set.pdf", *where],
            ["report", "set", "weak_side_motion", "--out", f"{folder}/set.html", *where],
            [
                "report",
                "compare",
                "weak_side_motion",
                "team:Harbour",
                "team:Hill",
                "--out",
                f"{folder}/two.html",
                *where,
            ],
            ["report", "congestion", "--out", f"{folder}/paint.html", *where],
            ["report", "night", "--out", f"{folder}/night.html", *where],
            ["report", "trend", "crowded_paint team:Harbour", "--out", f"{folder}/trend.html", *where],
        )
        for command in commands:
            told = " ".join(part for part in command if part not in where).replace(f"{folder}/", "")
            yield timed("commands", f"elbowroom {told}", lambda command=command: _command(command), times)  # type: ignore[misc]


def _command(command: list[str]) -> str:
    done = subprocess.run([sys.executable, "-m", "pipeline.cli", *command], capture_output=True, check=False)
    if done.returncode:
        raise LibraryError(f"'elbowroom {' '.join(command)}' failed: {done.stderr.decode(errors='replace')[-300:]}")
    written = [Path(part) for part in command if part.endswith((".pdf", ".html"))]
    size = sum(path.stat().st_size for path in written if path.is_file()) or len(done.stdout)
    for path in written:
        path.unlink(missing_ok=True)
    return f"{size / 1e3:.0f} kB"


def addresses(library: Library) -> tuple[str, ...]:
    """Every page, and what pages fetch, once."""
    game = library.games()[len(library.games()) // 2].name
    with library.tag_store() as store:
        number = store.tags(game=game)[0].tag
        reels = store.reels()
    of_reel = (
        (f"/reels/{reels[0].reel}", f"/reels/{reels[0].reel}/play", f"/reels/{reels[0].reel}/handout") if reels else ()
    )
    two = "one_team=Harbour&other_team=Hill"
    return (
        "/", "/queue", f"/queue?game={game}", "/queue?kind=crowded_paint", "/queue?state=confirmed",
        f"/tags/{number}", f"/api/tags/{number}", f"/api/tags/{number}/play.json", f"/drawings/{number}.svg",
        "/search", "/search?q=pushed_out_catch", "/search?q=action%3Aany", "/search?q=action%3Aany&start=4000",
        "/search?q=weak_side_motion%20return_catch_ft%20%3E%2028",
        "/search?q=crowded_paint%20team%3AHarbour%20since%3A2026-01-01",
        "/search/export?q=pushed_out_catch&form=csv",
        "/compare", f"/compare?what=set%3Aweak_side_motion&{two}", f"/compare?what=fault%3Acrowded_paint&{two}",
        "/sets", "/sets/weak_side_motion", "/court", "/precision", "/reels", *of_reel, "/reports",
        "/reports/set.html?name=weak_side_motion", f"/reports/compare.html?name=weak_side_motion&{two}",
        "/reports/congestion.html", "/reports/night.html", "/reports/trend.html?what=crowded_paint",
        "/settings", "/about",
    )  # fmt: skip


def of_pages(library: Library, settings: Settings, times: int) -> Iterator[Timed]:
    """Every page of a new server by HTTP, in this process."""
    from fastapi.testclient import TestClient

    from pipeline.review.access import access_for
    from pipeline.review.app import create_app

    app = create_app(library, settings, access=access_for(library, "127.0.0.1", settings.review, visitor="season"))
    with TestClient(app, base_url="http://127.0.0.1") as client:

        def ask(address: str) -> str:
            answer = client.get(address)
            if answer.status_code != 200:
                raise LibraryError(f"{address} is answered with {answer.status_code}: {answer.text[:300]}")
            return f"{len(answer.content) / 1e3:.0f} kB"

        for address in addresses(library):
            yield timed("pages", address, lambda address=address: ask(address), times)  # type: ignore[misc]


def of_backup(library: Library, settings: Settings, times: int) -> Iterator[Timed]:
    """The tag store into one file and back into an empty one."""
    del settings, times
    with tempfile.TemporaryDirectory() as folder:
        kept, place = Path(folder) / "kept.backup", Path(folder) / "library.db"

        def save() -> str:
            back_up(library.tag_place, kept)
            return f"{kept.stat().st_size / MB:.1f} MB"

        yield timed("backup", "backup", save, 0)
        yield timed("backup", "restore into an empty store", lambda: f"{restore(kept, place).tags} tags", 0)


def of_rerun(library: Library, settings: Settings, times: int) -> Iterator[Timed]:
    """Every game again from the sets on, with one threshold changed, and back; decisions are kept or it is an error."""
    del times
    changed = settings.model_copy(update={"sets": settings.sets.model_copy(update={"least_score": 0.4})})
    for told, chosen in (("one threshold of the sets changed", changed), ("and back", settings)):
        with library.tag_store() as store:
            before = {one.tag: one.verdict for one in store.decisions()}

        def again(chosen: Settings = chosen) -> str:
            found = sum(_rerun(library, game.name, chosen) for game in library.games())
            return f"{found} tags"

        yield timed("rerun", f"rerun --from sets, {told}", again, 0)
        with library.tag_store() as store:
            after = {one.tag: one.verdict for one in store.decisions()}
        if after != before:
            raise LibraryError(f"A rerun changed {len(before.items() ^ after.items())} decisions of {library.root}.")


def _rerun(library: Library, name: str, settings: Settings) -> int:
    done = rerun_game(
        library.game(name),
        library,
        Networks(open=_no_networks, digests=dict),
        settings,
        since=From.SETS,
        progress=lambda _stage: lambda _done, _of: None,
    )
    return len(done.tags)


def _no_networks() -> Never:
    raise LibraryError("A rerun from the sets on opens no network.")


PARTS: dict[str, Callable[[Library, Settings, int], Iterator[Timed]]] = {
    "store": lambda library, _settings, times: of_store(library, times),
    "search": of_search,
    "pages": of_pages,
    "commands": of_commands,
    "backup": of_backup,
    "rerun": of_rerun,
}


def main(arguments: list[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        prog="python -m pipeline.evaluate.season_times", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("library", type=Path)
    parser.add_argument("--times", type=int, default=5)
    parser.add_argument("--only", action="append", choices=["sizes", *PARTS])
    asked = parser.parse_args(arguments)
    library, settings = Library(asked.library).must_exist(), Settings()
    chosen = asked.only or ["sizes", *PARTS]
    print(f"{len(library.games())} games; Python {platform.python_version()}, {os.cpu_count()} cores, ", end="")  # noqa: T201
    print(f"load {os.getloadavg()[0]:.0f} at the start")  # noqa: T201
    if "sizes" in chosen:
        print("| what | MB | files |\n|---|---|---|")  # noqa: T201
        for name, size_mb, files in sizes(library):
            print(f"| {name} | {size_mb:.1f} | {files} |")  # noqa: T201
    print("| part | question | gave | first s | median s | longest s | processor s |\n|---|---|---|---|---|---|---|")  # noqa: T201
    for part in (name for name in PARTS if name in chosen):
        for one in PARTS[part](library, settings, asked.times):
            times = f"{one.cold_s:.2f} | {one.median_s:.3f} | {one.longest_s:.3f} | {one.processor_s:.3f}"
            print(f"| {one.part} | {one.question} | {one.gave} | {times} |", flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
