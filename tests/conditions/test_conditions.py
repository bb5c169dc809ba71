"""Conditions: reading, printing back, three-valued judging, errors that point."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.conditions import (
    All,
    Any,
    Between,
    Compared,
    Known,
    Names,
    Negated,
    OneOf,
    Sign,
    as_text,
    clauses,
    folded,
    judge,
    names_in,
    read_condition,
)
from pipeline.conditions.nodes import Knowledge, Membership, Name, Word
from pipeline.errors import LanguageError

NAMES = Names(
    frozenset({"return_catch_ft", "contact_ft", "separation_ft"}),
    {"ended": ("post_entry", "zipper"), "coverage": ("over", "under", "iced"), "note": ()},
)
VALUES = {
    "return_catch_ft": 30.0,
    "contact_ft": 2.5,
    "separation_ft": math.nan,
    "ended": "post_entry",
    "coverage": "unknown",
}


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("return_catch_ft > 28 and ended = 'post entry'", True),
        ("return_catch_ft > 28 and ended = zipper", False),
        ("RETURN_CATCH_FT >= 30 AND NOT ended = zipper", True),
        ("contact_ft between 2 and 2.5", True),
        ("contact_ft between 2.6 and 3", False),
        ("contact_ft < return_catch_ft", True),
        ("contact_ft > return_catch_ft", False),
        ("separation_ft > 1", None),
        ("separation_ft > contact_ft", None),
        ("separation_ft > 1 or contact_ft < 3", True),
        ("separation_ft > 1 and contact_ft > 3", False),
        ("separation_ft > 1 and contact_ft < 3", None),
        ("not separation_ft > 1", None),
        ("separation_ft unknown and coverage is unknown", True),
        ("separation_ft is known or contact_ft is not known", False),
        ("coverage = iced", None),
        ("coverage != iced", None),
        ("coverage = unknown", True),
        ("ended in (zipper, 'Post-Entry')", True),
        ("ended not in (zipper)", True),
        ("ended is not zipper", True),
        ("contact_ft = 2.5", True),
        ("contact_ft != 2.5", False),
        ("contact_ft in (1, 2.5)", True),
        ("(contact_ft > 3 or contact_ft < 1) and ended is zipper", False),
        ("note = anything", None),
        ("contact_ft < 3 ft and return_catch_ft between 14ft and 40 feet", True),
    ],
)
def test_a_condition_is_true_false_or_unknown(text, holds):
    assert judge(read_condition(text, NAMES), VALUES) is holds


def test_and_binds_closer_than_or():
    loose = read_condition("contact_ft > 9 and contact_ft > 8 or contact_ft > 1")
    assert isinstance(loose, Any)
    assert judge(loose, VALUES) is True
    assert judge(read_condition("contact_ft > 9 and (contact_ft > 8 or contact_ft > 1)"), VALUES) is False


@pytest.mark.parametrize(
    ("text", "line", "column", "says"),
    [
        ("return_cach_ft > 2", 1, 1, "did you mean 'return_catch_ft'"),
        ("coverage = icd", 1, 12, "did you mean 'iced'"),
        ("contact_ft = iced", 1, 1, "is a number"),
        ("coverage > 3", 1, 1, "is a word (over, under, iced)"),
        ("contact_ft > coverage", 1, 14, "is a word"),
        ("contact_ft > 3 an coverage = iced", 1, 16, "did you mean 'and'"),
        ("contact_ft >", 1, 13, "something is missing; expected a number or a name"),
        ("", 1, 1, "something is missing"),
        ("(contact_ft > 3", 1, 16, "expected ')'"),
        ("contact_ft ! 3", 1, 12, "did you mean '!='"),
        ("contact_ft between 3 and 1", 1, 1, "give the smaller one first"),
        ("contact_ft > 3\n  and covrage = iced", 2, 7, "did you mean 'coverage'"),
        ("contact_ft > 3 s", 1, 16, "is in ft, not in s"),
        ("qqqq > 3", 1, 1, "there are: contact_ft"),
    ],
)
def test_an_error_points_and_suggests(text, line, column, says):
    with pytest.raises(LanguageError) as caught:
        read_condition(text, NAMES, source="here")
    assert (caught.value.line, caught.value.column) == (line, column)
    sentence, shown, caret = str(caught.value).split("\n")
    assert sentence.startswith(f"here, line {line}, column {column}: ")
    assert says in sentence
    assert sentence[-1] in ".?"
    assert caret.index("^") - 4 == column - 1
    assert shown[4:] == (text.split("\n")[line - 1] if text else "")


def test_a_condition_inside_a_file_points_into_the_file():
    text = "first line\n  where contact_ft < x3.\n"
    with pytest.raises(LanguageError) as caught:
        read_condition("contact_fx < 3", NAMES, source="a.set", within=text, at=read_spot(2, 9))
    assert (caught.value.line, caught.value.column) == (2, 9)


def read_spot(line, column):
    from pipeline.conditions import Spot

    return Spot(line, column)


def test_clauses_say_by_how_much_they_were_missed():
    found = clauses(read_condition("return_catch_ft < 28 and contact_ft between 3 and 4 or separation_ft > 1"), VALUES)
    assert [c.holds for c in found] == [False, False, None]
    assert found[0].missed_by == pytest.approx(2.0)
    assert found[1].missed_by == pytest.approx(0.5)
    assert math.isnan(found[2].missed_by)
    assert found[2].value is None
    assert found[0].text == "return_catch_ft < 28"


def test_names_of_a_condition():
    assert list(names_in(read_condition("a > b and not c = d or e known"))) == ["a", "b", "c", "e"]


# ---- properties --------------------------------------------------------------------------------

names = st.sampled_from(["contact_ft", "gap_ft", "coverage", "end", "type", "order", "android", "inside"])
numbers = st.floats(-1e6, 1e6).map(lambda x: round(x, 3) + 0.0)
words = (
    st.one_of(st.sampled_from(["iced", "post entry", "Known", "or", "and", "not"]), st.text("abz _-'0", min_size=1))
    .filter(lambda w: folded(w) not in ("unknown", ""))
    .map(Word)
)
orders = st.sampled_from([Sign.BELOW, Sign.AT_MOST, Sign.ABOVE, Sign.AT_LEAST])
leaves = st.one_of(
    st.builds(Compared, names, orders, st.one_of(numbers, names.map(Name))),
    st.builds(Compared, names, st.sampled_from([Sign.SAME, Sign.DIFFERENT]), st.one_of(numbers, words)),
    st.builds(lambda n, a, b: Between(n, min(a, b), max(a, b)), names, numbers, numbers),
    st.builds(
        OneOf,
        names,
        st.sampled_from(Membership),
        st.lists(st.one_of(numbers, words), min_size=1, max_size=3).map(tuple),
    ),
    st.builds(Known, names, st.sampled_from(Knowledge)),
)


def _flat(kind, parts):
    flat = []
    for part in parts:
        flat.extend(part.parts if isinstance(part, kind) else (part,))
    return kind(tuple(flat))


conditions = st.recursive(
    leaves,
    lambda inner: st.one_of(
        st.builds(Negated, inner),
        st.lists(inner, min_size=2, max_size=3).map(lambda p: _flat(All, p)),
        st.lists(inner, min_size=2, max_size=3).map(lambda p: _flat(Any, p)),
    ),
    max_leaves=8,
)
values = st.fixed_dictionaries(
    {},
    optional={n: st.one_of(st.none(), numbers, st.just(math.nan)) for n in ("contact_ft", "gap_ft")}
    | {n: st.sampled_from(["iced", "post_entry", "unknown"]) for n in ("coverage", "end", "type")},
)


@given(conditions)
def test_parse_print_parse_is_the_same(condition):
    text = as_text(condition)
    again = read_condition(text)
    assert again == condition, text
    assert as_text(again) == text


@given(conditions, values)
def test_knowing_more_never_turns_an_answer_round(condition, known):
    answer = judge(condition, known)
    asks_for_knowledge = "known" in as_text(condition)
    for name in list(known):
        fewer = {k: v for k, v in known.items() if k != name}
        less = judge(condition, fewer)
        assert asks_for_knowledge or less is None or less == answer


@given(conditions, values)
def test_negation_turns_yes_and_no_and_keeps_unknown(condition, known):
    answer = judge(condition, known)
    turned = judge(Negated(condition), known)
    assert turned is (None if answer is None else not answer)


PIECES = ("a_ft", ">", "<", "=", "(", ")", "and", "or", "not", "in", "between", "3", "4", "'x'", ",")


def outcome(text):
    try:
        return read_condition(text)
    except LanguageError as error:
        return error


@given(
    st.one_of(
        st.text(max_size=60),
        st.lists(st.sampled_from(PIECES), max_size=12).map(" ".join),
    )
)
def test_any_text_gives_a_condition_or_one_clear_error(text):
    found = outcome(text)
    if isinstance(found, LanguageError):
        assert found.line >= 1
        assert found.column >= 1
        assert len(str(found).split("\n")) == 3
    else:
        assert read_condition(as_text(found)) == found
