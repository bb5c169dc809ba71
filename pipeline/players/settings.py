"""Settings of the players room. Every number a film's staff may tune, with its meaning and bounds."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class MotionSettings(BaseModel):
    """How bodies move on the floor.

    Measured on 2,964 real possessions at 8.33 Hz: velocity has a standard deviation of 6.8 ft/s along the
    court and 3.6 ft/s across, its correlation falls to 1/e after about 1.8 s and 1.2 s, and 99.9 % of speeds
    are below 21.4 ft/s.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    speed_along_ft_s: float = Field(6.8, gt=0, description="Standard deviation of the velocity along the court.")
    speed_across_ft_s: float = Field(5.0, gt=0, description="Standard deviation of the velocity across the court.")
    keeps_s: float = Field(1.5, gt=0, description="Time constant with which a body's velocity is forgotten.")
    top_speed_ft_s: float = Field(30.0, gt=0, description="Nobody runs faster; a link that needs more is refused.")


class AssociationSettings(BaseModel):
    """Which sightings may be one body from frame to frame."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    strong_score: float = Field(0.4, ge=0, le=1, description="Detections from here on may begin a track.")
    least_ratio: float = Field(-1.0, description="Least log-likelihood ratio of a link to a strong detection.")
    least_ratio_weak: float = Field(2.0, description="The same for a weak detection.")
    gate_sigma: float = Field(4.0, gt=0, description="Largest miss of the predicted place, in its standard deviations.")
    longest_coast_s: float = Field(0.6, gt=0, description="A body unseen for longer is left to the stitching.")
    width_rate: float = Field(1.2, gt=0, description="How fast the logarithm of a box's width wanders, per root second.")
    height_rate: float = Field(0.5, gt=0, description="The same for its height.")
    size_floor: float = Field(6.0, ge=0, description="Most that an odd size can count against a link.")
    kit_sigma: float = Field(9.0, gt=0, description="Spread of one body's kit reading, CIELAB units.")
    kit_weight: float = Field(2.0, ge=0, description="How many independent readings the six kit coordinates are worth.")
    kit_floor: float = Field(3.0, ge=0, description="Most that an odd kit reading can count against a link.")
    kit_memory: int = Field(50, ge=1, description="Sightings over which a body's kit is averaged.")


class StitchSettings(BaseModel):
    """Which tracklets may be one body across a gap."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    short_gap_s: float = Field(1.0, gt=0, description="Gaps up to here are closed first, on motion alone.")
    longest_gap_s: float = Field(12.0, gt=0, description="Gaps longer than this are closed only where a body must be.")
    least_ratio: float = Field(1.0, description="Least log-likelihood ratio to close a short gap.")
    slack: float = Field(0.3, ge=0, description="Error of a place that the motion model does not know, plane units.")
    gap_rate: float = Field(1.5, ge=0, description="How much each unseen second in view counts against a link.")
    gap_floor: float = Field(4.0, ge=0, description="Most that a gap's length can count against a link.")
    link_floor: float = Field(12.0, ge=0, description="Most that a link can cost where capacity forces one.")
    drop_cost: float = Field(1.0, ge=0, description="Cost per sighting of leaving a tracklet out when there is no room.")
    fewest_sightings: int = Field(4, ge=1, description="Tracklets with fewer after the short gaps are false alarms.")
    least_density: float = Field(0.3, ge=0, le=1, description="Tracklets seen in a smaller share of their frames are too.")


class BoxTrackingSettings(BaseModel):
    """Tracking boxes without a court: in a picture stabilised by the boxes' own common motion."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    body_ft: float = Field(6.3, gt=0, description="Height of a standing body's box, which gives pixels a scale.")
    speed_along_ft_s: float = Field(6.8, gt=0, description="Standard deviation of velocity across the picture.")
    speed_down_ft_s: float = Field(3.0, gt=0, description="The same down the picture: depth, foreshortened, and jumps.")
    keeps_s: float = Field(1.5, gt=0, description="Time constant with which a body's velocity is forgotten.")
    edge_noise: float = Field(0.03, gt=0, description="Edge error as a share of the box's size where it cannot be measured.")
    bodies: int = Field(10, ge=1, description="Most bodies that can be in the film.")
    fill_sigma: float = Field(0.3, gt=0, description="Gaps are filled where the place is known to this share of a width.")
    fill_s: float = Field(1.0, gt=0, description="Longest gap filled, in seconds.")
    association: AssociationSettings = AssociationSettings()
    stitching: StitchSettings = StitchSettings()
