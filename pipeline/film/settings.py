"""Settings of the film room."""

from pydantic import BaseModel, ConfigDict, Field


class DecodeSettings(BaseModel):
    """How much damage a film may have, and how it is decoded."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    threads: int = Field(2, ge=0, description="Decoder threads per film; 0 takes all cores.")
    largest_lost_share: float = Field(
        0.02, ge=0, le=1, description="Refuse a film that loses a larger share of its pictures to damage."
    )
    largest_missing_tail_s: float = Field(
        2.0, ge=0, description="Refuse a film that ends this many seconds before the length it announces."
    )
    longest_recovery_s: float = Field(
        5.0,
        gt=0,
        description="After damage, skip pictures up to the next whole one, but at most this long, in seconds.",
    )


class ShotSettings(BaseModel):
    """Where shots end. Changes are in grey levels (0…255) of a picture shrunk to cells."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    width_px: int = Field(160, ge=64, description="Width to which frames are shrunk before shots are looked for.")
    cut_ratio: float = Field(
        2.0, gt=1, description="A cut changes the picture this many times more than its neighbours."
    )
    cut_window_frames: int = Field(2, ge=1, description="Neighbours on each side to which a cut is compared.")
    cut_change: float = Field(
        10.0, gt=0, description="A cut changes hue, saturation and brightness by this much on average."
    )
    cut_look_s: float = Field(0.2, gt=0, description="How long before and after a cut the shots are looked at.")
    cut_jump: float = Field(7.0, ge=0, description="A cut changes the coarsely seen picture by at least this much.")
    cut_over_drift: float = Field(
        1.3, gt=0, description="A cut jumps this many times further than either shot drifts then."
    )
    flash_return: float = Field(
        0.35,
        ge=0,
        le=1,
        description="After a flash the picture differs from before it by less than this share of the jump.",
    )
    shortest_shot_s: float = Field(0.3, gt=0, description="No shot is shorter, in seconds.")
    memory_s: float = Field(2.0, gt=0.5, description="Stretch of small pictures kept for gradual transitions.")
    gradual_lengths_s: tuple[float, ...] = Field(
        (0.48, 0.8, 1.2, 1.6), description="Windows in which a whole gradual transition is looked for."
    )
    gradual_sample_s: float = Field(0.04, gt=0, description="Time between the pictures compared in such a window.")
    gradual_step_s: float = Field(0.08, gt=0, description="How often the windows are tested.")
    longest_gradual_s: float = Field(1.4, gt=0, description="A gradual transition lasts at most this long.")
    merge_s: float = Field(0.2, ge=0, description="Fronts this close together belong to one wipe.")
    merge_quality: float = Field(
        0.85, gt=0, le=1, description="Findings worse than this share of the best are not merged."
    )
    length_cost: float = Field(0.15, ge=0, description="Quality that a finding loses for each second of its length.")
    absorb_s: float = Field(0.35, ge=0, description="A cut this close to a gradual transition belongs to it.")
    wipe_change: float = Field(
        22.0, gt=0, description="A wipe changes a cell by at least this much from picture to picture."
    )
    wipe_cover: float = Field(0.8, gt=0, le=1, description="Share of the cells that a wipe changes.")
    wipe_steps: float = Field(4.0, gt=0, description="A wipe changes the usual cell in at most this many pictures.")
    wipe_calm: float = Field(
        0.25, ge=0, le=1, description="Before and after it no larger share of the cells changes so."
    )
    wipe_order: float = Field(
        0.75, gt=0, le=1, description="R squared of a smooth surface through the times of the first or last change."
    )
    wipe_order_other: float = Field(0.4, gt=0, le=1, description="R squared for the other of the two.")
    wipe_quality: float = Field(
        0.66, ge=0, le=1, description="Least mean of the two R squared times the share of cells."
    )
    wipe_clean_cover: float = Field(
        0.95, gt=0, le=1, description="One front is enough if a wipe changes this share of the cells."
    )
    wipe_clean_calm: float = Field(0.12, ge=0, le=1, description="And if before and after it at most this share does.")
    wipe_clean_order: float = Field(0.68, gt=0, le=1, description="And if R squared of that front is this much.")
    wipe_spread_s: float = Field(0.15, gt=0, description="Least time a wipe takes to cross the picture.")
    dissolve_change: float = Field(
        12.0, gt=0, description="A dissolve joins pictures that differ by at least this much."
    )
    dissolve_residual: float = Field(
        0.2, gt=0, le=1, description="Largest share of the change that is no blend of the two pictures."
    )
    dissolve_contrast: float = Field(
        0.75, gt=0, le=1, description="In the middle of a dissolve the detail falls below this share of the shots'."
    )


