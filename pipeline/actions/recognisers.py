"""The recognisers, in the order in which they run, and the one function that runs them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import pyarrow as pa

from pipeline.actions.ball_events import DeadDribbles, Handoffs, Passes, Rebounds, Shots, Touches, Turnovers
from pipeline.actions.corners import CornersTurned
from pipeline.actions.cuts import Cuts
from pipeline.actions.denial import Denials
from pipeline.actions.drives import Drives
from pipeline.actions.events import Event, events_to_table
from pipeline.actions.isolations import Isolations
from pipeline.actions.off_ball_screens import OffBallScreens
from pipeline.actions.on_ball_screens import OnBallScreens
from pipeline.actions.posts import PostUps
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stands import Stands
from pipeline.actions.tables import ACTIONS
from pipeline.actions.view import PossessionView
from pipeline.actions.view_building import each_view
from pipeline.court.rule_books import RuleBook


class Recogniser(Protocol):
    """What an action recogniser must offer.

    Attributes
    ----------
    kinds : tuple of str
        The kinds of the events it finds.
    needs : tuple of str
        Tables and kinds of earlier events that it reads.
    """

    @property
    def kinds(self) -> tuple[str, ...]: ...

    @property
    def needs(self) -> tuple[str, ...]: ...

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Events of its kinds in one possession; ``earlier`` holds what recognisers before it found there."""


RECOGNISERS: tuple[Recogniser, ...] = (
    Touches(), DeadDribbles(), Denials(), Passes(), Handoffs(), Shots(), Rebounds(), Turnovers(),
    OnBallScreens(), CornersTurned(), OffBallScreens(), Drives(), PostUps(), Isolations(), Cuts(), Stands(),
)  # fmt: skip
"""Every recogniser. One that reads another's events stands after it."""


def find_actions(
    tracks: pa.Table,
    ball: pa.Table,
    touches: pa.Table,
    possessions: pa.Table,
    book: RuleBook,
    settings: ActionSettings,
) -> pa.Table:
    """Run every recogniser over every possession.

    Returns
    -------
    pa.Table
        The ``actions`` table, in order of time.
    """
    found: list[Event] = []
    for view in each_view(tracks, ball, touches, possessions, book, settings):
        found.extend(actions_in(view, settings))
    return events_to_table(found, ACTIONS)


def actions_in(view: PossessionView, settings: ActionSettings) -> list[Event]:
    """What every recogniser finds in one possession."""
    found: list[Event] = []
    for recogniser in RECOGNISERS:
        found.extend(recogniser.find(view, found, settings))
    return found
