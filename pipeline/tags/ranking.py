"""Ranking: how likely staff are to confirm a candidate, learnt from their decisions, and how right each rule has been.

Below :data:`LEAST_DECIDED` decisions on a kind, or with fewer than :data:`LEAST_OF_EITHER` confirmed or rejected among
them, the rule's score stands. From then on a logistic regression on the rule's evidence is fitted to them, with strong
regularisation and calibrated on decisions held out; where the evidence does not foretell those better than the score,
the score's order stands. Unsure decisions train nothing and are counted.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from pipeline.tags.evidence_model import Basis, Listed, Model
from pipeline.tags.records import Decided, Family, State, Tag

VERSION = 1
"""Raised when the same decisions teach something else."""

LEAST_DECIDED = 30
LEAST_OF_EITHER = 5
BINS = 5
"""Classes of a calibration table, of equal numbers of decisions."""

Kind = tuple[Family, str]


@dataclass(frozen=True, slots=True)
class Ranked:
    """How likely staff are to confirm a tag, 0..1, and what that rests on."""

    probability: float
    by: Basis


@dataclass(frozen=True, slots=True)
class Interval:
    """A share with its 95 % interval (Wilson's)."""

    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CalibrationBin:
    """Decisions of like foretold probability.

    Attributes
    ----------
    low, high : float
        Least and greatest probability in it.
    foretold : float
        Their mean.
    count : int
    confirmed : Interval
        Share that staff confirmed.
    """

    low: float
    high: float
    foretold: float
    count: int
    confirmed: Interval


@dataclass(frozen=True, slots=True, eq=False)
class KindPrecision:
    """How right one recogniser has been, as staff judged.

    Attributes
    ----------
    family, kind
    decided, confirmed, unsure : int
        ``decided`` are confirmed and rejected ones; unsure ones come on top.
    precision : Interval or None
        Share confirmed of those decided; None where none was.
    by : Basis
        What its ranking rests on.
    bins : tuple of CalibrationBin
        Foretold against confirmed, each decision foretold without itself.
    calibration_error : float
        Mean distance of foretold from confirmed over the bins, weighed by their counts; NaN without decisions.
    auc_score, auc : float
        Chance that the score, and the ranking, put a confirmed one before a rejected one; NaN where it cannot be said.
    words : tuple of str
        What makes a candidate more or less likely, strongest first; empty where the rule's score stands.
    """

    family: Family
    kind: str
    decided: int
    confirmed: int
    unsure: int
    precision: Interval | None
    by: Basis
    bins: tuple[CalibrationBin, ...]
    calibration_error: float
    auc_score: float
    auc: float
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Learnt:
    """A kind's model with what it foretold of its own decisions, unseen."""

    model: Model
    foretold: np.ndarray
    scores: np.ndarray
    confirmed: np.ndarray


def rank(decisions: Sequence[Decided], tags: Sequence[Tag]) -> dict[int, Ranked]:
    """How likely each tag is to be confirmed, by its number.

    Parameters
    ----------
    decisions : sequence of Decided
        All of the library's, as :meth:`TagStore.decisions` gives them.
    tags : sequence of Tag
        A tag that is decided itself is told what its model says of it, the decision among what the model learnt from.
    """
    models = models_of(decisions)
    kinds: dict[Kind, list[Tag]] = {}
    for tag in tags:
        kinds.setdefault((tag.candidate.family, tag.candidate.kind), []).append(tag)
    ranked = {}
    for kind, own in kinds.items():
        model = models.get(kind, _RULE)
        for tag, probability in zip(own, model.probabilities(Listed([one.candidate for one in own])), strict=True):
            ranked[tag.tag] = Ranked(float(probability), model.basis)
    return ranked


def models_of(decisions: Sequence[Decided], kept: Mapping[str, Model] | None = None) -> Mapping[Kind, Model]:
    """The model of every kind; where it is too early to learn, one that says the rule's score.

    Parameters
    ----------
    decisions : sequence of Decided
    kept : mapping of str to Model, optional
        Models learnt before, by :func:`decisions_key` of their kind's decisions.
    """
    found = {}
    for kind, own in by_kind(decisions).items():
        known = (kept or {}).get(decisions_key(own))
        found[kind] = known if known is not None else _learnt(kind, own).model
    return MappingProxyType(found)


def by_kind(decisions: Sequence[Decided]) -> Mapping[Kind, tuple[Decided, ...]]:
    """Decisions by what they are on, in order of the tags."""
    kinds: dict[Kind, list[Decided]] = {}
    for one in sorted(decisions, key=lambda d: d.tag):
        kinds.setdefault((one.family, one.kind), []).append(one)
    return MappingProxyType({kind: tuple(own) for kind, own in sorted(kinds.items())})


def precision(decisions: Sequence[Decided]) -> tuple[KindPrecision, ...]:
    """How right every recogniser has been, by family and kind."""
    from pipeline.tags.ranking_words import weights_in_words

    found = []
    for kind, own in by_kind(decisions).items():
        one = _learnt(kind, own)
        decided, confirmed = len(one.confirmed), int(one.confirmed.sum())
        bins = calibration(one.foretold, one.confirmed)
        error = sum(b.count * abs(b.foretold - b.confirmed.share) for b in bins) / decided if decided else float("nan")
        found.append(
            KindPrecision(
                *kind,
                decided=decided,
                confirmed=confirmed,
                unsure=len(own) - decided,
                precision=wilson(confirmed, decided) if decided else None,
                by=one.model.basis,
                bins=bins,
                calibration_error=error,
                auc_score=_auc(one.scores, one.confirmed),
                auc=_auc(one.foretold, one.confirmed),
                words=weights_in_words(one.model),
            )
        )
    return tuple(found)


def wilson(successes: int, of: int, z: float = 1.959963984540054) -> Interval:
    """A share with its interval at 95 %.

    Wilson, E. B., Probable inference, the law of succession, and statistical inference, J. Am. Stat. Assoc. 22 (1927)
    209-212. ``of`` must be above 0.
    """
    share = successes / of
    middle = (share + z**2 / (2 * of)) / (1 + z**2 / of)
    half = z / (1 + z**2 / of) * (share * (1 - share) / of + z**2 / (4 * of**2)) ** 0.5
    return Interval(share, max(0.0, middle - half), min(1.0, middle + half))


def calibration(foretold: np.ndarray, confirmed: np.ndarray, bins: int = BINS) -> tuple[CalibrationBin, ...]:
    """Decisions in order of what was foretold, in classes of equal numbers (fewer where there are few)."""
    order = np.argsort(foretold, kind="stable")
    found = []
    for part in np.array_split(order, min(bins, max(1, len(order) // 5))):
        if len(part):
            values = foretold[part]
            interval = wilson(int(confirmed[part].sum()), len(part))
            found.append(
                CalibrationBin(float(values.min()), float(values.max()), float(values.mean()), len(part), interval)
            )
    return tuple(found)


_RULE = Model(Basis.RULE)
_LATEST: dict[Kind, tuple[str, _Learnt]] = {}


def _learnt(kind: Kind, decisions: Sequence[Decided]) -> _Learnt:
    """What one kind's decisions teach; the answer to the latest ones is kept."""
    key = decisions_key(decisions)
    known = _LATEST.get(kind)
    if known is None or known[0] != key:
        known = _LATEST[kind] = (key, _learn(decisions))
    return known[1]


def _learn(decisions: Sequence[Decided]) -> _Learnt:
    sure = [one for one in decisions if one.verdict in (State.CONFIRMED, State.REJECTED)]
    confirmed = np.array([one.verdict is State.CONFIRMED for one in sure], dtype=bool)
    scores = np.clip(np.array([one.score for one in sure], dtype=float), 0, 1)
    of_either = min(confirmed.sum(), len(sure) - confirmed.sum()) if len(sure) else 0
    if len(sure) < LEAST_DECIDED or of_either < LEAST_OF_EITHER:
        return _Learnt(_RULE, scores, scores, confirmed)
    from pipeline.tags.fitting import fit  # scikit-learn takes a second to import, and only learning needs it

    done = fit(sure)
    return _Learnt(done.model, done.foretold, scores, done.confirmed)


def decisions_key(decisions: Sequence[Decided]) -> str:
    """Recognises what decisions teach this version of the program."""
    digest = hashlib.blake2b(f"{VERSION}".encode(), digest_size=16)
    for one in sorted(decisions, key=lambda d: d.tag):
        told = (one.tag, one.game, one.family, one.kind, one.verdict, one.score, sorted(one.measures.items()))
        digest.update(repr((*told, sorted(one.traits.items()))).encode())
    return digest.hexdigest()


def _auc(foretold: np.ndarray, confirmed: np.ndarray) -> float:
    """The Mann-Whitney statistic as a share, ties half; NaN where there are none of either."""
    yes, no = foretold[confirmed], foretold[~confirmed]
    if not len(yes) or not len(no):
        return float("nan")
    return float((np.sign(yes[:, None] - no[None, :]).mean() + 1) / 2)
