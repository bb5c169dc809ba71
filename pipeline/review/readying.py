"""What the first visitor would wait for, done as a server starts: over a season some ten seconds."""

from __future__ import annotations

from contextlib import suppress

from pipeline.errors import ElbowroomError
from pipeline.find import Filters, search
from pipeline.review.night_page import summary_of
from pipeline.review.site import Site


def ready(own: Site) -> None:
    """Learn from the decisions, sum up the night, bring the search's index up to date.

    What goes wrong here is left to the page that needs it: it says so to whoever opens it.
    """
    with suppress(ElbowroomError):
        summary_of(own)
    with suppress(ElbowroomError):
        search(own.library, Filters(limit=0), own.settings)
