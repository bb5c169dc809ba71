"""Settings of the night room: how a film is run."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from pipeline.backends import Device


class NightSettings(BaseModel):
    """How a film is run."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    analysed_frames_per_s: float = Field(
        12.5, gt=0, le=60, description="How many frames of film a second both networks look at."
    )
    device: Device = Field(
        Device.AUTO, description="Where the networks run: cpu, cuda, or auto (cuda where there is a GPU)."
    )
    network_threads: int = Field(0, ge=0, description="Processor threads for the networks; 0 takes all cores.")
    stretch_s: float = Field(
        2.0, gt=0, description="Film that is looked at together; on a GPU its frames go through a network at once."
    )
    piece_s: float = Field(
        12.0, gt=0, description="Film is looked at in pieces of about this length; a killed run goes on after them."
    )
    workers: int = Field(
        0, ge=0, description="Worker processes of a run; 0 sizes them by cores and memory, 1 does all in one process."
    )
    least_floor_share: float = Field(
        0.06, ge=0, le=1, description="Where less of the picture is floor, nobody is looked for (close-ups, crowd)."
    )
    look_margin_ft: float = Field(
        4.0, ge=0, description="In single pictures, bodies farther off the court than this are not shown."
    )
