"""tags: the candidates that staff look at, and what staff said of them.

Comes in: ``faults`` and other candidates. Goes out: the tag store of a library, with an append-only
history. Does not open films and does not recognise anything.
"""

from pipeline.tags.records import Candidate, Merge, Note, State, Tag
from pipeline.tags.store import TagStore

__all__ = ["Candidate", "Merge", "Note", "State", "Tag", "TagStore"]
