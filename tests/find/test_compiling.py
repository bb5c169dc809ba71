"""Conditions as SQL: DuckDB says of every row what ``judge`` says, unknowns included."""

import duckdb
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.conditions import (
    All,
    Any,
    Between,
    Compared,
    Known,
    Negated,
    OneOf,
    Sign,
    folded,
    judge,
    read_condition,
)
from pipeline.conditions.nodes import Knowledge, Membership, Name, Word
from pipeline.find.compiling import Held, compiled

HELD = {
    "near_ft": Held(number="near_ft"),
    "far_ft": Held(number="far_ft"),
    "read": Held(word="read"),
    "ended": Held(word="ended"),
    "mixed": Held(number="mixed_number", word="mixed_word"),
    "nowhere": Held(),
}
DUCK = duckdb.connect()
NUMBERS = st.sampled_from([-3.0, -0.0, 0.0, 0.1, 1.0, 2.5, 28.0, 1e300, float("inf")]) | st.floats(
    -50, 50, allow_nan=False
)
WORDS = st.sampled_from(["right", "wrong", "Post Entry", "post-entry", "zwölf", "'; DROP TABLE t; --", "1"])
NAMES = st.sampled_from(sorted(HELD))
LIMITS = NUMBERS.filter(lambda x: x != float("inf"))


def _clauses():
    signs = st.sampled_from([Sign.BELOW, Sign.AT_MOST, Sign.ABOVE, Sign.AT_LEAST, Sign.SAME, Sign.DIFFERENT])
    values = st.lists(LIMITS | WORDS.map(Word), min_size=1, max_size=4).map(tuple)
    return (
        st.builds(Compared, NAMES, signs, LIMITS | st.builds(Name, NAMES))
        | st.builds(Compared, NAMES, st.sampled_from([Sign.SAME, Sign.DIFFERENT]), WORDS.map(Word))
        | st.builds(Between, NAMES, LIMITS, LIMITS)
        | st.builds(OneOf, NAMES, st.sampled_from(Membership), values)
        | st.builds(Known, NAMES, st.sampled_from(Knowledge))
    )


CONDITIONS = st.recursive(
    _clauses(),
    lambda inner: (
        inner.map(Negated)
        | st.lists(inner, min_size=2, max_size=3).map(lambda parts: All(tuple(parts)))
        | st.lists(inner, min_size=2, max_size=3).map(lambda parts: Any(tuple(parts)))
    ),
    max_leaves=8,
)
MAYBE_NUMBER = st.none() | NUMBERS
MAYBE_WORD = st.none() | WORDS
ROWS = st.lists(
    st.fixed_dictionaries(
        {"near_ft": MAYBE_NUMBER, "far_ft": MAYBE_NUMBER, "read": MAYBE_WORD, "ended": MAYBE_WORD}
        | {"mixed": MAYBE_NUMBER | MAYBE_WORD}
    ),
    min_size=1,
    max_size=12,
)


def answers(condition, rows):
    """What DuckDB says of rows of values."""
    table = pa.table(
        {
            "place": pa.array(range(len(rows))),
            "near_ft": pa.array([r["near_ft"] for r in rows], pa.float64()),
            "far_ft": pa.array([r["far_ft"] for r in rows], pa.float64()),
            "read": pa.array([_fold(r["read"]) for r in rows], pa.string()),
            "ended": pa.array([_fold(r["ended"]) for r in rows], pa.string()),
            "mixed_number": pa.array(
                [r["mixed"] if isinstance(r["mixed"], float) else None for r in rows], pa.float64()
            ),
            "mixed_word": pa.array([_fold(r["mixed"]) if isinstance(r["mixed"], str) else None for r in rows]).cast(
                pa.string()
            ),
        }
    )
    done = compiled(condition, HELD)
    DUCK.register("t", table)
    found = DUCK.execute(f"SELECT {done.sql} FROM t ORDER BY place", done.parameters).fetchall()
    return [one for (one,) in found]


def _fold(word):
    return None if word is None else folded(word)


@settings(max_examples=300, deadline=None)
@given(CONDITIONS, ROWS)
def test_sql_and_judge_agree(condition, rows):
    assert answers(condition, rows) == [judge(condition, row) for row in rows]


def test_the_issues_own_condition():
    condition = read_condition("near_ft > 28 and ended = 'post entry'")
    rows = [
        {"near_ft": near, "far_ft": None, "read": None, "ended": ended, "mixed": None}
        for near, ended in [(30.0, "post_entry"), (30.0, None), (None, "zipper"), (27.0, None), (None, "Post-Entry")]
    ]
    assert answers(condition, rows) == [True, None, False, False, None]


@pytest.mark.parametrize("text", ["ended = '''", 'ended = "\'; DROP TABLE t; --"', "ended in ('a', \"b' or 1=1\")"])
def test_text_never_becomes_sql(text):
    if text.count("'") == 3:
        text = 'ended = "\'"'
    condition = read_condition(text)
    done = compiled(condition, HELD)
    assert "'" not in done.sql
    assert "DROP" not in done.sql
