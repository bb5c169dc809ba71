"""The order of a queue: what staff will most likely confirm comes first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.tags import Tag, TagStore
from pipeline.tags.evidence_model import Basis
from pipeline.tags.ranking import rank


def ranked(store: TagStore, tags: Sequence[Tag]) -> list[Tag]:
    """Tags with their probability where staff's decisions have taught one, likeliest first; else the rule's score."""
    found = rank(store.decisions(), tags) if tags else {}
    told = [replace(tag, probability=_learnt(found[tag.tag].by, found[tag.tag].probability)) for tag in tags]
    return sorted(told, key=lambda tag: (-found[tag.tag].probability, tag.tag))


def _learnt(by: Basis, probability: float) -> float | None:
    return None if by is Basis.RULE else probability
