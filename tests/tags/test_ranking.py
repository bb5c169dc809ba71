"""Ranking: better than the rule where the evidence tells something, no bolder than it where it tells nothing."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
from decided_play import NOW, Seen, told
from sklearn.metrics import roc_auc_score

from pipeline.tags.evidence_model import Basis, Listed, Part
from pipeline.tags.fitting import fit
from pipeline.tags.ranking import (
    LEAST_DECIDED,
    LEAST_OF_EITHER,
    _auc,
    calibration,
    models_of,
    precision,
    rank,
    wilson,
)
from pipeline.tags.ranking_words import reasons, weights_in_words
from pipeline.tags.records import Candidate, Decided, Family, State, Tag

KIND = (Family.FAULT, "pushed_out_catch")


def model_of(decisions):
    return models_of(decisions)[KIND]


def foretold_of(model, decisions):
    return model.probabilities(Listed(decisions))


def confirmed(decisions):
    return np.array([one.verdict is State.CONFIRMED for one in decisions])


def scores(decisions):
    return np.array([one.score for one in decisions])


def tag_of(decided, number):
    candidate = Candidate(
        kind=decided.kind, family=decided.family, shot=0, possession=None, team=None, start_s=0, end_s=1, t_s=0,
        actors=(), measures=decided.measures, traits=decided.traits, score=decided.score, severity="fault", sentence="",
    )  # fmt: skip
    return Tag(number, decided.game, State.CANDIDATE, candidate, 1, 0, 1, ())


@pytest.mark.parametrize(("count", "least"), [(60, 0.06), (150, 0.13), (400, 0.16)])
def test_evidence_that_tells_something_orders_better_than_the_score(count, least):
    gains = []
    for seed in range(6):
        model = model_of(told(count, seed)[0])
        unseen, _ = told(1500, seed + 500)
        foretold = foretold_of(model, unseen)
        gains.append(roc_auc_score(confirmed(unseen), foretold) - roc_auc_score(confirmed(unseen), scores(unseen)))
    assert np.mean(gains) > least, gains


def test_evidence_that_tells_nothing_claims_no_more_than_the_score():
    losses, claims = [], []
    for seed in range(10):
        decisions, _ = told(120, seed, evidence=0.0)
        model = model_of(decisions)
        unseen, chances = told(1500, seed + 500, evidence=0.0)
        foretold = foretold_of(model, unseen)
        losses.append(roc_auc_score(confirmed(unseen), scores(unseen)) - roc_auc_score(confirmed(unseen), foretold))
        claims.append(foretold.std() - chances.std())
    assert np.mean(losses) < 0.02, losses
    assert np.mean(claims) < 0.02, "foretold chances are no farther apart than the true ones"


def test_neither_evidence_nor_score_tells_anything():
    for seed in range(4):
        decisions, _ = told(200, seed, evidence=0.0, score=0.0, base=-1.0)
        model = model_of(decisions)
        foretold = foretold_of(model, told(1000, seed + 500)[0])
        share = confirmed(decisions).mean()
        assert np.abs(foretold - share).mean() < 0.09, "all are about as likely as what was confirmed so far"


@pytest.mark.parametrize(("count", "error"), [(60, 0.16), (400, 0.06), (1500, 0.045)])
def test_probabilities_are_calibrated_on_unseen_candidates(count, error):
    """Mean distance of foretold from true shares over ten classes of 4000 unseen candidates."""
    errors = []
    for seed in range(4):
        model = model_of(told(count, seed)[0])
        unseen, chances = told(4000, seed + 500)
        foretold = foretold_of(model, unseen)
        parts = np.array_split(np.argsort(foretold), 10)
        errors.append(np.mean([abs(foretold[part].mean() - chances[part].mean()) for part in parts]))
    assert np.mean(errors) < error, errors


def test_few_decisions_leave_the_rules_score():
    few, _ = told(LEAST_DECIDED - 1, 1)
    assert model_of(few).basis is Basis.RULE
    tags = [tag_of(one, one.tag) for one in few]
    for tag, ranked in zip(tags, rank(few, tags).values(), strict=True):
        assert ranked.by is Basis.RULE
        assert ranked.probability == tag.candidate.score
    enough, _ = told(LEAST_DECIDED, 1)
    assert model_of(enough).basis is not Basis.RULE


def test_one_sided_decisions_leave_the_rules_score():
    decisions, _ = told(80, 2)
    one_sided = [replace(one, verdict=State.CONFIRMED) for one in decisions]
    for number in range(LEAST_OF_EITHER - 1):
        one_sided[number] = replace(one_sided[number], verdict=State.REJECTED)
    assert model_of(one_sided).basis is Basis.RULE
    (kind,) = precision(one_sided)
    assert (kind.by, kind.decided) == (Basis.RULE, 80)


def test_unsure_decisions_teach_nothing_and_are_counted():
    decisions, _ = told(100, 3)
    more = [replace(one, tag=one.tag + 1000, verdict=State.UNSURE, score=0.1) for one in decisions[:40]]
    assert model_of([*decisions, *more]) == model_of(decisions)
    (kind,) = precision([*decisions, *more])
    assert (kind.decided, kind.unsure) == (100, 40)
    only, _ = told(40, 3, unsure=1.0)
    (kind,) = precision(only)
    assert (kind.decided, kind.confirmed, kind.unsure, kind.precision) == (0, 0, 40, None)


def test_the_same_decisions_in_any_order_teach_the_same():
    decisions, _ = told(150, 4)
    first = model_of(decisions)
    shuffled = list(decisions)
    random.Random(1).shuffle(shuffled)
    model_of(told(150, 5)[0])  # another answer in between
    assert model_of(shuffled) == first


def test_a_held_out_decision_is_foretold_without_itself():
    """Evidence that is different in every game, and noise for verdicts: nothing can be foretold, and nothing is."""
    rng = np.random.default_rng(5)
    aucs = []
    for seed in range(8):
        decisions, _ = told(120, seed, evidence=0.0, score=0.0)
        verdicts = [State.CONFIRMED if rng.random() < 0.5 else State.REJECTED for _ in decisions]
        decisions = [
            replace(one, verdict=verdict, measures={f"m{n}_ft": float(x) for n, x in enumerate(rng.normal(size=30))})
            for one, verdict in zip(decisions, verdicts, strict=True)
        ]
        done = fit(decisions)
        aucs.append(_auc(done.foretold, done.confirmed))
    assert abs(np.mean(aucs) - 0.5) < 0.08, aucs


def test_whole_games_are_held_out():
    """A measure that only names the game tells nothing of an unseen game."""
    decisions, _ = told(240, 6, evidence=0.0, score=0.0, games=24)
    rng = np.random.default_rng(7)
    verdict = {f"game-{n}": State.CONFIRMED if rng.random() < 0.5 else State.REJECTED for n in range(24)}
    decisions = [
        replace(one, verdict=verdict[one.game], traits={"hall": one.game}, measures={}, score=0.5) for one in decisions
    ]
    done = fit(decisions)
    assert _auc(done.foretold, done.confirmed) < 0.65


def test_wild_missing_and_endless_measures():
    decisions, _ = told(80, 8)
    decisions[0] = replace(decisions[0], measures={"receiver_gap_ft": 1e12, "length_ft": math.inf})
    decisions[1] = replace(decisions[1], measures={}, traits={})
    model = model_of(decisions)
    for one in (
        Seen(0.5),
        Seen(2.0, {"receiver_gap_ft": -1e300}),
        Seen(0.5, {"receiver_gap_ft": math.nan}, {"read": "?"}),
    ):
        assert 0 <= model.probability(one) <= 1


def test_probabilities_are_those_of_the_library():
    from sklearn.linear_model import LogisticRegression

    from pipeline.tags.fitting import STRENGTH

    decisions, _ = told(300, 9)
    model = model_of(decisions)
    assert model.basis is Basis.EVIDENCE
    x = np.column_stack([feature.standard(feature.values(Listed(decisions))) for feature in model.features])
    again = LogisticRegression(C=STRENGTH, max_iter=1000).fit(x, confirmed(decisions))
    log_odds = again.decision_function(x) * model.stretch + model.shift
    ours = foretold_of(model, decisions)
    assert ours == pytest.approx(1 / (1 + np.exp(-log_odds)), abs=1e-9)


def test_reasons_name_what_makes_it_more_or_less_likely():
    decisions, _ = told(300, 10)
    model = model_of(decisions)
    usual = next(f for f in model.features if f.name == "receiver_gap_ft" and f.part is Part.MEASURE)
    near = Seen(0.75, {"receiver_gap_ft": usual.usual + 3.0, "contact_ft": 3.0, "length_ft": 10.0}, {"read": "right"})
    said = reasons(model, near)
    assert said[0] == "distance of the nearest defender at the catch 3 feet more than usual: less likely"
    away = Seen(0.75, {"receiver_gap_ft": usual.usual - 3.0, "contact_ft": 3.0, "length_ft": 10.0}, {"read": "right"})
    assert (
        reasons(model, away)[0] == "distance of the nearest defender at the catch 3 feet less than usual: more likely"
    )
    total = sum(effect for _, effect in model.effects(near))
    log_odds = math.log(model.probability(near) / (1 - model.probability(near)))
    assert log_odds == pytest.approx(model.stretch * model.intercept + model.shift + total)
    (kind,) = precision(decisions)
    assert kind.words == weights_in_words(model)
    assert kind.words[0].startswith("distance of the nearest defender at the catch: every 1.")


@pytest.mark.parametrize(("hits", "of"), [(0, 1), (1, 1), (3, 10), (27, 30), (0, 40), (500, 1000)])
def test_wilson_is_that_of_another_library(hits, of):
    ours = wilson(hits, of)
    theirs = scipy.stats.binomtest(hits, of).proportion_ci(method="wilson")
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)
    assert ours.low <= ours.share <= ours.high


def test_precision_by_kind():
    decisions, _ = told(100, 11)
    sets = [replace(one, tag=one.tag + 500, family=Family.SET, kind="horns") for one in decisions[:8]]
    fault, play = precision([*sets, *decisions])
    assert (fault.family, fault.kind, play.kind) == (Family.FAULT, "pushed_out_catch", "horns")
    assert fault.confirmed == confirmed(decisions).sum()
    assert fault.precision.share == fault.confirmed / 100
    assert sum(one.count for one in fault.bins) == 100
    assert fault.auc_score == pytest.approx(roc_auc_score(confirmed(decisions), scores(decisions)))
    assert precision([]) == ()


def test_calibration_of_perfect_and_of_false_probabilities():
    rng = np.random.default_rng(12)
    chances = rng.random(5000)
    happened = rng.random(5000) < chances
    bins = calibration(chances, happened, bins=10)
    assert [one.count for one in bins] == [500] * 10
    assert all(one.confirmed.low - 0.03 < one.foretold < one.confirmed.high + 0.03 for one in bins)
    bold = calibration(np.full(200, 0.9), np.arange(200) % 2 == 0)
    assert all(one.foretold == pytest.approx(0.9) and one.confirmed.share < 0.6 for one in bold)


def test_a_decision_is_a_decision():
    assert isinstance(told(1, 0)[0][0], Decided)
    assert told(1, 0)[0][0].at == NOW
