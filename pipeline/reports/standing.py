"""What staff have said so far of each recogniser's candidates."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from pipeline.library.games import Library
from pipeline.reports.intervals import Estimate
from pipeline.tags.ranking import precision


@dataclass(frozen=True, slots=True)
class Standing:
    """Decisions on one kind: how many were confirmed of those decided, with an interval."""

    kind: str
    precision: Estimate
    unsure: int


def standing_of(library: Library, kinds: Collection[str] | None = None) -> dict[str, Standing]:
    """The standing of kinds of which something was decided, all where none are named."""
    with library.tag_store() as store:
        told = precision(store.decisions())
    found = {}
    for one in told:
        if one.precision is None or (kinds is not None and one.kind not in kinds):
            continue
        judged = Estimate(one.precision.share, one.precision.low, one.precision.high, one.decided)
        found[one.kind] = Standing(one.kind, judged, one.unsure)
    return found
