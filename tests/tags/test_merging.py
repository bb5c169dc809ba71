"""Reruns: what staff made of a tag is kept, and what a run says otherwise is told in words."""

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.tags import Candidate, Deed, ReelItem, State, TagConflict, TagStore
from pipeline.tags.changes import changes
from pipeline.tags.matching import match_candidates
from tests.tags.candidates import NOW, candidate


@pytest.fixture
def store(tag_place):
    with TagStore(tag_place) as opened:
        yield opened


def merged(store: TagStore, *candidates: Candidate):
    return store.merge("g", candidates, who="run", when=NOW)


def test_the_same_run_again_changes_nothing(store):
    first = merged(store, candidate(10), candidate(30))
    second = merged(store, candidate(30), candidate(10))
    assert second.new == second.missing == ()
    assert second.changed == {}
    assert sorted(second.kept) == sorted(first.new)
    assert [n.deed for n in store.history(first.new[0])] == [Deed.FOUND]


def test_a_rerun_with_other_tracks_and_times_keeps_the_decision(store):
    (tag,) = merged(store, candidate(10)).new
    store.decide(tag, State.CONFIRMED, who="analyst", when=NOW, text="clear")
    moved = replace(candidate(10.4, handler=77), score=0.6)
    merge = merged(store, moved)
    assert merge.kept == (tag,)
    assert store.tag(tag).state is State.CONFIRMED
    assert store.tag(tag).candidate == moved
    assert [n.deed for n in store.history(tag)] == [Deed.FOUND, Deed.CONFIRMED, Deed.FOUND_AGAIN]
    assert store.history(tag)[1].text == "clear"
    assert store.history(tag)[1].when == NOW
    assert merge.changed[tag] == store.history(tag)[2].text
    assert "is at 10.4 s instead of 10.0 s" in merge.changed[tag]
    assert "score 0.60 instead of 0.80" in merge.changed[tag]


def test_what_is_no_longer_found_is_withdrawn_unless_decided(store):
    undecided, decided = merged(store, candidate(10), candidate(30)).new
    store.decide(decided, State.REJECTED, who="analyst", when=NOW)
    merge = merged(store)
    assert merge.missing == (undecided,)
    assert merge.changed == {decided: "not found any more; kept, rejected by analyst"}
    assert store.tag(undecided).state is State.WITHDRAWN
    assert [t.tag for t in store.tags(game="g")] == [decided]
    assert [t.tag for t in store.tags(state=State.WITHDRAWN)] == [undecided]
    assert merged(store) == type(merge)((), (), ()), "told once"
    assert [store.tag(n).found for n in (undecided, decided)] == [False, False]
    again = merged(store, candidate(10), candidate(30))
    assert again.kept == (undecided, decided)
    assert again.changed == {undecided: "found again", decided: "found again"}
    assert store.tag(undecided).state is State.CANDIDATE
    assert store.tag(decided).state is State.REJECTED
    assert store.tag(decided).found


def test_tags_that_somebody_worked_on_are_never_withdrawn(store):
    edited, noted, labelled, shown, plain = merged(store, *(candidate(t) for t in (10, 30, 50, 70, 90))).new
    store.edit(edited, end_s=12, who="Kim", when=NOW)
    store.note(noted, "late", who="Kim", when=NOW)
    store.label(labelled, add=["teach"], who="Kim", when=NOW)
    reel = store.make_reel("Monday", who="Kim", when=NOW)
    store.save_reel(replace(reel, items=(ReelItem(shown),)), who="Kim", when=NOW)
    merge = merged(store)
    assert merge.missing == (plain,)
    assert set(merge.changed) == {edited, noted, labelled, shown}
    assert {t.tag for t in store.tags()} == {edited, noted, labelled, shown}


def test_what_is_taken_back_after_a_run_that_did_not_find_it_goes_with_the_next(store):
    (tag,) = merged(store, candidate(10)).new
    store.decide(tag, State.CONFIRMED, who="Kim", when=NOW)
    merged(store)
    assert store.undo(tag, who="Kim", when=NOW).state is State.CANDIDATE, "it stays before the eyes of who did that"
    assert merged(store).missing == (tag,)
    assert merged(store).missing == ()
    assert store.tag(tag).state is State.WITHDRAWN


