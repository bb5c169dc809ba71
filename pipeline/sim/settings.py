"""Settings of the sim room: what ``elbowroom sim`` makes."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

PlanName = Literal[
    "weak_side_motion",
    "crowded_drive",
    "clear_drive",
    "unscripted",
    "transition",
    "free_throws",
    "excerpt",
    "game",
    "drill",
]


class SimSettings(BaseModel):
    """One simulated film. The same settings and seed give the same truth; another seed another game and look."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    plan: PlanName = Field(
        "crowded_drive",
        description="The script, 'excerpt' (two minutes with cuts), 'game' or 'drill' (all scripts).",
    )
    seed: int = Field(1, ge=0, description="Decides movement, cameras, cuts and look.")
    rule_book: Literal["fiba", "nba", "ncaa", "nfhs"] | None = Field(
        None, description="Court markings; drawn from the seed when left out."
    )
    look_seed: int | None = Field(None, ge=0, description="Another look for the same game.")
    venue: Literal["arena", "hall", "gym"] = Field("arena", description="Kind of building.")
    width_px: int = Field(1280, ge=160, le=3840, multiple_of=2, description="Width of the picture.")
    height_px: int = Field(720, ge=90, le=2160, multiple_of=2, description="Height of the picture.")
    rate: str | None = Field(
        None, description="Frames per second, e.g. 25 or 30000/1001; drawn from the seed when left out."
    )
    minutes: float = Field(5.0, gt=0, le=120, description="Length of the plans 'game' and 'drill'.")
    bodies: int | None = Field(
        None, ge=0, le=7, description="Others in the paint on the scripted drive; 5 or 2 when left out."
    )
    quality: Literal["good", "bad"] | None = Field(None, description="Execution of the set; drawn when left out.")
    bit_rate: int = Field(3_500_000, ge=100_000, description="Bits per second at 1280x720.")
    workers: int = Field(2, ge=1, le=128, description="Drawing processes.")
