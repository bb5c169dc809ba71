"""A small model of one kind's decisions: the rule's evidence as numbers, their weights, and a calibrated probability.

A model is plain numbers: it can be kept as JSON, read aloud measure by measure, and gives the same probability whenever
and wherever it is asked. How it is fitted stands in :mod:`pipeline.tags.fitting`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

import numpy as np

FARTHEST = 4.0
"""Standardised values are held within this, so that one wild measure does not decide alone."""

SCORE = "score"
"""Name of the feature that is the rule's own score."""


class Evidence(Protocol):
    """What a rule says of a candidate: its score, numbers and words."""

    @property
    def score(self) -> float: ...
    @property
    def measures(self) -> Mapping[str, float]: ...
    @property
    def traits(self) -> Mapping[str, str]: ...


class Evidences(Protocol):
    """The evidence of many candidates, column by column, each of shape (N,)."""

    def scores(self) -> np.ndarray:
        """Scores of the rule."""

    def measure(self, name: str) -> np.ndarray:
        """A measure, NaN where it was not seen."""

    def is_word(self, trait: str, word: str) -> np.ndarray:
        """Where a trait is a certain word; one that was not seen is ``"unknown"``."""


@dataclass(frozen=True, slots=True)
class Listed:
    """The evidence of candidates in a list."""

    candidates: Sequence[Evidence]

    def scores(self) -> np.ndarray:
        """Scores of the rule."""
        return np.array([one.score for one in self.candidates], dtype=float)

    def measure(self, name: str) -> np.ndarray:
        """A measure, NaN where it was not seen."""
        return np.array([one.measures.get(name, np.nan) for one in self.candidates], dtype=float)

    def is_word(self, trait: str, word: str) -> np.ndarray:
        """Where a trait is a certain word."""
        return np.array([one.traits.get(trait, "unknown") == word for one in self.candidates], dtype=bool)


class Part(StrEnum):
    """What of the evidence a feature is."""

    SCORE = "score"
    MEASURE = "measure"
    UNKNOWN = "unknown"  # whether a measure was not seen
    TRAIT = "trait"  # whether a word is a certain one


class Basis(StrEnum):
    """What a probability comes from."""

    RULE = "rule score"  # too few decisions to know better
    SCALED = "rule score, fitted to the decisions"  # the order of the rule, its level as staff judged
    EVIDENCE = "evidence"  # the rule's measures and words, weighed as staff judged


@dataclass(frozen=True, slots=True)
class Feature:
    """One number of the evidence and its weight.

    Attributes
    ----------
    part : Part
    name : str
        Measure or trait.
    level : str
        The word, of a trait.
    usual, spread : float
        Mean and standard deviation over the decisions.
    weight : float
        What one spread more adds to the log odds.
    """

    part: Part
    name: str
    level: str
    usual: float
    spread: float
    weight: float = 0.0

    def values(self, evidence: Evidences) -> np.ndarray:
        """The number itself of every candidate, shape (N,); NaN where it was not seen."""
        match self.part:
            case Part.SCORE:
                return evidence.scores()
            case Part.MEASURE:
                found = evidence.measure(self.name)
                return np.where(np.isfinite(found), found, np.nan)
            case Part.UNKNOWN:
                return (~np.isfinite(evidence.measure(self.name))).astype(float)
        return evidence.is_word(self.name, self.level).astype(float)

    def standard(self, values: np.ndarray) -> np.ndarray:
        """How many spreads more than usual; what was not seen is as usual."""
        with np.errstate(over="ignore"):
            off = (values - self.usual) / self.spread
        return np.where(np.isnan(off), 0.0, np.clip(off, -FARTHEST, FARTHEST))


@dataclass(frozen=True, slots=True)
class Model:
    """How likely staff are to confirm a candidate of one kind.

    Attributes
    ----------
    basis : Basis
    features : tuple of Feature
        Empty where the rule's score stands.
    intercept : float
        Log odds of a candidate that is as usual in everything.
    stretch, shift : float
        The calibration: log odds times the one plus the other.
    """

    basis: Basis
    features: tuple[Feature, ...] = ()
    intercept: float = 0.0
    stretch: float = 1.0
    shift: float = 0.0

    def probability(self, evidence: Evidence) -> float:
        """0..1; the rule's score itself where that stands."""
        return float(self.probabilities(Listed([evidence]))[0])

    def probabilities(self, evidence: Evidences) -> np.ndarray:
        """The same of many, shape (N,)."""
        scores = evidence.scores()
        if self.basis is Basis.RULE:
            return np.clip(scores, 0, 1)
        log_odds = np.full(len(scores), self.intercept)
        for feature in self.features:
            log_odds += feature.weight * feature.standard(feature.values(evidence))
        return sigmoid(self.stretch * log_odds + self.shift)

    def effects(self, evidence: Evidence) -> tuple[tuple[Feature, float], ...]:
        """What each feature adds to the log odds of one candidate, largest first."""
        one = Listed([evidence])
        added = [(f, self.stretch * f.weight * float(f.standard(f.values(one))[0])) for f in self.features]
        return tuple(sorted(added, key=lambda pair: (-abs(pair[1]), pair[0].part, pair[0].name, pair[0].level)))


def sigmoid(log_odds: np.ndarray) -> np.ndarray:
    """Probabilities of log odds."""
    return 1 / (1 + np.exp(-np.clip(log_odds, -500, 500)))
