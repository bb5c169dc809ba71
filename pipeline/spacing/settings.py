"""Settings of the spacing room: how its measures are taken, and the fault files, which say what a fault is."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, field_validator

from pipeline.shipped import Shipped, shipped
from pipeline.spacing.fault_files import fault_paths, fault_text, read_named_fault
from pipeline.spacing.rules import FaultLibrary

FAULTS_FOLDER = "faults"
"""Folder of the fault files in a configuration folder."""


class SpacingSettings(BaseModel):
    """How spacing is measured, and how the situations are looked for that fault files speak of.

    Where no source is named, the value is common practice of the trade, no source.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    around_s: float = Field(
        0.2, ge=0, description="Others count in the paint when they stand there for this long around the moment."
    )
    foot_ft: float = Field(
        0.5, ge=0, description="A foot reaches this far from where its player is placed; it counts in the paint."
    )
    unseen_s: float = Field(
        0.8, gt=0, description="What a handler did while he was not seen for longer than this is not known."
    )
    peak_within_s: float = Field(1.0, ge=0, description="The peak count is looked for this long around the moment.")
    least_sigma_ft: float = Field(
        0.25, gt=0, description="Places are never taken as surer than this when chances are worked out."
    )
    perimeter_inside_arc_ft: float = Field(
        5.0, ge=0, description="Perimeter players stand at most this far inside the three-point arc's radius."
    )
    perimeter_out_to_ft: float = Field(
        32.0,
        gt=0,
        description="And at most this far from the ring towards half court; beyond it they bring the ball up.",
    )
    settled_ft_s: float = Field(
        9.0, gt=0, description="The attack settles when more than half of the attackers are slower than this."
    )
    middle_within_ft: float = Field(
        3.0, ge=0, description="A player whose |v| is less than this stands in the middle, on neither side."
    )
    stood_s: float = Field(
        6.0, ge=0, description="Who is not placed for at most this long, and went nowhere meanwhile, stood there."
    )
    stood_ft: float = Field(8.0, ge=0, description="He went nowhere when the places before and after are this near.")
    at_paint_ft: float = Field(3.0, ge=0, description="A screen at most this far outside the paint is at the paint.")
    on_way_within_ft: float = Field(
        8.0, gt=0, description="Bodies at most this far from the handler's straight way to the ring are on it."
    )
    traffic_bodies: int = Field(
        3, gt=0, description="With so many on the way the turned corner is the moment, whatever else goes on."
    )
    standing_ft_s: float = Field(
        6.0, gt=0, description="Who is slower than this stands on the way, and is not passing."
    )
    wing_beyond_v_ft: float = Field(14.0, gt=0, description="A catch with |v| beyond this is one on the wing's side.")
    denied_before_s: float = Field(
        1.5, ge=0, description="A denial that ended at most this long before a catch counts."
    )
    fastest_pass_ft_s: float = Field(80.0, gt=0, description="No pass is faster than this.")
    flight_off_s: float = Field(0.2, ge=0, description="A pass may have flown for this much longer than was told.")
    ball_unseen_s: float = Field(
        0.5, ge=0, description="What was done with a ball that was not seen for longer than this is not known."
    )
    next_within_s: float = Field(1.0, gt=0, description="What follows a touch begins at most this long after it.")
    still_s: float = Field(2.0, gt=0, description="Movement during a post-up is judged over this long after the catch.")
    path_step_s: float = Field(
        0.4, gt=0, description="Ways are measured in steps of this length, so that trembling does not add up."
    )
    after_screen_s: float = Field(3.0, gt=0, description="A screener is followed for this long after his screen.")
    late_s_per_ft: float = Field(
        1.0, ge=0, description="For every foot that its places are unsure, a screen may have been this much later."
    )
    corner_after_s: float = Field(
        3.0, gt=0, description="The corner turned off a screen comes at most this long after it."
    )
    screener_set_ft_s: float = Field(4.0, gt=0, description="A screener slower than this is set.")
    set_for_s: float = Field(0.15, ge=0, description="He is slow for at least this long.")
    set_within_s: float = Field(2.0, gt=0, description="A screener comes within this time.")
    screen_handler_ft: float = Field(8.0, gt=0, description="A screener is set at most this far from the handler.")
    screen_defender_ft: float = Field(5.0, gt=0, description="And this far from a defender who guards the handler.")
    screen_guard_ft: float = Field(10.0, gt=0, description="A defender this near to the handler guards him.")
    screen_came_ft: float = Field(3.0, gt=0, description="To screen he has come nearer to the handler by this much.")
    behind_ft: float = Field(
        1.5, ge=0, description="A defender this far behind a cutter, along the cutter's way, runs behind him."
    )
    parted_ft: float = Field(
        10.0, gt=0, description="After a screen or handoff two are together until they are this far apart."
    )
    stops_within_s: float = Field(
        0.4, ge=0, description="A screener who was slow at any time in this long before they meet, stood."
    )
    then_stands_s: float = Field(
        0.6, ge=0, description="And one who is slow at most this long after they met, stands then."
    )
    least_score: float = Field(0.2, ge=0, le=1, description="What is less sure than this is not told.")
    ball_inside_ft: float = Field(28.0, gt=0, description="The hulls are compared as the ball first comes inside this.")
    inside_within_s: float = Field(
        0.5, ge=0, description="If not all ten are placed then, they are taken from at most this long before or after."
    )
    pause_s: float = Field(0.3, ge=0, description="Breaks up to this long do not end what lasts.")
    busy_within_s: float = Field(
        0.3, ge=0, description="A player is busy with an action from this long before it to this long after."
    )


class FaultFile(BaseModel):
    """A file of the fault library as it was read."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    name: str = Field(description="The file's place, for errors.")
    text: str = Field(description="What stands in it.")


class FaultSettings(BaseModel):
    """The fault library: the files of the configuration folder's ``faults/``, read and checked."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    files: tuple[FaultFile, ...] = Field(description="The fault files.")

    @property
    def library(self) -> FaultLibrary:
        """The rules that the files hold."""
        return _library(tuple((one.name, one.text) for one in self.files))

    @field_validator("files")
    @classmethod
    def _are_faults(cls, files: tuple[FaultFile, ...]) -> tuple[FaultFile, ...]:
        _library(tuple((one.name, one.text) for one in files))
        return files


def fault_settings(folder: Path) -> FaultSettings:
    """Read the fault files of a folder.

    Raises
    ------
    SettingsError, LanguageError
        If a file cannot be read or is not written as the language wants.
    """
    return FaultSettings(files=tuple(FaultFile(name=p.name, text=fault_text(p)) for p in fault_paths(folder)))


def shipped_faults() -> FaultSettings:
    """The fault library that comes with the program."""
    return fault_settings(shipped(Shipped.CONFIGS) / FAULTS_FOLDER)


@lru_cache(maxsize=16)
def _library(files: tuple[tuple[str, str], ...]) -> FaultLibrary:
    return tuple(read_named_fault(text, Path(name)) for name, text in files)