def test_what_staff_edited_stays_through_runs(store):
    (tag,) = merged(store, candidate(10)).new
    store.edit(tag, start_s=7.5, who="Kim", when=NOW)
    merged(store, candidate(10.5))
    now = store.tag(tag)
    assert (now.start_s, now.end_s) == (7.5, 11)
    assert (now.candidate.start_s, now.candidate.end_s) == (8.5, 11.5)
    assert (store.undo(tag, who="Kim", when=NOW).start_s, store.tag(tag).end_s) == (8.5, 11.5)


def test_players_that_staff_named_follow_when_tracks_are_numbered_anew(store):
    found = replace(candidate(10), actors=(("handler", 3), ("screener", 8)))
    (tag,) = merged(store, found).new
    store.edit(tag, actors=[("handler", 8), ("screener", 3)], who="Kim", when=NOW)
    store.edit(tag, actors=[("handler", 8), ("screener", 12)], who="Kim", when=NOW)
    merge = merged(store, replace(found, actors=(("handler", 21), ("screener", 22))))
    assert store.tag(tag).actors == (("handler", 22), ("screener", 12))
    assert "look whether screener 12, as edited, is still right" in merge.changed[tag]
    assert store.undo(tag, who="Kim", when=NOW).actors == (("handler", 22), ("screener", 21))
    assert store.undo(tag, who="Kim", when=NOW).actors == (("handler", 21), ("screener", 22))


def test_players_that_staff_named_stay_when_a_run_only_finds_somebody_else(store):
    found = replace(candidate(10), actors=(("handler", 3), ("screener", 8)))
    (tag,) = merged(store, found).new
    store.edit(tag, actors=[("handler", 3), ("screener", 12)], who="Kim", when=NOW)
    merged(store, replace(found, actors=(("handler", 3), ("screener", 9))))
    assert store.tag(tag).actors == (("handler", 3), ("screener", 12))


def test_actors_in_renamed_roles_still_tell_rivals_apart(store):
    one, two = merged(store, candidate(10, handler=1), candidate(10.2, handler=2)).new
    store.decide(two, State.CONFIRMED, who="Kim", when=NOW)
    renamed = [replace(candidate(10.1, handler=n), actors=(("ball_handler", n),)) for n in (2, 1)]
    merged(store, *renamed)
    assert store.tag(two).candidate.actors == (("ball_handler", 2),)
    assert store.tag(one).candidate.actors == (("ball_handler", 1),)


def test_of_two_old_tags_the_decided_one_is_found_again(store):
    first, _ = merged(store, candidate(10), candidate(10.3)).new
    store.decide(first, State.REJECTED, who="Kim", when=NOW)
    merge = merged(store, candidate(10.2))
    assert merge.kept == (first,)
    assert [t.tag for t in store.tags()] == [first]
    merge = merged(store, candidate(10.2), candidate(17))
    assert (merge.kept, len(merge.new)) == ((first,), 1)


def test_a_decision_does_not_move_to_another_thing_that_fits_better_elsewhere(store):
    decided, other = merged(store, candidate(10), candidate(11.5)).new
    store.decide(decided, State.CONFIRMED, who="Kim", when=NOW)
    assert merged(store, candidate(11.5)).kept == (other,)
    assert store.tag(decided).candidate.t_s == 10


def test_a_name_on_the_roster_is_told(store):
    (tag,) = merged(store, candidate(10)).new
    merge = merged(store, replace(candidate(10), sentence="5 others stand in the paint as A. Player drives."))
    assert merge.changed == {tag: "now said: 5 others stand in the paint as A. Player drives."}


def test_games_do_not_touch_each_other(store):
    (first,) = store.merge("a", [candidate(10)], who="run", when=NOW).new
    store.merge("b", [], who="run", when=NOW)
    assert store.tag(first).state is State.CANDIDATE


