"""tags: the candidates that staff look at, and what staff said of them.

Comes in: faults, sets and other candidates of a run; decisions, edits, notes, labels, searches and reels of staff.
Goes out: the tag store of a library, with an append-only history. Does not open films and does not recognise anything.
"""

from pipeline.tags.records import (
    Candidate,
    Decided,
    Deed,
    Family,
    Merge,
    Note,
    Reel,
    ReelConflict,
    ReelItem,
    SavedSearch,
    State,
    Tag,
    TagConflict,
)
from pipeline.tags.store import TagStore

__all__ = [
    "Candidate",
    "Decided",
    "Deed",
    "Family",
    "Merge",
    "Note",
    "Reel",
    "ReelConflict",
    "ReelItem",
    "SavedSearch",
    "State",
    "Tag",
    "TagConflict",
    "TagStore",
]
