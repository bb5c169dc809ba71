"""Backups: everything is in them, they go into either database, and restoring never loses anything unasked."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from pipeline.errors import LibraryError
from pipeline.tags import Family, ReelItem, State, TagStore
from pipeline.tags.backup import Contents, back_up, restore
from tests.tags.candidates import NOW, candidate

VERSION_1 = Path(__file__).with_name("version_1.sql")


def fill(store: TagStore) -> None:
    """A store with something of everything, odd characters among it."""
    candidates = [candidate(10.0 * n + 5, handler=n) for n in range(5)]
    candidates.append(replace(candidate(80, kind="horns", family=Family.SET), ending="drive", missing=("a", "b")))
    one, two, three, four, *_ = store.merge("g", candidates, who="run", when=NOW).new
    store.decide(one, State.CONFIRMED, who="Kim", when=NOW, text='it\'s "clear",\nsaid Müller 🏀')
    store.decide(two, State.UNSURE, who="Ann", when=NOW)
    store.edit(two, start_s=1.25, actors=[("handler", 9)], who="Ann", when=NOW)
    store.undo(two, who="Ann", when=NOW)
    store.edit(three, end_s=99.5, who="Ann", when=NOW)
    store.label(three, add=["teach", "Äther"], who="Kim", when=NOW)
    store.note(four, "late", who="Kim", when=NOW)
    store.merge("g", candidates[:3], who="run", when=NOW + timedelta(hours=1))
    store.save_search("mine", "twins", who="Kim", when=NOW)
    reel = store.make_reel("Monday", who="Kim", when=NOW)
    store.save_reel(
        replace(reel, items=(ReelItem(two, "x", freeze=True, slow=0.25), ReelItem(one))), who="Ann", when=NOW
    )
    store.share_reel(reel.reel, who="Ann", when=NOW)
    store.drop_reel(store.make_reel("old", who="Kim", when=NOW).reel, who="Kim", when=NOW)


def everything(store: TagStore) -> object:
    """All that a store tells."""
    tags = [*store.tags(), *store.tags(state=State.WITHDRAWN)]
    return (
        tags,
        [store.history(t.tag) for t in tags],
        store.decisions(),
        store.all_labels(),
        store.searches(),
        store.reels(),
        store.last_line(),
    )


def test_a_backup_comes_back_whole_into_either_database(tag_place, tmp_path):
    with TagStore(tag_place) as store:
        fill(store)
        before = everything(store)
    told = back_up(tag_place, tmp_path / "backup.db")
    assert told == Contents(tags=6, lines=16, reels=2, searches=1)
    assert [p.name for p in tmp_path.glob("*backup*")] == ["backup.db"], "nothing beside it"
    other = tmp_path / "deep" / "other.db"
    assert restore(tmp_path / "backup.db", other) == told
    with TagStore(other) as store:
        assert everything(store) == before
    again = tmp_path / "again.db"
    back_up(other, again)
    with closing(sqlite3.connect(again)) as first, closing(sqlite3.connect(tmp_path / "backup.db")) as second:
        for table in ("tags", "history", "labels", "searches", "reels", "reel_items", "reel_history"):
            asked = f"SELECT * FROM {table} ORDER BY 1, 2"
            assert first.execute(asked).fetchall() == second.execute(asked).fetchall()


def test_tags_move_to_postgresql_and_back(postgres_place, tmp_path):
    file = tmp_path / "library.db"
    with TagStore(file) as store:
        fill(store)
        before = everything(store)
    back_up(file, tmp_path / "to.db")
    restore(tmp_path / "to.db", postgres_place)
    with TagStore(postgres_place) as store:
        assert everything(store) == before
        assert store.merge("h", [candidate(10)], who="run", when=NOW).new == (7,), "numbers go on"
        store.make_reel("next", who="Kim", when=NOW)
        after = everything(store)
    back_up(postgres_place, tmp_path / "back.db")
    restore(tmp_path / "back.db", file)
    with TagStore(file) as store:
        assert everything(store) == after


def test_restoring_is_refused_where_it_would_lose_something(tag_place, tmp_path):
    with TagStore(tag_place) as store:
        fill(store)
        back_up(tag_place, tmp_path / "old.db")
        store.decide(5, State.REJECTED, who="Bo", when=NOW)
        store.save_search("mine", "twins distance_ft < 5", who="Kim", when=NOW + timedelta(days=1))
        store.make_reel("new", who="Kim", when=NOW)
        before = everything(store)
        with pytest.raises(LibraryError, match=r"1 line\(s\) of history \(the last: tag 5 rejected, Bo") as told:
            restore(tmp_path / "old.db", tag_place)
        for said in ("1 change(s) of reels", "1 saved search(es)", "--keep FILE"):
            assert said in str(told.value)
        assert everything(store) == before
        restore(tmp_path / "old.db", tag_place, keep=tmp_path / "kept.db")
        assert store.tag(5).state is State.WITHDRAWN
        restore(tmp_path / "kept.db", tag_place)
        assert everything(store) == before


def test_a_backup_of_what_is_there_and_less_needs_no_keeping(tag_place, tmp_path):
    with TagStore(tag_place) as store:
        fill(store)
        back_up(tag_place, tmp_path / "full.db")
        restore(tmp_path / "full.db", tag_place)
        with pytest.raises(LibraryError, match="no tag 99"):
            store.tag(99)
        store.decide(1, State.REJECTED, who="Bo", when=NOW)
        assert store.history(1)[-1].who == "Bo"


def test_the_history_only_grows_after_restoring_too(tmp_path):
    with TagStore(tmp_path / "a.db") as store:
        fill(store)
    back_up(tmp_path / "a.db", tmp_path / "b.db")
    restore(tmp_path / "b.db", tmp_path / "c.db")
    with closing(sqlite3.connect(tmp_path / "c.db")) as connection, pytest.raises(sqlite3.Error, match="append-only"):
        connection.execute("DELETE FROM history")


def test_numbers_are_not_given_twice_after_an_older_backup(tag_place, tmp_path):
    with TagStore(tag_place) as store:
        store.merge("g", [candidate(10)], who="run", when=NOW)
        back_up(tag_place, tmp_path / "old.db")
        assert store.merge("h", [candidate(10)], who="run", when=NOW).new == (2,)
        restore(tmp_path / "old.db", tag_place, keep=tmp_path / "kept.db")
        assert store.merge("i", [candidate(10)], who="run", when=NOW).new == (3,)


def test_a_backup_of_version_1_is_brought_up_and_left_as_it_is(tag_place, tmp_path):
    file = tmp_path / "v1.db"
    with closing(sqlite3.connect(file)) as connection:
        connection.executescript(VERSION_1.read_text(encoding="utf-8"))
    before = file.read_bytes()
    assert restore(file, tag_place).tags == 6
    assert file.read_bytes() == before
    with TagStore(tag_place) as store:
        assert store.tag(3).decided_by == "Kim"


def test_what_is_no_backup_says_so(tmp_path):
    place = tmp_path / "library.db"
    with TagStore(place) as store:
        fill(store)
    words = tmp_path / "words.db"
    words.write_text("hello" * 400)
    empty = tmp_path / "empty.db"
    empty.touch()
    other = tmp_path / "other.db"
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
        connection.commit()
    newer = tmp_path / "newer.db"
    back_up(place, newer)
    with closing(sqlite3.connect(newer)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = 'v99'")
        connection.commit()
    for file, said in (
        (tmp_path / "no.db", "There is no backup"),
        (words, "is no backup of a tag store"),
        (empty, "it is empty"),
        (other, "is a database of something else"),
        (newer, "newer than this program"),
    ):
        with pytest.raises(LibraryError, match=said) as told:
            restore(file, place)
        assert str(file) in str(told.value)
    with pytest.raises(LibraryError, match="not written over"):
        back_up(place, words)
    with pytest.raises(LibraryError, match="not written over"):
        restore(newer, place, keep=words)
    with pytest.raises(LibraryError, match="no tag store"):
        back_up(tmp_path / "no.db", tmp_path / "x.db")
    with pytest.raises(LibraryError, match="cannot be written"):
        back_up(place, words / "x.db")
    assert not list(tmp_path.glob(".*")), "nothing unfinished stays"


def test_a_damaged_backup_is_refused(tmp_path):
    place, file = tmp_path / "library.db", tmp_path / "backup.db"
    with TagStore(place) as store:
        store.merge("g", [candidate(10.0 * n) for n in range(1, 80)], who="run", when=NOW)
    back_up(place, file)
    content = bytearray(file.read_bytes())
    content[20_000:60_000] = bytes(40_000)
    file.write_bytes(content)
    with pytest.raises(LibraryError, match=r"backup\.db"):
        restore(file, tmp_path / "other.db")
    with TagStore(place) as store:
        assert len(store.tags()) == 79
