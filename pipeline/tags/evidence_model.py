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

    def value(self, evidence: Evidence) -> float:
        """The number itself, NaN where it was not seen."""
        match self.part:
            case Part.SCORE:
                return float(evidence.score)
            case Part.MEASURE:
                return float(evidence.measures.get(self.name, np.nan))
            case Part.UNKNOWN:
                return float(not np.isfinite(evidence.measures.get(self.name, np.nan)))
        return float(evidence.traits.get(self.name, "unknown") == self.level)

    def standard(self, evidence: Evidence) -> float:
        """How many spreads more than usual; what was not seen is as usual."""
        value = self.value(evidence)
        if not np.isfinite(value):
            return 0.0
        return float(np.clip((value - self.usual) / self.spread, -FARTHEST, FARTHEST))


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
        if self.basis is Basis.RULE:
            return float(np.clip(evidence.score, 0, 1))
        return sigmoid(self.stretch * self._log_odds(evidence) + self.shift)

    def effects(self, evidence: Evidence) -> tuple[tuple[Feature, float], ...]:
        """What each feature adds to the log odds, largest first."""
        added = [(f, self.stretch * f.weight * f.standard(evidence)) for f in self.features]
        return tuple(sorted(added, key=lambda one: (-abs(one[1]), one[0].part, one[0].name, one[0].level)))

    def _log_odds(self, evidence: Evidence) -> float:
        return self.intercept + sum(f.weight * f.standard(evidence) for f in self.features)


def matrix(features: Sequence[Feature], evidence: Sequence[Evidence]) -> np.ndarray:
    """Standardised evidence, a row for each candidate: shape (N, F)."""
    return np.array([[f.standard(one) for f in features] for one in evidence]).reshape(len(evidence), len(features))


def sigmoid(log_odds: float) -> float:
    """Probability of log odds."""
    return float(1 / (1 + np.exp(-np.clip(log_odds, -500, 500))))
