"""Older stores are brought up after a copy was kept; newer ones and others' databases are refused."""

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, text

from pipeline.errors import LibraryError
from pipeline.tags import Deed, Family, State, TagStore
from pipeline.tags.opening import HEAD, KNOWN
from pipeline.tags.schema import Base
from tests.tags.candidates import NOW, candidate

VERSION_1 = Path(__file__).with_name("version_1.sql")
"""A store as version 1 of the schema left it, dumped by SQLite; written once by the program of that time."""


@pytest.fixture
def old(tmp_path) -> Path:
    file = tmp_path / "library.db"
    with closing(sqlite3.connect(file)) as connection:
        connection.executescript(VERSION_1.read_text(encoding="utf-8"))
    return file


def engine_of(place):
    return create_engine(
        place.replace("postgresql:", "postgresql+psycopg:", 1) if isinstance(place, str) else f"sqlite:///{place}"
    )


def test_the_steps_lead_to_the_tables_that_the_program_uses(tag_place):
    with TagStore(tag_place):
        pass
    engine = engine_of(tag_place)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
    engine.dispose()


def test_the_newest_step_is_the_one_that_the_program_knows():
    config = Config()
    config.set_main_option("script_location", "pipeline.tags:migrations")
    config.set_main_option("path_separator", "os")
    steps = ScriptDirectory.from_config(config)
    assert steps.get_heads() == [HEAD]
    assert [step.revision for step in steps.walk_revisions()][::-1] == list(KNOWN)


def test_a_store_of_version_1_keeps_everything(old):
    before = old.read_bytes()
    with TagStore(old) as store:
        tags = {t.tag: t for t in [*store.tags(), *store.tags(state=State.WITHDRAWN)]}
        assert {n: (t.game, t.candidate.kind, t.state, t.candidate.family) for n, t in tags.items()} == {
            1: ("game-a", "crowded_paint", State.REJECTED, Family.FAULT),
            2: ("game-a", "twins", State.CANDIDATE, Family.FAULT),
            3: ("game-a", "horns", State.CONFIRMED, Family.SET),
            4: ("game-a", "house_rule", State.CANDIDATE, Family.FAULT),
            5: ("game-a", "stalled_ball", State.WITHDRAWN, Family.FAULT),
            6: ("game-b", "crowded_paint", State.CANDIDATE, Family.FAULT),
        }
        assert tags[1].candidate.sentence == "A crowded_paint of O'Neil's \"five\", Müller."
        assert tags[1].candidate.score == 0.6
        assert (tags[1].candidate.team, tags[1].candidate.traits, tags[1].note, tags[1].labels) == (None, {}, "", ())
        assert [(n.who, n.deed, n.text) for n in store.history(1)] == [
            ("elbowroom 0.1.0", Deed.FOUND, ""),
            ("Kim", Deed.CONFIRMED, "clear"),
            ("Ann", Deed.REJECTED, ""),
            ("elbowroom 0.1.0", Deed.FOUND_AGAIN, ""),
        ]
        assert [(d.tag, d.verdict, d.who, d.score, d.family) for d in store.decisions()] == [
            (1, State.REJECTED, "Ann", 0.8, Family.FAULT),
            (3, State.CONFIRMED, "Kim", 0.8, Family.SET),
        ]
        assert (store.undo(1, who="Bo", when=NOW).state, store.tag(1).decided_by) == (State.CONFIRMED, "Kim")
        assert store.undo(1, who="Bo", when=NOW).state is State.CANDIDATE
        merge = store.merge("game-a", [candidate(90, kind="stalled_ball")], who="run", when=NOW)
        assert merge.kept == (5,)
        assert merge.changed[3] == "not found any more; kept, confirmed by Kim"
        assert store.merge("game-c", [candidate(10)], who="run", when=NOW).new == (7,), "numbers go on"
    (copy,) = old.parent.glob("library-before-*.db")
    assert copy.name == f"library-before-{HEAD}-was-v1.db"
    with closing(sqlite3.connect(copy)) as kept, closing(sqlite3.connect(":memory:")) as original:
        original.deserialize(before)
        assert list(kept.iterdump()) == list(original.iterdump())


def test_copies_do_not_write_over_each_other(old):
    text_of_old = VERSION_1.read_text(encoding="utf-8")
    with TagStore(old):
        pass
    old.unlink()
    with closing(sqlite3.connect(old)) as connection:
        connection.executescript(text_of_old)
    with TagStore(old):
        pass
    assert len(list(old.parent.glob("library-before-*.db"))) == 2


def test_a_step_that_fails_leaves_the_store_as_it_was(old, monkeypatch):
    def fails(*_: object) -> None:
        raise sqlite3.OperationalError("disk full")

    with closing(sqlite3.connect(old)) as connection:
        before = list(connection.iterdump())
    with monkeypatch.context() as patched:
        patched.setattr("pipeline.tags.append_only.make_append_only", fails)
        with pytest.raises(LibraryError, match="disk full"):
            TagStore(old)
    with closing(sqlite3.connect(old)) as connection:
        assert list(connection.iterdump()) == before
    with TagStore(old) as store:
        assert len(store.tags()) == 5


@pytest.mark.parametrize("version", ["v3", "v99", "something"])
def test_a_newer_store_is_refused_in_one_sentence(tag_place, version):
    with TagStore(tag_place) as store:
        store.merge("g", [candidate(10)], who="run", when=NOW)
    engine = engine_of(tag_place)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = :v"), {"v": version})
    with pytest.raises(LibraryError, match=rf"schema {version}, which is newer than this program, which knows {HEAD};"):
        TagStore(tag_place)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM tags")).scalar() == 1
    engine.dispose()


def test_a_newer_store_from_before_the_steps_is_refused(old):
    with closing(sqlite3.connect(old)) as connection:
        connection.execute("UPDATE elbowroom_schema SET version = 7")
        connection.commit()
    with pytest.raises(LibraryError, match="schema v7, which is newer"):
        TagStore(old)


def test_somebody_elses_postgresql_database_is_refused(postgres_place):
    engine = engine_of(postgres_place)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE recipes (name text)"))
    engine.dispose()
    with pytest.raises(LibraryError, match="something else"):
        TagStore(postgres_place)


def test_many_may_open_a_new_store_at_once(tag_place):
    wrong: list[BaseException] = []
    start = threading.Barrier(6)

    def open_it() -> None:
        start.wait()
        try:
            with TagStore(tag_place) as store:
                store.tags()
        except BaseException as error:  # told below
            wrong.append(error)

    threads = [threading.Thread(target=open_it) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
