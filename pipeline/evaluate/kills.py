"""Kill a film's run at random moments, let it go on, and see whether anything is lost.

    python -m pipeline.evaluate.kills FILM OUT --kills 40 --seed 1

The film is run undisturbed once. Then it is run again and again, each time into a library of its own: its whole process
group is killed (SIGKILL) at moments drawn uniformly over the length of the undisturbed run, several a round, and it is
begun again after each, until so many kills have struck; every round is carried to its end. All tables, the record of
its stages and its tags must then be those of the undisturbed run, and nothing unfinished may be left behind.

A moment of the undisturbed run is found again in another one by the stage that ran then and by how far it was: in the
vision pass and the players stage by the share that they tell and the time since then, in the others by the time since
they began.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import selectors
import signal
import sqlite3
import subprocess
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq

from pipeline.library.games import Library
from pipeline.night.networks import film_networks
from pipeline.night.run import run_film
from pipeline.night.stages import UNITS, read_state
from pipeline.settings import Settings, load_settings

START = "start"
"""What comes before the first stage: the program is loaded, the networks are opened."""

TELL_S = 0.02
LISTEN_S = 0.02

GONE_WITHIN_S = 2.0
"""Killed processes are gone by then; where nobody reaps them their group still answers."""


@dataclass(frozen=True, slots=True)
class Told:
    """What a run told: its stage, 0..1 of it, and when, seconds from its process's start."""

    stage: str
    share: float
    t_s: float


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of the undisturbed run.

    Attributes
    ----------
    run_share : float
        0..1 of its length.
    stage : str
    share : float
        0..1 of that stage, as the run had told it by then; of stages that tell nothing between their begin and their
        end, of the stage's time.
    after_s : float
        Seconds since it had told that.
    """

    run_share: float
    stage: str
    share: float
    after_s: float


@dataclass(frozen=True, slots=True)
class Strike:
    """A kill.

    Attributes
    ----------
    round : int
    run_share : float
        Where in the undisturbed run it was to strike, 0..1 of its length.
    stage : str
        That it struck.
    share : float
        0..1 of that stage, as the run told it last.
    after_s : float
        Seconds from the start of the killed process.
    repeated_s : float
        Of them, since the stage began or since it last put something on the disk: what is done again.
    unfinished : int
        Files under temporary names that the kill left.
    """

    round: int
    run_share: float
    stage: str
    share: float
    after_s: float
    repeated_s: float
    unfinished: int


@dataclass(frozen=True, slots=True)
class How:
    """How it is done.

    Attributes
    ----------
    kills : int
        In all.
    each : int
        In one round.
    at_once : int
        Rounds that run side by side.
    seed : int
    configs : Path or None
        Folder of settings.
    """

    kills: int
    each: int
    at_once: int
    seed: int
    configs: Path | None


class Attempt:
    """A run of a film in a process group of its own."""

    def __init__(self, film: Path, library: Path, configs: Path | None) -> None:
        command = [sys.executable, "-m", "pipeline.evaluate.kills", str(film), str(library), "--run-once"]
        command += ["--configs", str(configs)] if configs else []
        self._library = library
        self._began_s = time.monotonic()
        self._began_at = time.time()
        with library.with_suffix(".err").open("ab") as trouble:
            self._process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=trouble, start_new_session=True)
        self.at = Told(START, 0.0, 0.0)
        self._stage_at = self._began_at

    def listen(self) -> Iterator[Told]:
        """What it tells, and where it is now and then while it tells nothing, until it ends."""
        assert self._process.stdout is not None
        pipe = self._process.stdout.fileno()
        os.set_blocking(pipe, False)
        rest = b""
        with selectors.DefaultSelector() as ready:
            ready.register(pipe, selectors.EVENT_READ)
            while True:
                if not ready.select(LISTEN_S):
                    yield self.at
                    continue
                read = os.read(pipe, 1 << 16)
                if not read:
                    break
                *lines, rest = (rest + read).split(b"\n")
                for line in lines:
                    self._hear(line.decode())
                    yield self.at
        if self._process.wait() != 0:
            raise SystemExit(f"The run ended with {self._process.returncode}; see {self._library.with_suffix('.err')}.")

    def strike(self) -> tuple[float, float]:
        """Kill it and all its processes; seconds since it began, and since it last put something on the disk."""
        os.killpg(self._process.pid, signal.SIGKILL)
        now = time.time()
        self._process.wait()
        gone_by_s = time.monotonic() + GONE_WITHIN_S
        while _lives(self._process.pid) and time.monotonic() < gone_by_s:
            time.sleep(0.01)  # its workers
        kept = [path.stat().st_mtime for path in self._library.glob(f"games/*/{UNITS}/{self.at.stage}-*/*")]
        return now - self._began_at, now - max([self._stage_at, *kept])

    @property
    def seconds(self) -> float:
        """Since its process began."""
        return time.monotonic() - self._began_s

    def _hear(self, line: str) -> None:
        stage, share = line.split()
        if stage != self.at.stage:
            self._stage_at = time.time()
        self.at = Told(stage, float(share), self.seconds)


def run_once(film: Path, library: Path, settings: Settings) -> None:
    """Run the film as the command line does, and tell every stage and share, a line each."""

    def stage(name: str) -> Callable[[float, float], None]:
        last_s = time.monotonic()
        print(name, 0.0, flush=True)  # noqa: T201

        def tell(done: float, whole: float) -> None:
            nonlocal last_s
            now_s = time.monotonic()
            if now_s - last_s >= TELL_S:
                last_s = now_s
                print(name, done / whole if whole else 0.0, flush=True)  # noqa: T201

        return tell

    run_film(film, Library(library), film_networks(settings), settings, book=None, progress=stage)


def undisturbed(film: Path, library: Path, configs: Path | None) -> tuple[list[Told], float]:
    """Run the film without a kill; everything that it told, and its length in seconds."""
    attempt = Attempt(film, library, configs)
    told = [Told(START, 0.0, 0.0)]
    for at in attempt.listen():
        if at != told[-1]:
            told.append(at)
    return told, attempt.seconds


def moments(told: Sequence[Told], length_s: float, count: int, draw: random.Random) -> list[Moment]:
    """So many moments of the undisturbed run, in order, each as likely as any other."""
    begins = {at.stage: at.t_s for at in reversed(told)}
    stages = list(dict.fromkeys(at.stage for at in told))
    found = []
    for t_s in sorted(draw.uniform(0.0, length_s) for _ in range(count)):
        stage = max((name for name in stages if begins[name] <= t_s), key=lambda name: begins[name])
        share = max(at.share for at in told if at.stage == stage and at.t_s <= t_s)
        since_s = min(at.t_s for at in told if at.stage == stage and at.share == share)
        found.append(Moment(t_s / length_s, stage, share, t_s - since_s))
    return found


def killed_round(
    number: int, film: Path, library: Path, configs: Path | None, wanted: Sequence[Moment], order: Sequence[str]
) -> Iterator[Strike]:
    """Run the film to its end through a kill at each of the moments that it has not passed by then."""
    waiting = deque(wanted)
    struck: Moment | None = None
    while True:
        attempt = Attempt(film, library, configs)
        reached_s: float | None = None
        for at in attempt.listen():
            if not waiting:
                continue
            if reached_s is None and _is_there(at, waiting[0], order):
                reached_s = attempt.seconds
            if reached_s is not None and (
                order.index(at.stage) > order.index(waiting[0].stage)
                or attempt.seconds - reached_s >= _still_s(waiting[0], struck)
            ):
                break
        else:
            return
        struck = waiting.popleft()
        after_s, repeated_s = attempt.strike()
        unfinished = len(list(library.rglob("*.tmp")))
        yield Strike(number, struck.run_share, at.stage, at.share, after_s, repeated_s, unfinished)


def _is_there(at: Told, wanted: Moment, order: Sequence[str]) -> bool:
    """Whether a run has told what the undisturbed one had told at a moment."""
    return (order.index(at.stage), at.share) >= (order.index(wanted.stage), wanted.share)


def _still_s(wanted: Moment, struck: Moment | None) -> float:
    """How long after that to strike; a run that was struck after it had told the same goes on from there."""
    same = struck is not None and (struck.stage, struck.share) == (wanted.stage, wanted.share)
    return wanted.after_s - (struck.after_s if same and struck is not None else 0.0)


def differences(undisturbed_at: Path, killed_at: Path) -> list[str]:
    """What is not as in the undisturbed library, and what was left behind; empty when all is well."""
    one, other = Library(undisturbed_at), Library(killed_at)
    names = [[game.name for game in library.games()] for library in (one, other)]
    if names[0] != names[1]:
        return [f"games {names[1]} instead of {names[0]}"]
    wrong = []
    for game, again in zip(one.games(), other.games(), strict=True):
        files = [sorted(path.name for path in each.tables.iterdir()) for each in (game, again)]
        if files[0] != files[1]:
            wrong.append(f"files {files[1]} instead of {files[0]}")
        for name in files[0]:
            if not _same_table(game.tables / name, again.tables / name):
                wrong.append(f"table {name} differs")
        if _lasting(read_state(game)) != _lasting(read_state(again)):
            wrong.append("state.json differs")
        for line in (again.folder / "logs" / "runs.jsonl").read_text(encoding="utf-8").splitlines():
            json.loads(line)
    with one.tag_store() as store, other.tag_store() as its_store:
        tags, its_tags = store.tags(), its_store.tags()
    if [_lasting_tag(tag) for tag in tags] != [_lasting_tag(tag) for tag in its_tags]:
        wrong.append(f"tags differ ({len(its_tags)} instead of {len(tags)})")
    with closing(sqlite3.connect(killed_at / "library.db")) as database:
        told = database.execute("PRAGMA integrity_check").fetchone()[0]
        wrong += [] if told == "ok" else [f"library.db: {told}"]
    left = [path for pattern in ("*.tmp", UNITS, ".unfinished-*", ".lock-*") for path in killed_at.rglob(pattern)]
    return wrong + [f"left behind: {path.relative_to(killed_at)}" for path in left]


def _same_table(one: Path, other: Path) -> bool:
    digests = [hashlib.sha256(path.read_bytes()).digest() for path in (one, other)]
    return digests[0] == digests[1] or bool(pq.read_table(one).equals(pq.read_table(other)))


def _lasting(state: dict[str, Any]) -> dict[str, Any]:
    """What a record of stages says, but when and how long."""
    return {
        name: {key: value for key, value in entry.items() if key not in ("finished", "seconds")}
        for name, entry in state.items()
    }


def _lasting_tag(tag: Any) -> tuple[Any, ...]:
    return (tag.tag, tag.game, tag.state, tag.revision, tag.candidate)


def _lives(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def measure(film: Path, out: Path, how: How) -> int:
    """Do it all and print it; how many rounds ended otherwise than the undisturbed run."""
    out.mkdir(parents=True, exist_ok=True)
    told, length_s = undisturbed(film, out / "undisturbed", how.configs)
    order = list(dict.fromkeys(at.stage for at in told))
    print(f"Undisturbed: {length_s:.1f} s; {_spans(told, length_s)}.", flush=True)  # noqa: T201
    draw = random.Random(how.seed)
    strikes: list[Strike] = []
    wrong: list[list[str]] = []

    def one_round(number: int, wanted: Sequence[Moment]) -> list[str]:
        library = out / f"round-{number:02d}"
        for strike in killed_round(number, film, library, how.configs, wanted, order):
            strikes.append(strike)
            print(_line(len(strikes), strike), flush=True)  # noqa: T201
        found = differences(out / "undisturbed", library)
        print(f"     round {number} ended {'; '.join(found) or 'as the undisturbed run'}", flush=True)  # noqa: T201
        return found

    while len(strikes) < how.kills:
        left = how.kills - len(strikes)
        counts = [min(how.each, left - k) for k in range(0, left, how.each)][: how.at_once]
        rounds = [moments(told, length_s, count, draw) for count in counts]
        with ThreadPoolExecutor(len(rounds)) as beside:
            wrong += beside.map(one_round, range(len(wrong) + 1, len(wrong) + 1 + len(rounds)), rounds)
    (out / "kills.json").write_text(
        json.dumps({"film": film.name, "seconds": length_s, "strikes": [asdict(s) for s in strikes]}, indent=1),
        encoding="utf-8",
    )
    bad = sum(map(bool, wrong))
    print(_summary(strikes, len(wrong), bad))  # noqa: T201
    return bad


def _line(number: int, strike: Strike) -> str:
    return (
        f"{number:3d}  round {strike.round}  at {strike.run_share:4.0%} of the run: {strike.stage} "
        f"({strike.share:.0%}), {strike.after_s:.1f} s after its start; {strike.repeated_s:.1f} s done again, "
        f"{strike.unfinished} unfinished file(s)"
    )


def _spans(told: Sequence[Told], length_s: float) -> str:
    begins = {at.stage: at.t_s for at in reversed(told)}
    names = list(dict.fromkeys(at.stage for at in told))
    ends = [*(begins[name] for name in names[1:]), length_s]
    return ", ".join(f"{name} {end - begins[name]:.1f}" for name, end in zip(names, ends, strict=True))


def _summary(strikes: Sequence[Strike], rounds: int, bad: int) -> str:
    stages = list(dict.fromkeys(sorted((s.stage for s in strikes), key=lambda name: name)))
    where = ", ".join(f"{name} {sum(s.stage == name for s in strikes)}" for name in stages)
    again = sorted(s.repeated_s for s in strikes)
    return (
        f"{len(strikes)} kills in {rounds} rounds ({where}); done again {sum(again):.1f} s in all, median "
        f"{again[len(again) // 2]:.1f} s, most {again[-1]:.1f} s; {rounds - bad} of {rounds} rounds ended as the "
        "undisturbed run."
    )


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("film", type=Path)
    parser.add_argument("out", type=Path, help="Folder for the libraries; a new one.")
    parser.add_argument("--kills", type=int, default=40)
    parser.add_argument("--each", type=int, default=5, help="Kills in one round.")
    parser.add_argument("--at-once", type=int, default=1, help="Rounds side by side.")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--configs", type=Path, default=None, help="Folder of settings, as for the command line.")
    parser.add_argument("--run-once", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.run_once:
        run_once(given.film, given.out, load_settings(given.configs) if given.configs else Settings())
        return
    how = How(given.kills, given.each, given.at_once, given.seed, given.configs)
    sys.exit(bool(measure(given.film, given.out, how)))


if __name__ == "__main__":
    main()
