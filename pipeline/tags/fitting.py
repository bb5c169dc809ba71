"""Fitting the model of one kind to what staff decided, and knowing how good it is on decisions that it has not seen.

Everything is deterministic: decisions in order of their tags, folds of a fixed seed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import StratifiedGroupKFold, StratifiedKFold

from pipeline.tags.evidence_model import SCORE, Basis, Evidence, Feature, Model, Part, matrix
from pipeline.tags.records import Decided, State

FOLDS = 5
STRENGTH = 0.1
"""Inverse of the penalty on weights of standardised evidence: a normal prior of this variance. Strong: with thirty
decisions a measure must tell a lot to count."""

RARE = 3
"""Words and gaps that occur in fewer decisions than this are no feature, nor are those that so few lack."""

SURE = 1.64
"""The evidence must foretell held-out decisions better than the score by this many standard errors of the difference
in log loss (one-sided 95 %), else the score's order stands."""

NEVER_SURE = 1e-3
"""Probabilities are held off 0 and 1 by this in log losses."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A model and what it foretold of decisions that it was not fitted to.

    Attributes
    ----------
    model : Model
    foretold : ndarray of shape (N,)
        Probability of each decision by a model fitted to the others; the score where the rule stands.
    by_score : ndarray of shape (N,)
        The same by the score alone.
    confirmed : ndarray of shape (N,), bool
    """

    model: Model
    foretold: np.ndarray
    by_score: np.ndarray
    confirmed: np.ndarray


def fit(decisions: Sequence[Decided]) -> Fit:
    """The model of one kind.

    Parameters
    ----------
    decisions : sequence of Decided
        Confirmed and rejected ones of one kind, some of either (:data:`FOLDS` at least).
    """
    decisions = sorted(decisions, key=lambda one: one.tag)
    confirmed = np.array([one.verdict is State.CONFIRMED for one in decisions])
    folds = _folds(decisions, confirmed)
    score_model, by_score = _fit(decisions, confirmed, folds, _score_feature)
    model, by_evidence = _fit(decisions, confirmed, folds, _features)
    gain = _log_losses(by_score, confirmed) - _log_losses(by_evidence, confirmed)
    error = np.std(gain, ddof=1) / np.sqrt(len(gain))
    if gain.mean() > SURE * error:
        return Fit(replace(model, basis=Basis.EVIDENCE), by_evidence, by_score, confirmed)
    return Fit(replace(score_model, basis=Basis.SCALED), by_score, by_score, confirmed)


def _folds(decisions: Sequence[Decided], confirmed: np.ndarray) -> np.ndarray:
    """Which fold each decision is foretold in; whole games where there are enough, for one game's play is alike."""
    fold = np.zeros(len(decisions), int)
    games = np.unique([one.game for one in decisions], return_inverse=True)[1]
    splits = StratifiedKFold(FOLDS, shuffle=True, random_state=0).split(confirmed, confirmed)
    if games.max() + 1 >= 2 * FOLDS:
        grouped = list(StratifiedGroupKFold(FOLDS, shuffle=True, random_state=0).split(confirmed, confirmed, games))
        if all(len(test) and 0 < confirmed[train].sum() < len(train) for train, test in grouped):
            splits = iter(grouped)
    for number, (_, test) in enumerate(splits):
        fold[test] = number
    return fold


Chooses = Callable[[Sequence[Evidence]], tuple[Feature, ...]]


def _fit(
    decisions: Sequence[Decided], confirmed: np.ndarray, folds: np.ndarray, choose: Chooses
) -> tuple[Model, np.ndarray]:
    """A calibrated model of all decisions, and what models of the other folds foretell of each.

    Features, their means and spreads, weights and calibration of a fold come from the other folds alone.
    """
    raw = np.zeros(len(decisions))
    for number in np.unique(folds):
        test = folds == number
        one = _weighed([d for d, out in zip(decisions, test, strict=True) if not out], confirmed[~test], choose)
        raw[test] = _log_odds(one, [d for d, out in zip(decisions, test, strict=True) if out])
    foretold = np.zeros(len(decisions))
    for number in np.unique(folds):
        test = folds == number
        stretch, shift = _calibration(raw[~test], confirmed[~test])
        foretold[test] = 1 / (1 + np.exp(-(stretch * raw[test] + shift)))
    stretch, shift = _calibration(raw, confirmed)
    return replace(_weighed(decisions, confirmed, choose), stretch=stretch, shift=shift), foretold


