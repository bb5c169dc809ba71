"""Fitting the model of one kind to what staff decided, and knowing how good it is on decisions that it has not seen.

Everything is deterministic: decisions in order of their tags, folds of a fixed seed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import StratifiedGroupKFold, StratifiedKFold

from pipeline.tags.evidence_model import FARTHEST, SCORE, Basis, Feature, Listed, Model, Part, sigmoid
from pipeline.tags.records import Decided, State

FOLDS = 5
STRENGTH = 0.05
"""Inverse of the penalty on weights of standardised evidence: a normal prior of this variance. Strong: with thirty
decisions a measure must tell a lot to count. Between 0.01 and 0.3 it hardly matters on simulated decisions
(docs/find.md); the calibration stretches what is drawn in too much."""

RARE = 3
"""Words and gaps that occur in fewer decisions than this are no feature, nor are those that so few lack."""

SURE = 1.0
"""The evidence must foretell held-out decisions better than the score by this many standard errors of the mean
difference in log loss, else the score's order stands (the rule of one standard error: Breiman, Friedman, Olshen and
Stone, Classification and regression trees, 1984; from memory)."""

LEAST_SLOPE = 0.05
"""Weight of the score where it stands alone, at least: whatever staff said so far, its order is the rule's."""

ENDLESS = 1e9
"""Measures are held within this."""

LEAST_STRETCH = 0.05
"""Calibration never turns an order round, nor levels it."""

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
    score = Feature(Part.SCORE, SCORE, "", 0, 1)
    score_model, by_score = _fit(_table([score], decisions), confirmed, folds)
    model, by_evidence = _fit(_table([score, *_features(decisions)], decisions), confirmed, folds)
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


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Evidence as numbers: features, and their values, shape (N, F), NaN where not seen."""

    features: tuple[Feature, ...]
    values: np.ndarray

    def of(self, rows: np.ndarray) -> _Table:
        """Some of the rows."""
        return _Table(self.features, self.values[rows])


def _table(features: Sequence[Feature], decisions: Sequence[Decided]) -> _Table:
    evidence = Listed(decisions)
    return _Table(tuple(features), np.column_stack([feature.values(evidence) for feature in features]))


def _fit(table: _Table, confirmed: np.ndarray, folds: np.ndarray) -> tuple[Model, np.ndarray]:
    """A calibrated model of all decisions, and what models of the other folds foretell of each.

    Features, their means and spreads, weights and calibration of a fold come from the other folds alone.
    """
    raw = np.zeros(len(confirmed))
    for number in np.unique(folds):
        test = folds == number
        raw[test] = _log_odds(_weighed(table.of(~test), confirmed[~test]), table.of(test))
    foretold = np.zeros(len(confirmed))
    for number in np.unique(folds):
        test = folds == number
        stretch, shift = _calibration(raw[~test], confirmed[~test])
        foretold[test] = sigmoid(stretch * raw[test] + shift)
    stretch, shift = _calibration(raw, confirmed)
    return replace(_weighed(table, confirmed), stretch=stretch, shift=shift), foretold


def _weighed(table: _Table, confirmed: np.ndarray) -> Model:
    """Weights of those features that differ among the decisions."""
    share = float(np.clip(confirmed.mean(), 0.01, 0.99))
    alone = len(table.features) == 1
    usual, spread, kept = _usual(table)
    if not kept.any():
        return Model(Basis.EVIDENCE, intercept=float(np.log(share / (1 - share))))
    fitted = LogisticRegression(C=STRENGTH, max_iter=1000).fit(
        _standard(table.values, usual, spread)[:, kept], confirmed
    )
    weights = np.zeros(len(kept))
    weights[kept] = np.maximum(fitted.coef_[0], LEAST_SLOPE) if alone else fitted.coef_[0]
    features = (
        replace(f, usual=float(usual[n]), spread=float(spread[n]), weight=float(weights[n]))
        for n, f in enumerate(table.features)
        if kept[n]
    )
    return Model(Basis.EVIDENCE, tuple(features), float(fitted.intercept_[0]))


def _log_odds(model: Model, table: _Table) -> np.ndarray:
    """The same as :meth:`Model.probabilities`, before the calibration."""
    place = {(f.part, f.name, f.level): n for n, f in enumerate(table.features)}
    log_odds = np.full(len(table.values), model.intercept)
    for feature in model.features:
        values = table.values[:, place[feature.part, feature.name, feature.level]]
        log_odds += feature.weight * feature.standard(values)
    return log_odds


def _usual(table: _Table) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean and spread of every feature, and which of them differ often enough to tell anything."""
    seen = np.isfinite(table.values)
    count = seen.sum(axis=0)
    held = np.where(seen, np.clip(table.values, -ENDLESS, ENDLESS), 0.0)
    usual = held.sum(axis=0) / np.maximum(count, 1)
    spread = np.sqrt((np.where(seen, held - usual, 0.0) ** 2).sum(axis=0) / np.maximum(count, 1))
    yes_no = np.array([feature.part in (Part.UNKNOWN, Part.TRAIT) for feature in table.features])
    yes = held.sum(axis=0)
    rare = yes_no & (np.minimum(yes, count - yes) < RARE)
    kept = (count >= RARE) & (spread > 1e-9) & ~rare
    return usual, np.where(kept, spread, 1.0), kept


def _standard(values: np.ndarray, usual: np.ndarray, spread: np.ndarray) -> np.ndarray:
    off = (values - usual) / spread
    return np.where(np.isnan(off), 0.0, np.clip(off, -FARTHEST, FARTHEST))


def _features(decisions: Sequence[Decided]) -> list[Feature]:
    """Every measure (and whether it was seen) and every word."""
    measures = sorted({name for one in decisions for name in one.measures if not _is_film_time(name)})
    words = sorted({(name, word) for one in decisions for name, word in one.traits.items()})
    found = [Feature(Part.MEASURE, name, "", 0, 1) for name in measures]
    found += [Feature(Part.UNKNOWN, name, "", 0, 1) for name in measures]
    found += [Feature(Part.TRAIT, name, word, 0, 1) for name, word in words]
    return found


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
    return float(max(at[0], LEAST_STRETCH)), float(at[1])


def _log_losses(foretold: np.ndarray, confirmed: np.ndarray) -> np.ndarray:
    chance = np.clip(foretold, NEVER_SURE, 1 - NEVER_SURE)
    return -np.where(confirmed, np.log(chance), np.log(1 - chance))