def test_somebody_who_looked_before_the_run_is_told_of_it(store):
    (tag,) = merged(store, candidate(10)).new
    merged(store, replace(candidate(10), measures={"count": 8.0}))
    with pytest.raises(TagConflict, match="found again by run"):
        store.decide(tag, State.CONFIRMED, who="Kim", when=NOW, revision=1)


# What changed, in words -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("later", "said"),
    [
        ({"end_s": 11.6}, "ends at 11.6 s instead of 11.0 s"),
        ({"end_s": 11.01}, ""),
        ({"measures": {"count": 6.0}}, "count 6 instead of 5"),
        ({"measures": {}}, "count not known any more, 5 before"),
        ({"measures": {"count": 5.0, "gap_ft": 4.25}}, "gap ft 4.25, not known before"),
        ({"measures": {"count": 5.01}}, ""),
        ({"traits": {"side": "right"}}, "side right instead of left"),
        ({"traits": {}}, "side unknown instead of left"),
        ({"ending": "post_entry"}, "ending post entry instead of none"),
        ({"missing": ("zipper",)}, "missing zipper"),
        ({"severity": "severe"}, "severity severe instead of fault"),
        ({"score": 0.805}, ""),
        ({"team": 0}, "attack by team 0 instead of 1"),
        ({"team": None}, ""),
        ({"shot": 5, "possession": 9}, ""),
    ],
)
def test_changes_in_words(later, said):
    assert changes(candidate(10), replace(candidate(10), **later)) == said


# Matching -------------------------------------------------------------------------------------------


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


spaced = st.lists(st.integers(0, 60), min_size=1, max_size=10, unique=True)
deeds = st.lists(st.sampled_from(["confirmed", "rejected", "unsure", "edit", "note", "none"]), min_size=10, max_size=10)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    spaced, deeds, st.floats(-0.4, 0.4), st.permutations(range(10)), st.integers(100, 900), st.sets(st.integers(0, 9))
)
def test_no_rerun_loses_or_doubles_what_staff_made(moments, done, shift_s, order, renumbered, unseen):
    """Moments are 10 s apart, so every candidate has one counterpart; shifted, shuffled, renumbered, some unseen."""
    first = [candidate(10.0 * m + 5, handler=m) for m in moments]
    second = [
        replace(candidate(10.0 * m + 5 + shift_s, handler=m + renumbered))
        for i, m in enumerate(moments)
        if i not in unseen
    ]
    second = [second[i] for i in order if i < len(second)]
    with TemporaryDirectory() as folder, TagStore(Path(folder) / "tags.db") as store:
        numbers = merged(store, *first).new
        for number, deed in zip(numbers, done, strict=False):
            if deed == "edit":
                store.edit(number, start_s=1, who="Kim", when=NOW)
            elif deed == "note":
                store.note(number, "seen", who="Kim", when=NOW)
            elif deed != "none":
                store.decide(number, State(deed), who="Kim", when=NOW)
        before = {t.tag: t for t in store.tags()}
        lines = {number: store.history(number) for number in numbers}
        merge = merged(store, *second)
        assert merge.new == ()
        assert len(merge.kept) == len(second)
        after = {t.tag: t for t in store.tags()}
        for i, number in enumerate(numbers):
            untouched = done[i] == "none"
            assert (number in after) == (i not in unseen or not untouched)
            assert (number in merge.missing) == (i in unseen and untouched)
            assert store.history(number)[: len(lines[number])] == lines[number]
            if number in after:
                old, new = before[number], after[number]
                assert (new.state, new.decided_by, new.decided_at, new.note) == (
                    old.state,
                    old.decided_by,
                    old.decided_at,
                    old.note,
                )
                if done[i] == "edit":
                    assert (new.start_s, new.end_s) == (old.start_s, old.end_s)
                if i not in unseen:
                    assert new.candidate.t_s == 10.0 * moments[i] + 5 + shift_s
        back = merged(store, *first)
        assert back.new == back.missing == ()
        assert len(store.tags()) == len(numbers)
