"""What the words of score graphics mean, and what is none of them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.film.bug_words import clock_of, count_of, loose_period_of, period_of, spelt_period_of


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("5:49", 349), ("05:49", 349), ("12:00", 720), ("5.49", 349), ("8.3", 8.3), ("59.9", 59.9), (":07", 7),
     (":07.4", 7.4), ("0:00", 0), ("1:02.5", 62.5), (" 5:49 ", 349), ("0754", 474), ("1149", 709)],
)  # fmt: skip
def test_times(text, seconds):
    assert clock_of(text) == pytest.approx(seconds)


@pytest.mark.parametrize(
    "text", ["", "5:61", "45", "21:00", "61.0", "5:4", "1ST", "5:499", "::", "A:BC", "549", "0799"]
)
def test_no_times(text):
    assert clock_of(text) is None


@given(st.integers(0, 1200))
def test_every_time_of_a_period_is_read(seconds):
    assert clock_of(f"{seconds // 60}:{seconds % 60:02d}") == seconds
    assert clock_of(f"{seconds // 60:02d}:{seconds % 60:02d}") == seconds


@pytest.mark.parametrize(
    ("text", "period"),
    [("1ST", 1), ("15T", 1), ("2nd", 2), ("3RD", 3), ("4TH", 4), ("Q3", 3), ("3Q", 3), ("P2", 2), ("H1", 1), ("2H", 2),
     ("PI", 1), ("IST", 1), ("1ST QTR", 1), ("2ND HALF", 2), ("OT", 5), ("OT2", 6), ("2OT", 6)],
)  # fmt: skip
def test_periods(text, period):
    assert spelt_period_of(text) == period
    assert loose_period_of(text) == period


def test_bare_and_half_read_periods():
    assert spelt_period_of("3") is None
    assert period_of("3") == 3
    assert period_of("7") is None
    assert [loose_period_of(t) for t in ("4m", "20", "200", "FINAL", "88", "")] == [4, 2, 2, None, None, None]


@pytest.mark.parametrize(
    ("text", "count"), [("24", 24), ("4.7", 4.7), (":14", 14), ("0", 0), ("36", None), ("1ST", None)]
)
def test_counts(text, count):
    assert count_of(text) == count
