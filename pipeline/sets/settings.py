"""Settings of the sets room."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from pipeline.sets.definition import SetDefinition
from pipeline.sets.library import FOLDER as SETS_FOLDER
from pipeline.sets.library import read_named_sets, set_texts
from pipeline.shipped import Shipped, shipped


class SetSettings(BaseModel):
    """How plays are matched. All limits are common practice or reasoning, no source."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    longest_wait_s: float = Field(
        8.0, gt=0, description="A phase without a time of its own comes at most this long after the phase before it."
    )
    order_slack_s: float = Field(0.4, ge=0, description="Times and orders may be missed by this much.")
    longest_s: float = Field(24.0, gt=0, description="Longest play, where its file does not say.")
    place_reach_ft: float = Field(
        3.0,
        ge=0,
        description="This far outside a named place still counts as being there, for near_share of the score.",
    )
    settles_s: float = Field(
        2.0, ge=0, description="Where players start is looked at from this long before the first action up to it."
    )
    side_from_ft: float = Field(2.0, ge=0, description="Nearer to the middle than this is on either side.")
    middle_within_ft: float = Field(6.0, gt=0, description="In the middle: this near to the line through the rings.")
    near_share: float = Field(
        0.85, gt=0, le=1, description="Share of the score that is left when a place is nearly met."
    )
    unknown_share: float = Field(
        0.9, gt=0, le=1, description="Share of the score that is left for each thing asked for and not seen."
    )
    ideally_share: float = Field(0.8, gt=0, le=1, description="Share that is left when an 'ideally' is not met.")
    usually_share: float = Field(
        0.9, gt=0, le=1, description="Share that is left when a player is not where he usually starts."
    )
    ending_weight: float = Field(
        0.5, ge=0, description="Weight of an ending in the score; a phase that must be there weighs 1."
    )
    usual_weight: float = Field(0.5, ge=0, description="Weight of a usual phase in the score.")
    optional_weight: float = Field(0.1, ge=0, description="Weight of an optional phase in the score.")
    partial_share: float = Field(
        0.65,
        gt=0,
        le=1,
        description="A play is reported in part when this share of its phases was found, and two at least.",
    )
    least_score: float = Field(0.25, ge=0, le=1, description="Plays that score less are not reported.")
    apart_share: float = Field(
        0.3,
        ge=0,
        le=1,
        description="Of two matches of one play that share more than this of the shorter one's time one is kept.",
    )
    unseen_at_most: int = Field(
        1,
        ge=0,
        description="At so many moments what must be there may have gone unseen or untold.",
    )
    unseen_beside: int = Field(
        2,
        ge=1,
        description="With a phase unseen, at least so many others were found, those that may be there among them.",
    )
    unseen_from_s: float = Field(0.5, gt=0, description="The ball is out of sight when it is not seen for this long.")
    unseen_sighting: float = Field(0.3, ge=0, le=1, description="A sighting of the ball counts from this score on.")
    unseen_flight_s: float = Field(
        0.7, gt=0, description="A pass out of sight is caught about this long after the ball was last seen."
    )
    unseen_with_ft: float = Field(
        6.0,
        ge=0,
        description="A ball that is next seen this near to the passer, and nearer than to another, never left.",
    )
    unseen_back_s: float = Field(
        2.5, gt=0, description="Seen after a longer time than this, it may have left and come back."
    )
    unseen_handoff_ft: float = Field(
        4.0,
        gt=0,
        description="A ball screen with the ball out of sight, the two no farther apart than this, may be a handoff.",
    )
    unseen_handoff_score: float = Field(0.7, ge=0, le=1, description="What such a handoff scores.")
    unseen_score: float = Field(0.5, ge=0, le=1, description="What a pass that went unseen scores.")
    unseen_stood_s: float = Field(
        1.5, ge=0, description="Who stood for this long before the ball went out of sight would have got it earlier."
    )
    unseen_stood_share: float = Field(0.8, gt=0, le=1, description="Share of that score that is left for him.")
    met_within_ft: float = Field(
        4.0, ge=0, description="Two who met this near may have screened although no screen was told; 0: never."
    )
    met_around_s: float = Field(
        0.8, gt=0, description="Whether one of them was hidden is looked at for this long before and after they met."
    )
    met_stood_ft_s: float = Field(
        4.0, ge=0, description="Where nobody was hidden, the screener is no faster than this about then."
    )
    met_ran_ft_s: float = Field(6.0, ge=0, description="Where nobody was hidden, the other is at least this fast.")
    untold_screen_score: float = Field(0.5, ge=0, le=1, description="What such a screen scores.")
    steps_at_most: int = Field(
        20000, ge=100, description="A search in one possession gives up after so many steps and keeps the best so far."
    )


class SetFile(BaseModel):
    """A file of the set library."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    name: str = Field(description="The file's place, for errors.")
    text: str = Field(description="What stands in it.")


class SetLibrarySettings(BaseModel):
    """The set library: the files of the configuration folder's ``sets/``."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    files: tuple[SetFile, ...] = Field(description="The set files.")

    @property
    def definitions(self) -> tuple[SetDefinition, ...]:
        """The sets that the files hold, read when they are asked for.

        Raises
        ------
        SettingsError, LanguageError
            If one is not written as the language wants.
        """
        return _definitions(tuple((one.name, one.text) for one in self.files))


def set_library(configs: Path) -> SetLibrarySettings:
    """The set files of a configuration folder."""
    return SetLibrarySettings(
        files=tuple(SetFile(name=str(p), text=text) for p, text in set_texts(configs / SETS_FOLDER))
    )


def shipped_sets() -> SetLibrarySettings:
    """The set library that comes with the program."""
    return set_library(shipped(Shipped.CONFIGS))


@lru_cache(maxsize=16)
def _definitions(files: tuple[tuple[str, str], ...]) -> tuple[SetDefinition, ...]:
    return read_named_sets(tuple((Path(name), text) for name, text in files))
