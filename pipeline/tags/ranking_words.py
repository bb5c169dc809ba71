"""What a ranking rests on, in words: which measures make a candidate more or less likely, and by how much here."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np

from pipeline.actions.vocabulary import EVERY_MEASURE, KINDS
from pipeline.spacing.rules import amount
from pipeline.spacing.situations import SITUATIONS
from pipeline.tags.evidence_model import Basis, Evidence, Feature, Listed, Model, Part

TELLING = 0.05
"""Effects on the log odds below this are not worth a word."""


def reasons(model: Model, evidence: Evidence, at_most: int = 5) -> tuple[str, ...]:
    """Why a candidate is more or less likely than usual, strongest first.

    E.g. ``"distance of the defender 1.2 feet less than usual: less likely"``. Nothing where the rule's score stands.
    """
    return tuple(
        f"{_here(feature, evidence)}: {'more' if effect > 0 else 'less'} likely"
        for feature, effect in model.effects(evidence)[:at_most]
        if abs(effect) >= TELLING
    )


def weights_in_words(model: Model, at_most: int = 8) -> tuple[str, ...]:
    """What a model has learnt, strongest first.

    E.g. ``"the rule's score: every 0.11 more multiplies the odds by 1.6"``.
    """
    if model.basis is Basis.RULE:
        return ()
    told = sorted(model.features, key=lambda f: (-abs(f.weight), f.part, f.name, f.level))
    return tuple(
        f"{_named(f)}: {_step(f)}multiplies the odds by {np.exp(model.stretch * _weight(f)):.2g}"
        for f in told[:at_most]
        if abs(model.stretch * f.weight) >= TELLING
    )


def _weight(feature: Feature) -> float:
    """Of one spread more; of what is there or not, of its being there."""
    return feature.weight / feature.spread if feature.part in (Part.UNKNOWN, Part.TRAIT) else feature.weight


def _step(feature: Feature) -> str:
    if feature.part is Part.SCORE:
        return f"every {feature.spread:.2g} more "
    return f"every {amount(feature.name, feature.spread)} more " if feature.part is Part.MEASURE else ""


def _named(feature: Feature) -> str:
    match feature.part:
        case Part.SCORE:
            return "the rule's score"
        case Part.MEASURE:
            return _meaning(feature.name)
        case Part.UNKNOWN:
            return f"not seen: {_meaning(feature.name)}"
    return f"{_meaning(feature.name)}, '{feature.level.replace('_', ' ')}'"


def _here(feature: Feature, evidence: Evidence) -> str:
    value = float(feature.values(Listed([evidence]))[0])
    match feature.part:
        case Part.SCORE:
            off = value - feature.usual
            return f"the rule's score {abs(off):.2f} {'above' if off > 0 else 'below'} the usual {feature.usual:.2f}"
        case Part.MEASURE:
            off = value - feature.usual
            more = "more" if off > 0 else "less"
            return f"{_meaning(feature.name)} {amount(feature.name, abs(off))} {more} than usual"
        case Part.UNKNOWN:
            return f"{_meaning(feature.name)} was {'not ' if value else ''}seen"
    said = feature.level.replace("_", " ")
    return f"{_meaning(feature.name)} is {'' if value else 'not '}'{said}'"


def _meaning(name: str) -> str:
    return _meanings().get(name, name.replace("_", " "))


@lru_cache(maxsize=1)
def _meanings() -> Mapping[str, str]:
    """Measures and traits of actions and situations in words; those of sets are called by their names."""
    found: dict[str, str] = {}
    for situation in reversed(SITUATIONS):
        found |= {measure.name: measure.meaning for measure in situation.own_measures}
        found |= {trait.name: trait.meaning for trait in situation.own_traits}
    for kind in reversed(KINDS):
        found |= {measure.name: measure.meaning for measure in kind.measures}
        found |= {trait.name: trait.meaning for trait in kind.traits}
    found |= {one.name: one.meaning for one in EVERY_MEASURE}
    return found
