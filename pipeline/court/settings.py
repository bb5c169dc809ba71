"""Settings of the court room."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

BookName = Literal["fiba", "nba", "ncaa", "nfhs"]
Markings = Literal["all", "edge"]


class MarkSettings(BaseModel):
    """How border points are read off the area network's probabilities."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    most_marks: int = Field(360, ge=40, description="Keep at most this many marks a frame, spread over all borders.")
    side_px: float = Field(2.5, gt=0, description="How far to each side of a border the areas are read, in map pixels.")
    least_contrast: float = Field(
        0.35, ge=0, le=1, description="Drop a border where the areas beside it are less sure."
    )
    least_line: float = Field(
        0.4, ge=0, le=1, description="Ridge of the line probability that counts as a painted line."
    )


class MotionSettings(BaseModel):
    """How the picture's motion is measured, and how often the court network looks at the floor."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    areas_every: int = Field(
        5, ge=1, description="The court network looks at every so manieth analysed frame; motion carries between."
    )
    width_px: int = Field(320, ge=96, le=1280, description="Width of the pictures that the motion is measured on.")
    points: int = Field(120, ge=16, description="Most corners followed from frame to frame.")
    least_points: int = Field(12, ge=4, description="With fewer agreeing corners the motion is unknown.")
    longest_step_s: float = Field(0.5, gt=0, description="Frames farther apart in time are not compared.")
    farthest: float = Field(
        0.12, gt=0, description="The network looks sooner when the picture moved by this share of its width since."
    )
    most_growth: float = Field(0.06, gt=0, description="And when it grew or shrank by this share since.")
    least_floor_share: float = Field(
        0.06, ge=0, le=1, description="Where less of the picture was floor, the network does not look sooner."
    )


class RegistrationSettings(BaseModel):
    """How a camera is found from the marks of a frame, and when it is refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    rule_book: BookName | None = Field(
        None, description="Rule book of the floor; empty to recognise it from the picture."
    )
    markings: Markings | None = Field(
        None,
        description="What cameras are found from: 'all' markings, or the court's 'edge' and centre circle only; empty "
        "to go by the edge where all together explain too few frames of a film.",
    )
    least_explained: float = Field(
        0.5,
        ge=0,
        le=1,
        description="Where cameras explain a smaller share of a film's frames, the court's edge alone is tried.",
    )
    mark_sigma_px: float = Field(
        1.0, gt=0, description="Spread of the marks about the true line, in pixels of a picture 640 wide."
    )
    worth_of_marks: float = Field(
        60.0, gt=0, description="All marks of a frame together count as this many independent measurements."
    )
    centre_sigma_ft: float = Field(22.0, gt=0, description="Prior: spread of the camera's place along the sideline.")
    lens_sigma: float = Field(0.08, gt=0, description="Prior: spread of the lens term k1 about its mean.")
    lens_mean: float = Field(0.06, description="Prior: mean of the lens term k1.")
    roll_sigma_deg: float = Field(1.2, gt=0, description="Prior: spread of the camera's roll.")
    candidates: int = Field(8, ge=1, description="Views taken from the bank and refined for a lone picture.")
    least_agreement: float = Field(
        0.72, ge=0, le=1, description="Refuse a camera whose floor model overlaps the seen areas less than this (IoU)."
    )
    most_residual_px: float = Field(
        2.6, gt=0, description="Refuse a camera whose marks miss the lines by more (robust RMS, picture 640 wide)."
    )
    most_residual_ft: float = Field(2.0, gt=0, description="Refuse a camera whose marks miss by more on the floor.")
    least_inliers: float = Field(
        0.5, ge=0, le=1, description="Refuse a camera that explains a smaller share of the marks."
    )
    least_floor: float = Field(0.08, ge=0, le=1, description="Refuse a picture that shows less floor than this share.")
    least_telling: float = Field(
        0.01, ge=0, le=1, description="Refuse a picture with a smaller share of paints, three-point areas and circle."
    )
    least_marks: int = Field(24, ge=4, description="Refuse a frame with fewer marks.")
    centre_play_ft: float = Field(
        0.7, gt=0, description="Within a film: how far the optical centre strays while the camera pans and zooms."
    )
    lens_play: float = Field(0.03, gt=0, description="Within a film: spread of the lens term while zooming.")
    roll_play_deg: float = Field(0.35, gt=0, description="Within a film: spread of the roll.")
    tracking_gap_s: float = Field(
        1.2, gt=0, description="Start from the neighbour's camera if it is at most this far away in time."
    )
    first_step_s: float = Field(
        0.5,
        ge=0,
        description="In the first pass, fit at most one frame in this time; in half of it where motion is unknown.",
    )
    farthest_start_deg: float = Field(
        3.0, gt=0, description="Try no frame whose pan is less sure than this before its own fit."
    )
    most_carried_ft: float = Field(
        1.2, gt=0, description="Carry a camera to frames without own markings up to this spread on the floor."
    )
    motion_sigma_share: float = Field(
        1.5e-4, gt=0, description="Least spread of a motion measured between pictures, as a share of their width."
    )
    pan_acceleration_deg_s2: float = Field(
        20.0, gt=0, description="How hard the operator turns; more means less smoothing."
    )
    zoom_acceleration_s2: float = Field(
        0.5, gt=0, description="How hard he zooms, in log focal length per second squared."
    )
    pin_sigma_px: float = Field(0.7, gt=0, description="Spread of pinned landmarks, in pixels of a picture 640 wide.")
    most_pin_miss_px: float = Field(
        6.0, gt=0, description="Refuse pins of a frame that miss their landmarks by more (RMS, picture 640 wide)."
    )
    book_frames: int = Field(
        12, ge=1, description="Most frames of a film that vote on the rule book; a clear vote ends after three."
    )
    sure_book_margin: float = Field(
        1.2,
        ge=0,
        description="In a lone picture, rule books whose score is this near to the best are named as possible too.",
    )


class PlaceSettings(BaseModel):
    """Edges of the named places of an NBA half court, in the attack frame; they scale with the rule book."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    block_reach_ft: float = Field(3.0, gt=0, description="Block: at most this far from the lane's edge.")
    block_u_ft: tuple[float, float] = Field((0.0, 6.0), description="Block: u from and to.")
    short_corner_v_ft: tuple[float, float] = Field((10.0, 18.0), description="Short corner: |v| from and to.")
    short_corner_u_ft: tuple[float, float] = Field((-5.0, 3.0), description="Short corner: u from and to.")
    corner_v_ft: float = Field(18.0, gt=0, description="Corner: |v| beyond this.")
    corner_u_ft: float = Field(9.0, description="Corner: u below this.")
    elbow_reach_ft: float = Field(3.5, gt=0, description="Elbow: at most this far from the free-throw line's end.")
    high_post_u_ft: tuple[float, float] = Field(
        (12.0, 19.0), description="High post: u from and to, between the elbows."
    )
    wing_v_ft: tuple[float, float] = Field((14.0, 25.0), description="Wing: |v| from and to.")
    wing_u_ft: tuple[float, float] = Field((9.0, 22.0), description="Wing: u from and to.")
    slot_v_ft: tuple[float, float] = Field((6.0, 14.0), description="Slot: |v| from and to.")
    slot_u_ft: tuple[float, float] = Field((19.0, 32.0), description="Slot and top: u from and to.")
    top_v_ft: float = Field(6.0, gt=0, description="Top: |v| below this.")
    half_court_u_ft: float = Field(32.0, gt=0, description="Half court: u beyond this.")
