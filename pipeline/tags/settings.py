"""Settings of the tags room: what is put up for tagging."""

from __future__ import annotations

from difflib import get_close_matches

from pydantic import BaseModel, ConfigDict, Field, field_validator

from pipeline.actions.vocabulary import KIND


class TagSettings(BaseModel):
    """What a run puts up for staff to look at, beside every fault."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    phases_missing: int = Field(
        0,
        ge=0,
        le=10,
        description="Sets are put up when at most so many of the phases that must be there were not found.",
    )
    actions: tuple[str, ...] = Field(
        (), description="Kinds of actions that are put up too, e.g. post_up; a game has dozens of each."
    )

    @field_validator("actions")
    @classmethod
    def _kinds_that_exist(cls, actions: tuple[str, ...]) -> tuple[str, ...]:
        for kind in actions:
            if kind not in KIND:
                near = get_close_matches(kind, KIND, 1)
                hint = f"did you mean '{near[0]}'?" if near else f"there are {', '.join(sorted(KIND))}"
                raise ValueError(f"there is no action '{kind}'; {hint}")
        return actions
