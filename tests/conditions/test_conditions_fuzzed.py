"""Spoilt conditions: refused with a pointer, or read, judged, and printed back as equal ones."""

from __future__ import annotations

import math

from broken_files import read_or_told, spoilt
from hypothesis import given
from hypothesis import strategies as st

from pipeline.conditions import Condition, as_text, judge, names_in, read_condition

GOOD = (
    b"return_catch_ft > 28 and ended = 'post entry'",
    b"not (contact_ft between 2 and 14.5 ft or coverage in (over, under, \"iced\")) and note != 'x'",
    b"gain_ft_s >= -0.25 ft/s or catch_ft unknown\n  and type is not known and (a < b or a != 3)",
)
VALUES = {
    "return_catch_ft": 30.0,
    "contact_ft": math.nan,
    "ended": "post entry",
    "coverage": "iced",
    "a": 1.0,
    "b": 2.0,
}


def read(text: str) -> Condition:
    return read_condition(text)


@given(st.sampled_from(GOOD).flatmap(spoilt))
def test_a_spoilt_condition(data):
    text = data.decode("utf-8", errors="replace")
    condition = read_or_told(lambda: read(text), None)
    if condition is None:
        return
    assert read(as_text(condition)) == condition
    held = {name: VALUES.get(name, math.nan) for name in names_in(condition)}
    assert judge(condition, held) in (True, False, None)


@given(st.text(alphabet="abz_<>=!()'\" 019.-,\nandortikwu", max_size=60))
def test_any_text_as_a_condition(text):
    condition = read_or_told(lambda: read(text), None)
    assert condition is None or read(as_text(condition)) == condition
