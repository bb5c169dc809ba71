"""The tag store: nothing is lost, nothing is doubled, history only grows."""

import sqlite3
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import LibraryError
from pipeline.tags import Candidate, Family, State, TagStore
from pipeline.tags.matching import match_candidates
from pipeline.tags.records import Deed

NOW = datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)


def candidate(t_s: float = 10.0, handler: int = 3, kind: str = "crowded_paint") -> Candidate:
    return Candidate(
        kind=kind,
        family=Family.FAULT,
        shot=0,
        possession=4,
        team=1,
        start_s=t_s - 2,
        end_s=t_s + 1,
        t_s=t_s,
        actors=(("handler", handler), ("defender_in_paint", 8)),
        measures={"count": 5.0},
        traits={"side": "left"},
        score=0.8,
        severity="fault",
        sentence="5 others stand in the paint.",
    )


@pytest.fixture
def store(tmp_path):
    with TagStore(tmp_path / "library.db") as opened:
        yield opened


def test_candidates_come_back_as_they_went_in(store):
    merge = store.merge("g", [candidate(10), candidate(30)], who="run", when=NOW)
    assert len(merge.new) == 2
    assert [t.candidate for t in store.tags(game="g")] == [candidate(10), candidate(30)]
    assert store.tags(game="other") == ()
    assert store.tags(kind="other") == ()


def test_the_same_run_again_changes_nothing(store):
    first = store.merge("g", [candidate(10), candidate(30)], who="run", when=NOW)
    second = store.merge("g", [candidate(30), candidate(10)], who="run", when=NOW)
    assert second.new == second.missing == ()
    assert sorted(second.kept) == sorted(first.new)
    assert [n.deed for n in store.history(first.new[0])] == [Deed.FOUND]


def test_a_rerun_with_other_tracks_and_times_keeps_the_decision(store):
    (tag,) = store.merge("g", [candidate(10)], who="run", when=NOW).new
    store.decide(tag, State.CONFIRMED, who="analyst", when=NOW, text="clear")
    moved = replace(candidate(10.4, handler=77), score=0.6)
    merge = store.merge("g", [moved], who="run", when=NOW)
    assert merge.kept == (tag,)
    assert store.tag(tag).state is State.CONFIRMED
    assert store.tag(tag).candidate == moved
    assert [n.deed for n in store.history(tag)] == [Deed.FOUND, Deed.CONFIRMED, Deed.FOUND_AGAIN]
    assert store.history(tag)[1].text == "clear"
    assert store.history(tag)[1].when == NOW


def test_what_is_no_longer_found_is_withdrawn_unless_decided(store):
    undecided, decided = store.merge("g", [candidate(10), candidate(30)], who="run", when=NOW).new
    store.decide(decided, State.REJECTED, who="analyst", when=NOW)
    merge = store.merge("g", [], who="run", when=NOW)
    assert merge.missing == (undecided,)
    assert store.tag(undecided).state is State.WITHDRAWN
    assert [t.tag for t in store.tags(game="g")] == [decided]
    again = store.merge("g", [candidate(10), candidate(30)], who="run", when=NOW)
    assert again.kept == (undecided, decided)
    assert store.tag(undecided).state is State.CANDIDATE
    assert store.tag(decided).state is State.REJECTED


def test_games_do_not_touch_each_other(store):
    (first,) = store.merge("a", [candidate(10)], who="run", when=NOW).new
    store.merge("b", [], who="run", when=NOW)
    assert store.tag(first).state is State.CANDIDATE


def test_history_cannot_be_rewritten(store, tmp_path):
    store.merge("g", [candidate(10)], who="run", when=NOW)
    connection = sqlite3.connect(tmp_path / "library.db")
    for deed in ("UPDATE history SET who = 'x'", "DELETE FROM history"):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            connection.execute(deed)
    connection.close()


def test_unknown_tag_and_verdict_say_so(store):
    with pytest.raises(LibraryError, match="no tag 99"):
        store.tag(99)
    with pytest.raises(LibraryError, match="no tag 99"):
        store.history(99)
    (tag,) = store.merge("g", [candidate(10)], who="run", when=NOW).new
    with pytest.raises(LibraryError, match="confirmed, rejected or unsure"):
        store.decide(tag, State.WITHDRAWN, who="x", when=NOW)


def test_a_place_that_is_no_tag_store_is_refused(tmp_path):
    text = tmp_path / "text.db"
    text.write_text("hello" * 400)
    with pytest.raises(LibraryError, match="cannot be opened"):
        TagStore(text)
    other = tmp_path / "other.db"
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.commit()
    connection.close()
    with pytest.raises(LibraryError, match="something else"):
        TagStore(other)
    with pytest.raises(LibraryError, match="cannot be opened"):
        TagStore(tmp_path / "no" / "such" / "folder.db")


def test_reopening_finds_everything(tmp_path):
    with TagStore(tmp_path / "library.db") as first:
        first.merge("g", [candidate(10)], who="run", when=NOW)
    with TagStore(tmp_path / "library.db") as second:
        assert len(second.tags()) == 1


def test_actors_decide_between_two_rivals_in_time():
    earlier = [candidate(10, handler=1), candidate(10, handler=2)]
    later = [candidate(10, handler=2), candidate(10, handler=1)]
    assert match_candidates(earlier, later) == {0: 1, 1: 0}
    assert match_candidates([], later) == {}
    assert match_candidates([candidate(10, kind="twins")], [candidate(10)]) == {}
    assert match_candidates([candidate(10)], [candidate(14)]) == {}


times = st.lists(st.floats(3, 2000), max_size=8)


@given(times, times)
def test_matching_is_one_to_one_and_ignores_order(first, second):
    earlier = [candidate(t) for t in first]
    later = [candidate(t) for t in second]
    pairs = match_candidates(earlier, later)
    assert len(set(pairs.values())) == len(pairs)
    backwards = match_candidates(earlier, later[::-1])
    assert len(backwards) == len(pairs)
    assert match_candidates(earlier, earlier).keys() == set(range(len(earlier)))
