"""Simulated decisions whose truth is known: evidence, the true chance that staff confirm, and what they said."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from pipeline.tags.records import Decided, Family, State

NOW = datetime(2026, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Seen:
    """Evidence of a candidate."""

    score: float
    measures: dict = field(default_factory=dict)
    traits: dict = field(default_factory=dict)


def told(count, seed, *, evidence=1.0, score=0.5, base=0.0, unsure=0.0, games=12):
    """Decisions on one kind, and the true chances.

    Parameters
    ----------
    evidence, score : float
        How much the measures, and the rule's score, tell (0: nothing).
    base : float
        Log odds of a usual candidate.
    """
    rng = np.random.default_rng([seed, 77])
    decisions, chances = [], []
    for number in range(count):
        gap, contact, path = rng.normal(4, 1.5), rng.normal(3, 1), rng.normal(10, 4)
        seen = rng.random() > 0.15
        read = rng.choice(["right", "wrong", "unknown"], p=[0.5, 0.3, 0.2])
        scored = float(np.clip(rng.beta(6, 2), 0.35, 1))
        log_odds = base + score * 8 * (scored - 0.75)
        log_odds += evidence * (-1.2 * (gap - 4) / 1.5 + (0.8 * (3 - contact) if seen else -0.5))
        log_odds += evidence * {"right": 0.7, "wrong": -0.7, "unknown": 0.0}[str(read)]
        chance = 1 / (1 + np.exp(-log_odds))
        verdict = State.CONFIRMED if rng.random() < chance else State.REJECTED
        if rng.random() < unsure:
            verdict = State.UNSURE
        measures = {"receiver_gap_ft": gap, "length_ft": path, "u_ft": rng.normal(15, 5), "v_ft": rng.normal(0, 9)}
        if seen:
            measures["contact_ft"] = contact
        decisions.append(
            Decided(
                tag=number + 1,
                game=f"game-{number % games}",
                kind="pushed_out_catch",
                family=Family.FAULT,
                verdict=verdict,
                score=scored,
                measures=measures,
                traits={"read": str(read), "type": str(rng.choice(["skip", "reversal"]))},
                at=NOW + timedelta(minutes=number),
                who="ana",
            )
        )
        chances.append(chance)
    return decisions, np.array(chances)
