"""Any sequence of decisions, edits, undos and runs: the store does what a stack of states on paper does."""

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.errors import LibraryError
from pipeline.tags import Deed, State, TagStore
from tests.tags.candidates import NOW, candidate

verdicts = st.sampled_from([State.CONFIRMED, State.REJECTED, State.UNSURE])
people = st.sampled_from(["Kim", "Ann"])
steps = st.one_of(
    st.tuples(st.just("decide"), verdicts, people),
    st.tuples(st.just("edit"), st.integers(1, 8), people),
    st.tuples(st.just("players"), st.integers(20, 29), people),
    st.tuples(st.just("undo"), st.none(), people),
    st.tuples(st.just("run"), st.floats(-0.4, 0.4), st.just("run")),
    st.tuples(st.just("gone"), st.none(), st.just("run")),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(steps, min_size=1, max_size=14))
def test_the_store_steps_back_as_a_stack_does(taken):
    with TemporaryDirectory() as folder, TagStore(Path(folder) / "tags.db") as store:
        (tag,) = store.merge("g", [candidate(10)], who="run", when=NOW).new
        # What staff made of it: verdict, whose, start (None: as found), handler (None: as found).
        now: tuple[State | None, str | None, float | None, int | None] = (None, None, None, None)
        stack: list[tuple[State | None, str | None, float | None, int | None]] = []
        found, seen, revision = True, 10.0, 1
        lines = store.history(tag)
        for deed, value, who in taken:
            if deed == "decide":
                stack.append(now)
                now = (value, who, now[2], now[3])
                store.decide(tag, value, who=who, when=NOW, revision=revision)
            elif deed == "edit":
                if value != (seen - 2 if now[2] is None else now[2]):
                    stack.append(now)
                    now = (now[0], now[1], float(value), now[3])
                store.edit(tag, start_s=value, who=who, when=NOW, revision=revision)
            elif deed == "players":
                if value != now[3]:
                    stack.append(now)
                    now = (now[0], now[1], now[2], value)
                store.edit(tag, actors=[("handler", value)], who=who, when=NOW, revision=revision)
            elif deed == "undo" and not stack:
                with pytest.raises(LibraryError, match="nothing to take back"):
                    store.undo(tag, who=who, when=NOW, revision=revision)
            elif deed == "undo":
                now = stack.pop()
                store.undo(tag, who=who, when=NOW, revision=revision)
            elif deed == "run":
                found, seen = True, 10 + value
                assert store.merge("g", [candidate(seen)], who="run", when=NOW).new == ()
            else:
                found = False
                store.merge("g", [], who="run", when=NOW)
            told = store.tag(tag)
            assert told.revision >= revision
            revision = told.revision
            touched = now[0] is not None or now[2] is not None or now[3] is not None
            if now[0] is not None:
                assert told.state is now[0]
            elif found or touched:
                assert told.state is not State.WITHDRAWN or not found
            assert told.decided_by == now[1]
            assert told.start_s == (told.candidate.start_s if now[2] is None else now[2])
            assert told.actors == (told.candidate.actors if now[3] is None else (("handler", now[3]),))
            assert told.found is found
            assert store.history(tag)[: len(lines)] == lines, "the history only grows"
            lines = store.history(tag)
            decided = store.decisions()
            assert [(d.verdict, d.who) for d in decided] == ([] if now[0] is None else [(now[0], now[1])])
        assert sum(n.deed is Deed.UNDONE for n in lines) <= sum(
            n.deed in {Deed.CONFIRMED, Deed.REJECTED, Deed.UNSURE, Deed.EDITED} for n in lines
        )


def test_an_edit_that_is_taken_back_follows_the_next_run_again(tmp_path):
    with TagStore(tmp_path / "tags.db") as store:
        (tag,) = store.merge("g", [candidate(10)], who="run", when=NOW).new
        store.edit(tag, start_s=7, who="Kim", when=NOW)
        store.undo(tag, who="Kim", when=NOW)
        store.merge("g", [replace(candidate(10), start_s=8.5)], who="run", when=NOW)
        assert store.tag(tag).start_s == 8.5


def test_a_withdrawn_tag_that_was_decided_and_taken_back_is_seen_again(tmp_path):
    with TagStore(tmp_path / "tags.db") as store:
        (tag,) = store.merge("g", [candidate(10)], who="run", when=NOW).new
        store.merge("g", [], who="run", when=NOW)
        store.decide(tag, State.CONFIRMED, who="Kim", when=NOW)
        store.merge("g", [candidate(10)], who="run", when=NOW)
        assert store.undo(tag, who="Kim", when=NOW).state is State.CANDIDATE
        assert [t.tag for t in store.tags()] == [tag]
