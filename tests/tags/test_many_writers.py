"""Many people and runs at once: nothing acknowledged is ever lost, whoever dies."""

import json
import os
import signal
import subprocess
import sys
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from pipeline.errors import StoreError
from pipeline.tags import ReelConflict, ReelItem, State, TagConflict, TagStore
from tests.tags.candidates import NOW, candidate

VERDICTS = (State.CONFIRMED, State.REJECTED, State.UNSURE)

PEOPLE = 12

WRITER = """
import json, sys
from datetime import UTC, datetime
from pathlib import Path
from pipeline.tags import State, TagStore
place, who, tags, rounds = sys.argv[1], sys.argv[2], json.loads(sys.argv[3]), int(sys.argv[4])
verdicts = [State.CONFIRMED, State.REJECTED, State.UNSURE]
with TagStore(place if "://" in place else Path(place)) as store:
    print("open", flush=True)
    for number in range(rounds):
        tag = tags[number % len(tags)]
        store.decide(tag, verdicts[number % 3], who=who, when=datetime.now(UTC), text=f"{who} {number}")
        print(f"{tag} {who} {number}", flush=True)
"""
"""Decides tags one after the other and says each decision on its standard output once it was acknowledged."""


def writer(place, who: str, tags: list[int], rounds: int) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(place), who, json.dumps(tags), str(rounds)],
        stdout=subprocess.PIPE,
        text=True,
    )


def acknowledged(lines: list[str]) -> list[tuple[int, str]]:
    """(tag, text) of every decision that a writer said was acknowledged; a last line cut off in the middle is none."""
    found = []
    for line in lines:
        if line.endswith("\n") and line != "open\n":
            tag, _, text = line.strip().partition(" ")
            found.append((int(tag), text))
    return found


def texts(store: TagStore, tags: list[int]) -> Counter:
    """How often each (tag, text) stands in the history."""
    return Counter((tag, note.text) for tag in tags for note in store.history(tag) if note.text)


def test_of_many_people_on_one_tag_one_is_first_and_all_others_see_him(tag_place):
    with TagStore(tag_place) as store:
        (tag,) = store.merge("g", [candidate(10)], who="run", when=NOW).new
        start = threading.Barrier(PEOPLE)

        def decide(number: int) -> tuple[str, str]:
            start.wait()
            try:
                decided = store.decide(tag, VERDICTS[number % 3], who=f"person {number}", when=NOW, revision=1)
            except TagConflict as conflict:
                return "second", conflict.note.who if conflict.note else "nobody"
            return "first", decided.decided_by or ""

        with ThreadPoolExecutor(PEOPLE) as people:
            told = list(people.map(decide, range(PEOPLE)))
        assert sorted(word for word, _ in told) == ["first"] + ["second"] * (PEOPLE - 1)
        assert {who for _, who in told} == {store.tag(tag).decided_by}
        assert len(store.history(tag)) == 2


def test_without_a_revision_every_decision_of_everybody_is_kept_in_order(tag_place):
    with TagStore(tag_place) as store:
        tags = list(store.merge("g", [candidate(10.0 * n) for n in range(1, 4)], who="run", when=NOW).new)
        with ThreadPoolExecutor(PEOPLE) as people:
            list(
                people.map(
                    lambda n: store.decide(tags[n % 3], VERDICTS[n % 3], who=f"p{n % PEOPLE}", when=NOW, text=str(n)),
                    range(60),
                )
            )
        for place, tag in enumerate(tags):
            lines = store.history(tag)[1:]
            assert sorted(int(line.text) for line in lines) == list(range(place, 60, 3))
            assert store.tag(tag).revision == 21
            assert store.tag(tag).decided_by == lines[-1].who
        assert [d.tag for d in store.decisions()] == sorted(
            tags, key=lambda t: [d.tag for d in store.decisions()].index(t)
        )


@pytest.mark.slow
def test_runs_and_people_at_the_same_time_lose_nothing(tag_place):
    """Runs find other scores, people decide, edit, label and put into a reel; every deed leaves its line."""
    candidates = [candidate(10.0 * n, handler=n) for n in range(1, 13)]
    with TagStore(tag_place) as store, TagStore(tag_place) as other:
        tags = list(store.merge("g", candidates, who="run", when=NOW).new)
        reel = store.make_reel("all", who="Kim", when=NOW).reel
        stop = threading.Event()

        def rerun() -> int:
            runs = 0
            while not stop.is_set():
                moved = [replace(c, score=0.5 + 0.01 * (runs % 40)) for c in candidates]
                assert other.merge("g", moved, who="run", when=NOW).new == ()
                runs += 1
            return runs

        def person(number: int) -> Counter:
            done: Counter = Counter()
            for step in range(6):
                tag = tags[(number * 5 + step) % len(tags)]
                text = f"{number}-{step}"
                store.decide(tag, VERDICTS[step % 3], who=f"p{number}", when=NOW, text=text)
                done[tag, text] += 1
                other.label(tag, add=[text], who=f"p{number}", when=NOW)
                store.edit(tag, start_s=float(number + step / 6), who=f"p{number}", when=NOW)
                while True:
                    now = other.reel(reel)
                    try:
                        store.save_reel(replace(now, items=(*now.items, ReelItem(tag, text))), who="p", when=NOW)
                        break
                    except ReelConflict:
                        continue
            return done

        with ThreadPoolExecutor(8) as pool:
            runs = [pool.submit(rerun) for _ in range(2)]
            done = sum((f.result() for f in [pool.submit(person, n) for n in range(5)]), Counter())
            stop.set()
            assert all(run.result() > 0 for run in runs)
        assert {key: n for key, n in texts(store, tags).items() if key in done} == dict(done)
        assert {(t.tag, label) for t in store.tags() for label in t.labels} == set(done)
        assert Counter((i.tag, i.title) for i in store.reel(reel).items) == done
        assert {t.tag for t in store.tags()} == set(tags)


