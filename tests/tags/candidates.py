"""Candidates for the tests of the store."""

from __future__ import annotations

from datetime import UTC, datetime

from pipeline.tags import Candidate, Family

NOW = datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)


def candidate(
    t_s: float = 10.0, handler: int = 3, kind: str = "crowded_paint", family: Family = Family.FAULT
) -> Candidate:
    """A candidate around a moment."""
    return Candidate(
        kind=kind,
        family=family,
        shot=0,
        possession=4,
        team=1,
        start_s=t_s - 2,
        end_s=t_s + 1,
        t_s=t_s,
        actors=(("handler", handler), ("defender_in_paint", 8)),
        measures={"count": 5.0},
        traits={"side": "left"},
        score=0.8,
        severity="fault",
        sentence="5 others stand in the paint.",
    )
