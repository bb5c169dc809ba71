"""Explanations: every fact with its value, its limit and the margin, in sentences that can be read aloud."""

import pytest

from pipeline.actions.events import Event
from pipeline.actions.settings import ActionSettings
from pipeline.actions.thresholds import THRESHOLDS, threshold_rule
from pipeline.actions.vocabulary import KIND, KINDS, UNKNOWN, Measure, measure_names, trait_names
from pipeline.conditions import Names, names_in, read_condition
from pipeline.spacing.fault_files import read_fault
from pipeline.spacing.rules import sentence_of
from pipeline.spacing.settings import shipped_faults
from pipeline.tags.explaining import explain_action, explain_fault, facts, words_of

RULES = ActionSettings()
WORDS = words_of((Measure("gap_ft", "distance between the two"), Measure("count", "others in the paint")), ())
NAMES = Names(frozenset({"gap_ft", "count"}), {"cut": ("yes", "no")})


def event(kind, measures=None, traits=None, actors=(("handler", 3),), score=0.9):
    return Event(kind, 0, 0, 4.0, 9.0, 6.5, actors, (20.0, 25.0), "left", measures or {}, score, traits or {})


def said(text, values):
    return list(facts(read_condition(text, NAMES), values, WORDS))


@pytest.mark.parametrize(
    ("text", "values", "sentences"),
    [
        ("count >= 5", {"count": 6.0}, ["Others in the paint: 6; at least 5 is asked for, 1 to spare."]),
        ("count >= 5", {"count": 3.0}, ["Others in the paint: 3; at least 5 is asked for, missed by 2."]),
        (
            "gap_ft < 8",
            {"gap_ft": 8.42},
            ["Distance between the two: 8.4 feet; less than 8 feet is asked for, missed by 0.4 feet."],
        ),
        ("count < 8", {"count": float("nan")}, ["Others in the paint: not known; less than 8 is asked for."]),
        (
            "gap_ft between 12 and 18",
            {"gap_ft": 14.0},
            ["Distance between the two: 14 feet; between 12 feet and 18 feet is asked for, 2 feet to spare."],
        ),
        ("cut = no", {"cut": "no"}, ["Cut: no, as asked."]),
        ("cut = no", {"cut": "yes"}, ["Cut: yes; no is asked for, missed."]),
        (
            "count >= 5 or cut = no",
            {"count": 6.0, "cut": "yes"},
            [
                "Others in the paint: 6; at least 5 is asked for, 1 to spare.",
                "Not needed for it: cut: yes; no is asked for, missed.",
            ],
        ),
    ],
)  # fmt: skip
def test_every_clause_is_a_sentence_with_its_margin(text, values, sentences):
    assert said(text, values) == sentences


def test_a_fault_says_what_made_it_and_what_would_have_made_it_severe():
    rule = next(one for one in shipped_faults().library if one.name == "crowded_paint")
    crowded = event("crowded_paint", {"count": 6.0, "sigma_ft": 0.8}, {"moment": "enters_the_paint"})
    told = explain_fault(crowded, rule, sentence_of(crowded, rule))
    assert told[0] == "6 others stand in the paint as the handler enters the paint."
    assert "Others in the paint: 6; at least 5 is asked for, 1 to spare." in told
    assert "It is not severe: others in the paint: 6; at least 7 is asked for, missed by 1." in told
    assert told[-1] == "Sure to 90 in 100, with places known to about 0.8 feet."


def test_a_spell_says_how_long():
    rule = next(one for one in shipped_faults().library if one.name == "twins")
    near = event("twins", {"gap_ft": 5.0, "lasted_s": 2.25}, {"busy": "no", "settled": "yes"})
    told = explain_fault(near, rule, "x")
    assert "It lasted 2.2 seconds; at least 1.5 seconds are asked for, 0.8 seconds to spare." in told


def test_an_action_says_its_limits_and_everything_else():
    measures = dict.fromkeys(measure_names("drive"), float("nan")) | {
        "gain_ft": 16.0,
        "top_speed_ft_s": 14.0,
        "ends_at_ft": 3.0,
    }
    told = explain_action(event("drive", measures, {"off_screen": UNKNOWN}), RULES, lambda _: "number 11")
    assert told[0] == "A drive: handler number 11."
    assert "Ground gained towards the ring: 16 feet; at least 8 feet is asked for, 8 feet to spare." in told
    assert any(line.startswith("Not known: whether it came off an on-ball screen") for line in told)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_kind_can_be_explained_with_nothing_known(kind):
    nothing = event(
        kind.name,
        dict.fromkeys(measure_names(kind.name), float("nan")),
        dict.fromkeys(trait_names(kind.name), UNKNOWN),
        actors=((kind.roles[0], 1),),
    )
    told = explain_action(nothing, RULES, lambda _: None)
    assert all(line.endswith(".") for line in told)
    assert "nan" not in " ".join(told)


def test_limits_are_measures_and_settings_that_exist():
    assert set(THRESHOLDS) <= set(KIND)
    for kind in THRESHOLDS:
        rule = threshold_rule(kind, RULES)
        assert rule is not None
        assert set(names_in(rule)) <= set(measure_names(kind))
    assert threshold_rule("touch", RULES) is None


def test_a_limit_follows_its_setting():
    wide = RULES.model_copy(update={"drive": RULES.drive.model_copy(update={"gain_ft": 20.0})})
    measures = dict.fromkeys(measure_names("drive"), float("nan")) | {"gain_ft": 16.0}
    assert "at least 20 feet is asked for, missed by 4 feet." in " ".join(
        explain_action(event("drive", measures), wide, lambda _: None)
    )


def test_a_file_of_staff_is_explained_in_its_own_terms():
    rule = read_fault(
        'fault slow_post "Slow post"\n says "He waits."\n source "ours"\n'
        ' from post-up\n where held_s > 3\n tell "Slow."\n',
        "slow_post.fault",
    )
    told = explain_fault(event("slow_post", {"held_s": 4.5}, actors=(("poster", 2),)), rule, "Slow.")
    assert told[2] == "How long it lasted: 4.5 seconds; more than 3 seconds is asked for, 1.5 seconds to spare."
