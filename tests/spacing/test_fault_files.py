"""Fault files: read, printed and read again, and every mistake shown where it is."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.conditions import Names, judge, read_condition
from pipeline.errors import LanguageError
from pipeline.spacing.fault_files import read_fault, read_named_fault
from pipeline.spacing.faults import MOMENTS, SPELLS
from pipeline.spacing.judging import holds_over
from pipeline.spacing.rules import Severity, amount, as_file
from pipeline.spacing.settings import shipped_faults
from pipeline.spacing.situations import SITUATIONS, Lasting

GLOSSARY = {
    "crowded_paint",
    "screen_into_traffic",
    "pushed_out_catch",
    "stalled_ball",
    "post_up_without_movement",
    "wasted_cutter",
    "twins",
    "dead_dribble_early",
    "left_early",
    "wide_curl",
    "overloaded_side",
    "shrunk_spacing",
}
FILE = """# Staff wrote this.
fault lonely_post "Lonely post"
  says "The post-up lasts too long."   # a remark
  source "common practice, no source"
  from post-up
  where held_s >= 2
    and (screened = no   # nobody helps
      or cut = no)
  severity note
  severe where held_s >= 4
  tell "{poster} posts up for {held_s}."
  add "Nobody cuts." where cut = no
  once in 2.5 s
  worst is the highest held_s
"""


def test_the_glossarys_faults_are_shipped():
    assert {rule.name for rule in shipped_faults().library} == GLOSSARY


@pytest.mark.parametrize("rule", shipped_faults().library, ids=lambda rule: rule.name)
def test_printed_and_read_again_a_rule_is_the_same(rule):
    assert read_fault(as_file(rule), "again") == rule
    assert rule.says.endswith(".")
    assert rule.tell.endswith(".")


def test_a_file_says_all_there_is():
    rule = read_fault(FILE, "lonely_post.fault")
    assert (rule.name, rule.title, rule.situation) == ("lonely_post", "Lonely post", "post_up")
    assert rule.severity is Severity.NOTE
    assert rule.once_s == 2.5
    assert rule.worst is not None
    assert judge(rule.where, {"held_s": 3.0, "screened": "yes", "cut": "no"})
    assert judge(rule.where, {"held_s": 3.0, "screened": "unknown", "cut": "yes"}) is None


@pytest.mark.parametrize(
    ("before", "after", "line", "column", "hint"),
    [
        ("  says", "  sais", 3, 3, "did you mean 'says'"),
        ("from post-up", "from post-pu", 5, 8, "did you mean 'post_up'"),
        ("held_s >= 2\n", "hold_s >= 2\n", 6, 9, "did you mean 'held_s'"),
        ("cut = no)", "cot = no)", 8, 10, "did you mean 'cut'"),
        ("cut = no)", "cut = nay)", 8, 16, "yes, no"),
        ("severity note", "severity notes", 9, 12, "did you mean 'note'"),
        ("{poster} posts", "{postr} posts", 11, 10, "did you mean 'poster'"),
        ("tell \"", "tell ", 11, 8, "tell \"The sentence"),
        ("once in 2.5 s", "once 2.5 s", 13, 8, "once in 3 s"),
        ("the highest held_s", "the higest held_s", 14, 16, "did you mean 'highest'"),
        ("the highest held_s", "the highest hold_s", 14, 24, "did you mean 'held_s'"),
        ("  from post-up\n", "", 13, 30, "from SITUATION"),
        ("  once in", "  for 2 s\n  once in", 13, 3, "take this line away"),
        ("  once in", "  says \"Twice.\"\n  once in", 13, 3, "line 3"),
        ("held_s >= 2\n", "held_s >= 2 seconds long\n", 6, 29, "expected"),
    ],
)  # fmt: skip
def test_a_mistake_is_shown_where_it_is(before, after, line, column, hint):
    assert before in FILE
    with pytest.raises(LanguageError) as caught:
        read_fault(FILE.replace(before, after), "lonely_post.fault")
    said = str(caught.value)
    assert f"lonely_post.fault, line {line}, column {column}:" in said
    assert hint in said
    assert said.splitlines()[-1].strip(" ^") == ""


def test_a_spell_needs_its_time(tmp_path):
    text = 'fault near "Near"\n says "x."\n source "y"\n from two teammates\n where gap_ft < 5\n tell "z."\n'
    with pytest.raises(LanguageError, match=r"line 4.*'for 1.5 s'"):
        read_fault(text, "near.fault")
    assert read_fault(text + " for 2 s\n", "near.fault").for_s == 2.0
    with pytest.raises(LanguageError, match="lasted_s"):
        read_fault(text.replace("gap_ft < 5", "lasted_s > 5") + " for 2 s\n", "near.fault")
    with pytest.raises(LanguageError, match="name the file near"):
        read_named_fault(text + " for 2 s\n", tmp_path / "far.fault")


def test_every_situation_is_found_by_somebody():
    assert {s.name for s in SITUATIONS if s.lasting is Lasting.MOMENT} == set(MOMENTS)
    assert {s.name for s in SITUATIONS if s.lasting is Lasting.SPELL} == set(SPELLS)
    for s in SITUATIONS:
        names = [m.name for m in s.measures] + [t.name for t in s.traits] + list(s.roles)
        assert len(names) == len(set(names)), s.name


NUMBER_CLAUSES = ("a < 2", "a >= 1.5", "b between 1 and 3", "b != 2", "a > b", "a unknown", "b not in (1, 2)")
WORD_CLAUSES = ("w = left", "w in (left, right)", "w != right", "w known")
CLAUSES = st.sampled_from((*NUMBER_CLAUSES, *WORD_CLAUSES))
CONDITIONS = st.recursive(
    CLAUSES,
    lambda inner: st.one_of(
        st.tuples(inner, inner).map(lambda p: f"({p[0]} and {p[1]})"),
        st.tuples(inner, inner).map(lambda p: f"({p[0]} or {p[1]})"),
        inner.map(lambda c: f"not ({c})"),
    ),
    max_leaves=5,
)
NUMBERS = st.sampled_from([float("nan"), 0.0, 1.0, 1.5, 2.0, 3.0, 4.0])
WORDS = st.sampled_from(["left", "right", "middle", "unknown"])


@settings(max_examples=150, deadline=None)
@given(CONDITIONS, st.lists(st.tuples(NUMBERS, NUMBERS, WORDS), min_size=1, max_size=6))
def test_all_moments_at_once_are_judged_like_one_by_one(text, rows):
    condition = read_condition(text, Names(frozenset({"a", "b"}), {"w": ("left", "right", "middle")}))
    a, b, w = zip(*rows, strict=True)
    at_once = holds_over(condition, {"a": np.array(a), "b": np.array(b), "w": np.array(w)})
    one_by_one = [judge(condition, {"a": x, "b": y, "w": z}) is True for x, y, z in rows]
    assert at_once.tolist() == one_by_one


@pytest.mark.parametrize(
    ("measure", "value", "said"),
    [
        ("catch_ring_ft", 28.62, "29 feet"),
        ("gap_ft", 6.26, "6.3 feet"),
        ("held_s", 2.04, "2 seconds"),
        ("count", 5.0, "5"),
        ("screener_speed_ft_s", 7.25, "7.2 feet a second"),
        ("turn_off_ring_deg", 41.4, "41 degrees"),
        ("hull_attack_ft2", 812.3, "812 square feet"),
        ("gap_ft", float("nan"), "unknown"),
    ],
)
def test_numbers_read_well_aloud(measure, value, said):
    assert amount(measure, value) == said
