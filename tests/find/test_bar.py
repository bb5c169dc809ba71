"""The query bar: one line is a whole search, and every search is a line."""

import contextlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import LanguageError, SearchError
from pipeline.find import Filters, bar_text, read_bar
from pipeline.find.bar import same_search
from pipeline.find.filters import joined
from pipeline.settings import Settings

SETTINGS = Settings()


def read(text):
    return read_bar(text, SETTINGS)


def test_the_contracts_line():
    found = read("weak_side_motion team:Harbour return_catch_ft > 28 and ended = 'post entry'")
    assert (found.sets, found.teams) == (("weak_side_motion",), ("Harbour",))
    assert found.where.strip() == "return_catch_ft > 28 and ended = 'post entry'"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("", Filters()),
        ("   ", Filters()),
        ("crowded paint", Filters(faults=("crowded_paint",))),
        ("Crowded-Paint, drive", Filters(faults=("crowded_paint",), actions=("drive",))),
        ("set:horns fault:any", Filters(sets=("horns",), faults=("any",))),
        ("drive gain_ft > 20", Filters(actions=("drive",), where="gain_ft > 20")),
        ("gain_ft > 20 action:drive", Filters(actions=("drive",), where="gain_ft > 20")),
        ("drive where gain_ft > 20", Filters(actions=("drive",), where="gain_ft > 20")),
        ("team:Hill drive and not off_screen = yes", Filters(
            actions=("drive",), teams=("Hill",), where="not off_screen = yes"
        )),
        ("kind = drive", Filters(where="kind = drive")),
        ("contact known", Filters(where="contact known")),
        ("not drive", Filters(where="not drive")),
        ("horns (score > 0.5 or team:Hill period = 2)", Filters(
            sets=("horns",), teams=("Hill",), where="(score > 0.5 or           period = 2)"
        )),
        ('team:"SC Löwen" team:\'The "Five"\'', Filters(teams=("SC Löwen", 'The "Five"'))),
        ("period:2 period:4 limit:10 order:'score desc, t_s'", Filters(
            periods=(2, 4), limit=10, order="score desc, t_s"
        )),
        ("ended = 'team:x'", Filters(where="ended = 'team:x'")),
        ("label:'for monday' state:unsure", Filters(labels=("for monday",), states=("unsure",))),
        ("since:2026-01-03 until:2026-02-01", Filters(since="2026-01-03", until="2026-02-01")),
        ("pass length_ft > 30", Filters(actions=("pass",), where="length_ft > 30")),
        ("post_up held_s > 2", Filters(actions=("post_up",), where="held_s > 2")),
        ("post-up without movement", Filters(faults=("post_up_without_movement",))),
    ],
)  # fmt: skip
def test_a_line_is_a_search(text, wanted):
    assert same_search(read(text), wanted)


@pytest.mark.parametrize(
    ("text", "column", "says"),
    [
        ("horns tem:Harbour", 7, "did you mean 'team'"),
        ("horns team:", 7, "has no value"),
        ("period:two", 1, "whole number"),
        ("limit:3 limit:4", 9, "twice"),
    ],
)
def test_a_mistake_is_shown_where_it_is(text, column, says):
    with pytest.raises(LanguageError, match=says) as caught:
        read(text)
    assert caught.value.column == column
    assert text in str(caught.value)


NAMES = st.sampled_from(["Harbour", "SC Löwen", "O'Hara's", 'The "Five"', "a:b", "x,y", "(z)", "two  words", "1"])
SEARCHES = st.builds(
    Filters,
    actions=st.lists(st.sampled_from(["drive", "any", "pass"]), unique=True).map(tuple),
    sets=st.lists(st.sampled_from(["horns", "weak_side_motion"]), unique=True).map(tuple),
    faults=st.lists(st.sampled_from(["twins", "any"]), unique=True).map(tuple),
    games=st.lists(NAMES, max_size=2, unique=True).map(tuple),
    teams=st.lists(NAMES, max_size=2, unique=True).map(tuple),
    periods=st.lists(st.integers(1, 9), max_size=2, unique=True).map(tuple),
    states=st.lists(st.sampled_from(["unsure", "confirmed"]), unique=True).map(tuple),
    labels=st.lists(NAMES, max_size=2, unique=True).map(tuple),
    since=st.sampled_from(["", "2026-01-03"]),
    where=st.sampled_from(["", "score > 0.5", "ended = 'post entry' or not (contact_ft < 3)", "drive = 1"]),
    order=st.sampled_from(["", "score desc", "score desc, t_s"]),
    limit=st.none() | st.integers(0, 99),
)


@settings(max_examples=200, deadline=None)
@given(SEARCHES)
def test_a_search_is_a_line_that_reads_back(search):
    assert same_search(read(bar_text(search)), search)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_a_search_or_a_sentence(text):
    with contextlib.suppress(LanguageError):
        assert isinstance(read(text), Filters)


def test_both_sorts_of_quotes_cannot_be_written():
    with pytest.raises(SearchError, match="both sorts of quotes"):
        bar_text(Filters(teams=('O\'Hara "Five"',)))


def test_two_searches_in_one():
    both = joined(read("horns team:Hill score > 0.5 limit:4"), Filters(periods=(2,), where="t_s > 9", limit=2))
    assert same_search(
        both, Filters(sets=("horns",), teams=("Hill",), periods=(2,), where="(score > 0.5) and (t_s > 9)", limit=2)
    )
    assert joined(read("score > 1"), Filters()) == read("score > 1")