@pytest.mark.slow
def test_processes_write_at_once(tag_place):
    with TagStore(tag_place) as store:
        tags = list(store.merge("g", [candidate(10.0 * n) for n in range(1, 4)], who="run", when=NOW).new)
        writers = [writer(tag_place, f"w{n}", tags, 30) for n in range(3)]
        told = Counter()
        for one in writers:
            output, _ = one.communicate(timeout=120)
            assert one.returncode == 0
            told += Counter(acknowledged(output.splitlines(keepends=True)))
        assert sum(told.values()) == 90
        assert texts(store, tags) == told
        assert sum(store.tag(tag).revision - 1 for tag in tags) == 90


@pytest.mark.slow
def test_a_writer_that_is_killed_loses_nothing_that_was_acknowledged(tag_place):
    """Kill -9 in the middle of writing, again and again; another process goes on at once."""
    with TagStore(tag_place) as store:
        tags = list(store.merge("g", [candidate(10.0 * n) for n in range(1, 4)], who="run", when=NOW).new)
        everything: list[tuple[int, str]] = []
        for turn in range(6):
            one = writer(tag_place, f"w{turn}", tags, 100_000)
            assert one.stdout is not None
            lines = [one.stdout.readline() for _ in range(2 + 7 * turn)]
            os.kill(one.pid, signal.SIGKILL)
            lines += one.stdout.readlines()
            one.stdout.close()
            assert one.wait() == -signal.SIGKILL
            everything += acknowledged(lines)
            assert (
                store.decide(tags[0], State.UNSURE, who="after", when=NOW, text=f"after {turn}").decided_by == "after"
            )
            everything.append((tags[0], f"after {turn}"))
        assert len(everything) >= 6 * 2
        kept = texts(store, tags)
        assert [key for key in everything if kept[key] != 1] == []
        for tag in tags:
            lines_of_tag = store.history(tag)
            assert store.tag(tag).decided_by == lines_of_tag[-1].who
            assert store.tag(tag).revision == len(lines_of_tag)


@pytest.mark.slow
def test_a_run_that_is_killed_in_the_middle_of_its_merge_leaves_no_half_of_it(tag_place):
    code = """
import sys
from dataclasses import replace
from pathlib import Path
from pipeline.tags import TagStore
from tests.tags.candidates import NOW, candidate
place = sys.argv[1]
with TagStore(place if "://" in place else Path(place)) as store:
    number = 0
    while True:
        number += 1
        found = [replace(candidate(10.0 * n), score=(number % 90 + 5) / 100) for n in range(1, 60)]
        store.merge("g", found, who=f"run {number}", when=NOW)
        print(number, flush=True)
"""
    with TagStore(tag_place) as store:
        store.merge("g", [candidate(10.0 * n) for n in range(1, 60)], who="run", when=NOW)
        for turn in range(4):
            one = subprocess.Popen([sys.executable, "-c", code, str(tag_place)], stdout=subprocess.PIPE, text=True)
            assert one.stdout is not None
            seen = [int(one.stdout.readline()) for _ in range(1 + turn)]
            os.kill(one.pid, signal.SIGKILL)
            seen += [int(line) for line in one.stdout.readlines() if line.endswith("\n")]
            one.stdout.close()
            one.wait()
            scores = {tag.candidate.score for tag in store.tags()}
            assert len(scores) == 1, "all of a run or nothing"
            assert scores & {(number % 90 + 5) / 100 for number in (seen[-1], seen[-1] + 1)}
            assert len(store.tags()) == 59


def test_a_database_that_goes_away_is_one_sentence(postgres_place):
    from sqlalchemy import create_engine, make_url, text

    url = make_url(postgres_place).set(drivername="postgresql+psycopg")
    admin = create_engine(url.set(database="postgres"), isolation_level="AUTOCOMMIT")
    with TagStore(postgres_place) as store:
        (tag,) = store.merge("g", [candidate(10)], who="run", when=NOW).new
        with admin.connect() as connection:
            connection.execute(
                text("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = :name"),
                {"name": url.database},
            )
        assert store.decide(tag, State.CONFIRMED, who="Kim", when=NOW).decided_by == "Kim", "it connects anew"
        with admin.connect() as connection:
            connection.execute(text(f"ALTER DATABASE {url.database} ALLOW_CONNECTIONS false"))
            connection.execute(
                text("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = :name"),
                {"name": url.database},
            )
        with pytest.raises(StoreError, match="cannot be used now") as told:
            store.decide(tag, State.REJECTED, who="Kim", when=NOW)
        assert "\n" not in str(told.value)
        with admin.connect() as connection:
            connection.execute(text(f"ALTER DATABASE {url.database} ALLOW_CONNECTIONS true"))
        assert store.tag(tag).state is State.CONFIRMED
    admin.dispose()
