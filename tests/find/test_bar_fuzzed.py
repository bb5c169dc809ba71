"""Spoilt lines of the query bar, conditions and orders: an answer, or an error that points; never one of DuckDB's."""

from __future__ import annotations

import pytest
from broken_files import read_or_told, spoilt
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up_library import make_library

from pipeline.find import Filters, Found, search
from pipeline.find.bar import bar_text, read_bar, same_search
from pipeline.library.games import Library
from pipeline.settings import Settings

SETTINGS = Settings()
LINES = (
    b"weak_side_motion team:Harbour return_catch_ft > 28 and ended = 'post entry' "
    b'order:"return_catch_ft desc" limit:5',
    b"set:any fault:pushed_out_catch game:harbour-1 state:candidate since:2026-01-01 until:2026-12-31 period:1",
    b"drive, pass where not (gain_ft between 2 and 30 or off_screen unknown) label:teach",
)  # fmt: skip
ORDERS = (
    "t_s desc, game",
    "gain_ft",
    "kind asc,score desc",
    "x",
    ",,",
    "t_s; drop table games",
    'game"',
    "t_s desc asc",
)


@pytest.fixture(scope="module")
def library(tmp_path_factory) -> Library:
    return make_library(tmp_path_factory.mktemp("bar") / "library")


def check(library: Library, filters: Filters) -> None:
    found = read_or_told(lambda: search(library, filters, SETTINGS), None)
    assert found is None or (isinstance(found, Found) and found.total >= found.table.num_rows >= 0)


FEWER = settings(max_examples=settings.default.max_examples // 4)
"""A search takes its time."""


@FEWER
@given(data=st.sampled_from(LINES).flatmap(spoilt))
def test_a_spoilt_line(library, data):
    text = data.decode("utf-8", errors="replace")
    filters = read_or_told(lambda: read_bar(text, SETTINGS), None)
    if filters is None:
        return
    line = read_or_told(lambda: bar_text(filters), None)
    if line is not None:
        assert same_search(read_bar(line, SETTINGS), filters)
    check(library, filters)


TEXTS = st.text(max_size=12)


@FEWER
@given(
    filters=st.one_of(
        st.builds(Filters, order=st.one_of(st.sampled_from(ORDERS), TEXTS), limit=st.one_of(st.none(), st.integers())),
        st.builds(Filters, since=st.one_of(st.sampled_from(("2026-01-31", "2026-1-1", "0000-00-00")), TEXTS)),
        st.builds(Filters, periods=st.tuples(st.integers())),
        st.builds(Filters, teams=st.tuples(st.one_of(st.just("Harbour"), TEXTS))),
        st.builds(Filters, labels=st.tuples(TEXTS), states=st.tuples(TEXTS)),
        st.builds(Filters, actions=st.tuples(st.one_of(st.just("any"), TEXTS))),
    )
)
def test_any_filters(library, filters):
    check(library, filters)


def test_long_and_deep_conditions_end_soon(library):
    for where in (
        " and ".join(["t_s > 1"] * 300),
        " or ".join(["t_s > 1"] * 300),
        " and ".join(["t_s > 1"] * 20_000),
        "(" * 20 + "t_s > 1" + ")" * 20,
        "(" * 3000 + "t_s > 1" + ")" * 3000,
        "not " * 20 + "t_s > 1",
        "not " * 3000 + "t_s > 1",
        f"t_s in ({', '.join(['1'] * 900)})",
        f"t_s > {'9' * 400}",
    ):
        check(library, Filters(where=where))