def _weighed(decisions: Sequence[Decided], confirmed: np.ndarray, choose: Chooses) -> Model:
    """Weights of the evidence; the score's is never below zero, for a rule's score means sureness."""
    features = choose(decisions)
    share = float(np.clip(confirmed.mean(), 0.01, 0.99))
    if not features:
        return Model(Basis.EVIDENCE, intercept=float(np.log(share / (1 - share))))
    fitted = LogisticRegression(C=STRENGTH, max_iter=1000).fit(matrix(features, decisions), confirmed)
    weights = fitted.coef_[0]
    if choose is _score_feature and weights[0] < 0:
        return Model(Basis.EVIDENCE, intercept=float(np.log(share / (1 - share))))
    return Model(
        Basis.EVIDENCE,
        tuple(replace(f, weight=float(w)) for f, w in zip(features, weights, strict=True)),
        float(fitted.intercept_[0]),
    )


def _log_odds(model: Model, decisions: Sequence[Decided]) -> np.ndarray:
    weights = np.array([f.weight for f in model.features])
    return matrix(model.features, decisions) @ weights + model.intercept


def _score_feature(decisions: Sequence[Evidence]) -> tuple[Feature, ...]:
    return tuple(_known([Feature(Part.SCORE, SCORE, "", 0, 1)], decisions))


def _features(decisions: Sequence[Evidence]) -> tuple[Feature, ...]:
    """The score, every measure (and whether it was seen), every word, where they differ among the decisions."""
    measures = sorted({name for one in decisions for name in one.measures if not _is_film_time(name)})
    words = sorted({(name, word) for one in decisions for name, word in one.traits.items()})
    found = [Feature(Part.SCORE, SCORE, "", 0, 1)]
    found += [Feature(Part.MEASURE, name, "", 0, 1) for name in measures]
    found += [Feature(Part.UNKNOWN, name, "", 0, 1) for name in measures]
    found += [Feature(Part.TRAIT, name, word, 0, 1) for name, word in words]
    return tuple(_known(found, decisions))


def _known(features: Sequence[Feature], decisions: Sequence[Evidence]) -> list[Feature]:
    """Features with their usual value and spread; those that hardly ever differ left out."""
    kept = []
    for feature in features:
        values = np.array([feature.value(one) for one in decisions])
        values = values[np.isfinite(values)]
        yes_no = feature.part in (Part.UNKNOWN, Part.TRAIT)
        if yes_no and min(values.sum(), len(values) - values.sum()) < RARE:
            continue
        spread = float(values.std()) if len(values) >= RARE else 0.0
        if spread > 1e-9:
            kept.append(replace(feature, usual=float(values.mean()), spread=spread))
    return kept


def _is_film_time(measure: str) -> bool:
    """Whether a measure is a time of the film, which says nothing of the candidate."""
    return measure.endswith("_entry_s")


def _calibration(log_odds: np.ndarray, confirmed: np.ndarray) -> tuple[float, float]:
    """Stretch and shift of log odds that fit held-out decisions best, drawn towards leaving them as they are.

    Platt, J., Probabilistic outputs for support vector machines, 1999, with a normal prior of variance 1 about 1 and 0;
    by Newton's method.
    """
    design = np.column_stack([log_odds, np.ones(len(log_odds))])
    prior = np.array([1.0, 0.0])
    at = prior.copy()
    for _ in range(50):
        chance = 1 / (1 + np.exp(-np.clip(design @ at, -30, 30)))
        slope = design.T @ (chance - confirmed) + (at - prior)
        curve = (design * (chance * (1 - chance))[:, None]).T @ design + np.eye(2)
        step = np.linalg.solve(curve, slope)
        at = at - step
        if np.abs(step).max() < 1e-9:
            break
    return float(max(at[0], 0.0)), float(at[1])


def _log_losses(foretold: np.ndarray, confirmed: np.ndarray) -> np.ndarray:
    chance = np.clip(foretold, NEVER_SURE, 1 - NEVER_SURE)
    return -np.where(confirmed, np.log(chance), np.log(1 - chance))
