"""Settings of the spacing room: measures, and the fault rules that staff may edit in ``configs/faults.toml``."""

from __future__ import annotations

from enum import StrEnum

from pydantic import BaseModel, ConfigDict, Field


class Severity(StrEnum):
    """How much a fault costs, as the staff see it."""

    NOTE = "note"
    FAULT = "fault"
    SEVERE = "severe"


class CrowdedPaintSettings(BaseModel):
    """The crowded-paint fault: too many bodies in the paint as the handler arrives."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    sentence: str = Field(
        "{count} others stand in the paint as {handler} {moment}.",
        description="What the tag says; {count}, {handler} (name, number or 'the handler') and {moment} are filled in.",
    )
    severity: Severity = Field(Severity.FAULT, description="Severity at the threshold: note, fault or severe.")
    others_at_least: int = Field(
        5, ge=1, le=9, description="This many others (both teams, the handler not counted) make the paint crowded."
    )
    severe_at_least: int = Field(7, ge=1, le=10, description="From this many others on it is severe.")
    around_s: float = Field(
        0.2, ge=0, description="They stand there for this long around the moment, half of it before."
    )
    one_candidate_within_s: float = Field(
        3.0, ge=0, description="Moments of one handler nearer in time than this make one candidate."
    )
    peak_within_s: float = Field(1.0, ge=0, description="The peak count is looked for this long around the moment.")
    least_sigma_ft: float = Field(
        0.25, gt=0, description="Places are never taken as surer than this when the score is worked out."
    )


class FaultSettings(BaseModel):
    """The fault library; one section per fault."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    crowded_paint: CrowdedPaintSettings = Field(CrowdedPaintSettings(), description="The crowded-paint fault.")