class LiveSettings(BaseModel):
    """Which shots are live main-camera play. Weights are log odds that add up."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    thumb_every_s: float = Field(
        1.0, gt=0, description="Time between the small pictures kept to find the score graphic."
    )
    thumb_width_px: int = Field(192, ge=64, description="Their width.")
    longest_flow_s: float = Field(0.3, gt=0, description="Motion is measured between frames at most this far apart.")
    edge_s: float = Field(0.2, ge=0, description="Frames this close to a shot's ends are not judged.")

    least_floor_share: float = Field(0.15, ge=0, le=1, description="A court view shows at least this share of floor.")
    most_person_share: float = Field(
        0.5, gt=0, le=1, description="People of a court view are at most this high, of the picture."
    )
    least_people: float = Field(
        4, ge=0, description="A court view shows at least this many people, where they are counted."
    )
    closeup_person_share: float = Field(
        0.55, gt=0, le=1, description="From this height on, one person makes a close-up."
    )
    crowd_detail: float = Field(
        9.0, gt=0, description="A crowd has at least this mean gradient, grey levels per pixel."
    )
    crowd_motion: float = Field(0.1, ge=0, description="Nothing in a crowd moves faster, picture widths per second.")
    still_change: float = Field(
        0.45, ge=0, description="A graphic changes less than this from frame to frame, grey levels."
    )

    live_prior: float = Field(
        1.0, ge=0, description="How much more likely a court view is live than a replay, at first."
    )
    bug_missing: float = Field(2.5, ge=0, description="Weight for a replay when the score graphic is missing.")
    bug_not_read: float = Field(
        4.0, ge=0, description="The same where the graphic was found and read elsewhere in the film: surer."
    )
    bug_present: float = Field(2.0, ge=0, description="Weight against a replay when it is there.")
    clock_runs: float = Field(2.0, ge=0, description="Weight against a replay when the game clock runs in it.")
    clock_disagrees: float = Field(
        5.5, ge=0, description="Weight for a replay when its clock shows another time than the game's."
    )
    slow_motion: float = Field(1.2, ge=0, description="Weight for a replay when people move slowly.")
    slow_ratio: float = Field(0.6, gt=0, lt=1, description="Slowly: below this share of the film's usual speed.")
    usual_motion: float = Field(0.6, ge=0, description="Weight against a replay at the usual speed.")
    repeated_pictures: float = Field(1.5, ge=0, description="Weight for a replay when its pictures are repeated.")
    too_long_s: float = Field(25.0, gt=0, description="Replays are rarely longer.")
    too_long: float = Field(2.5, ge=0, description="Weight against a replay when the shot is longer.")
    wipe_stays: float = Field(1.5, ge=0, description="Cost of no change between live and replay at a wipe.")
    wipe_changes: float = Field(0.0, ge=0, description="Cost of a change there.")
    dissolve_stays: float = Field(0.4, ge=0, description="Cost of no change between live and replay at a dissolve.")
    dissolve_changes: float = Field(1.0, ge=0, description="Cost of a change there.")
    cut_changes: float = Field(2.0, ge=0, description="Cost of a change between live and replay at a plain cut.")
    odd_wipe_share: float = Field(0.35, ge=0, le=1, description="Wipes less alike than this to every other cost half.")
    least_live_s: float = Field(1.0, ge=0, description="Shorter court views are not counted as live play.")
    least_registered: float = Field(
        0.15, ge=0, le=1, description="A shot of which less was registered on the court is not live after all."
    )


class BugSettings(BaseModel):
    """How the score graphic is found and read."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    pictures: int = Field(48, ge=8, description="Pictures over the film in which the score graphic is looked for.")
    finding_pictures: int = Field(6, ge=2, description="Of these, pictures in which lines of text are looked for.")
    largest_share: float = Field(
        0.3, gt=0, le=1, description="If more of the picture than this stays in place, text is looked for everywhere."
    )
    least_readable: float = Field(
        0.35, gt=0, le=1, description="Share of a cell's readings that must be times for it to be the game clock."
    )
    read_every_s: float = Field(0.25, gt=0, description="Time between two readings of the game clock and shot clock.")
    read_slow_every_s: float = Field(2.0, gt=0, description="Time between two readings of the period and the scores.")
    same_change: float = Field(
        0.3, ge=0, description="A cell whose edges changed less than this share of their strength is not read again."
    )
    renew_s: float = Field(1.5, ge=0, description="A cell is read again after this time even if it looks the same.")


class ClockSettings(BaseModel):
    """How readings become a game clock. Costs are in readings of full score."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    least_score: float = Field(0.6, ge=0, le=1, description="Readings less sure than this are left out.")
    slack_s: float = Field(0.6, ge=0, description="A clock may be this far from running at one second a second.")
    jump_cost: float = Field(
        4.0, ge=0, description="Cost of a jump that no running clock makes (a cut in the film, a correction)."
    )
    period_cost: float = Field(2.0, ge=0, description="Cost of a jump to the start of a period.")
    memory: int = Field(60, ge=2, description="Readings back to which a reading is tied.")
    reach_s: float = Field(0.6, gt=0, description="A frame this close to a reading counts as read.")
    carry_s: float = Field(4.0, ge=0, description="Over a gap up to this long the clock is carried.")


class FilmSettings(BaseModel):
    """All settings of the film room."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    bug: BugSettings = Field(BugSettings(), description="The score graphic.")
    clock: ClockSettings = Field(ClockSettings(), description="The game clock.")
    decode: DecodeSettings = Field(DecodeSettings(), description="Decoding and damage.")
    live: LiveSettings = Field(LiveSettings(), description="Live play.")
    shots: ShotSettings = Field(ShotSettings(), description="Shot boundaries.")
