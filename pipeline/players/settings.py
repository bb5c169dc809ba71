"""Settings of the players room. Every number a film's staff may tune, with its meaning and bounds."""

from __future__ import annotations

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from pipeline.players.tables import BOX_CLASSES


class DetectorSettings(BaseModel):
    """What the detector keeps."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    min_player: float = Field(0.25, gt=0, lt=1, description="Drop players scored below this.")
    min_official: float = Field(0.35, gt=0, lt=1, description="Drop officials scored below this.")
    min_ball: float = Field(0.15, gt=0, lt=1, description="Drop ball sightings scored below this.")
    min_ring: float = Field(0.5, gt=0, lt=1, description="Drop rings scored below this.")
    max_overlap: float = Field(
        0.55, gt=0, le=1, description="Of two boxes of one kind that overlap more than this (IoU), the surer one stays."
    )
    max_body_overlap: float = Field(
        0.7, gt=0, le=1, description="Of a player and an official that overlap more than this, the surer one stays."
    )
    batch: int = Field(4, ge=1, description="Pictures that go through PyTorch together.")

    def thresholds(self) -> np.ndarray:
        """Lowest score per class, in the order of `BOX_CLASSES`, shape (4,)."""
        return np.array([getattr(self, f"min_{name}") for name in BOX_CLASSES])


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
    gate_sigma: float = Field(6.0, gt=0, description="Largest miss of the predicted place, in its standard deviations.")
    freedom: float = Field(5.0, gt=0, description="Degrees of freedom of the places' Student distribution.")
    longest_coast_s: float = Field(0.6, gt=0, description="A body unseen for longer is left to the stitching.")
    width_rate: float = Field(
        1.2, gt=0, description="How fast the logarithm of a box's width wanders, per root second."
    )
    height_rate: float = Field(0.5, gt=0, description="The same for its height.")
    width_sigma: float = Field(0.2, gt=0, description="Spread of the logarithm of one body's width over strides.")
    height_sigma: float = Field(0.08, gt=0, description="The same for its height, over bending and jumping.")
    size_floor: float = Field(4.0, ge=0, description="Most that an odd size can count against a link.")
    kit_sigma: float = Field(9.0, gt=0, description="Spread of one body's kit reading, CIELAB units.")
    kit_weight: float = Field(2.0, ge=0, description="How many independent readings the six kit coordinates are worth.")
    kit_floor: float = Field(3.0, ge=0, description="Most that an odd kit reading can count against a link.")
    kit_memory: int = Field(50, ge=1, description="Sightings over which a body's kit is averaged.")


class StitchSettings(BaseModel):
    """Which tracklets may be one body across a gap."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    short_gap_s: float = Field(0.4, gt=0, description="Gaps up to here are closed first, on motion alone.")
    longest_gap_s: float = Field(12.0, gt=0, description="Gaps longer than this are closed only where a body must be.")
    least_ratio: float = Field(2.0, description="Least log-likelihood ratio to close a short gap.")
    slack: float = Field(0.3, ge=0, description="Error of a place that the motion model does not know, plane units.")
    farthest: tuple[float, float] = Field(
        (14.0, 2.5), description="Spread of where a body may be after any gap, along and across, plane units."
    )
    stature_between: float = Field(0.055, gt=0, description="Spread of log stature over bodies.")
    stature_within: float = Field(0.045, gt=0, description="Spread of one body over some seconds: stances.")
    stature_from: int = Field(25, ge=1, description="Tracklets with fewer sightings say nothing about stature.")
    stature_block: float = Field(150.0, gt=0, description="Sightings after which a stance is another one.")
    stature_floor: float = Field(3.0, ge=0, description="Most that an odd stature can count against a link.")
    fewest_across: int = Field(3, ge=1, description="Tracklets with fewer sightings are not joined across real gaps.")
    beside_s: float = Field(0.1, ge=0, description="Up to here a gap is no real gap.")
    gap_rate: float = Field(1.5, ge=0, description="How much each unseen second in view counts against a link.")
    gap_floor: float = Field(4.0, ge=0, description="Most that a gap's length can count against a link.")
    link_floor: float = Field(12.0, ge=0, description="Most that a link can cost where capacity forces one.")
    extra_cost: float = Field(30.0, ge=0, description="Cost of one more body than there can be: an unsolved puzzle.")
    drop_cost: float = Field(
        1.0, ge=0, description="Cost per sighting of leaving a tracklet out when there is no room."
    )
    fewest_sightings: int = Field(4, ge=1, description="Tracklets with fewer after the short gaps are false alarms.")
    least_density: float = Field(
        0.3, ge=0, le=1, description="Tracklets seen in a smaller share of their frames are too."
    )


class ExchangeSettings(BaseModel):
    """Undoing exchanged identities once whole paths are known."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    least_gain: float = Field(0.5, gt=0, description="Least gain in log-likelihood for which identities are exchanged.")
    least_start: float = Field(
        -15.0, description="Exchanges worse than this are not followed to where they could be taken back."
    )
    block: int = Field(12, ge=1, description="Moments of which only the best one may begin an exchange.")
    window: int = Field(200, ge=2, description="Moments within which an exchange may be taken back.")
    most_starts: int = Field(60, ge=0, description="Exchanges followed in one round, the best first.")
    most_rounds: int = Field(25, ge=1, description="Rounds of the search.")
    unseen_rate: float = Field(3.0, ge=0, description="How much each second unseen in view counts against a path.")
    unseen_floor: float = Field(15.0, ge=0, description="Most that one gap can count so.")
    detour_ft_s: float = Field(5.0, ge=0, description="How fast an unseen body may have left the straight way.")
    edge_heights: float = Field(
        1.0, ge=0, description="Bodies come and go within so many heights of the picture's sides."
    )
    reach_s: float = Field(0.3, ge=0, description="A path is given no sighting farther in time from its others.")
    seen_share: float = Field(0.9, gt=0, lt=1, description="Share of its frames in view in which a body is detected.")


class IdentitySettings(BaseModel):
    """Which pieces of paths are one body, by what bodies show over a whole shot."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    overlap: float = Field(
        0.3, gt=0, le=1, description="Two boxes that share this much of the smaller one may exchange bodies."
    )
    reach_ft: float = Field(2.5, gt=0, description="Two bodies nearer than this on the floor may too.")
    lost_ft: float = Field(4.0, gt=0, description="A body that comes or goes this near another may be that one.")
    encounter_s: float = Field(0.4, ge=0, description="Meetings of two bodies less than this apart are one.")
    clear_share: float = Field(
        0.5, gt=0, le=1, description="A box of which another covers more does not show its body's look."
    )
    look_from: int = Field(3, ge=1, description="Pieces with fewer clear sightings do not tell their look.")
    fit_from_s: float = Field(2.0, gt=0, description="Unbroken paths from this length on teach how bodies look.")
    fit_step_s: float = Field(1.0, gt=0, description="Length of the parts into which they are cut for that.")
    fit_most_s: float = Field(12.0, gt=0, description="Longest stretch of one path taken for one body for that.")
    fewest_parts: int = Field(40, ge=4, description="With fewer parts nothing is learnt.")
    shrinkage: float = Field(0.15, ge=0, le=1, description="Share of a round spread in how one body's look varies.")
    least_gain: float = Field(0.7, gt=0, description="Directions with less variance over bodies than within are left.")
    look_weight: float = Field(0.6, gt=0, description="How far the look is believed: neighbouring parts err alike.")
    look_shared: float = Field(
        0.5, ge=0, description="Error that all sightings of a piece share, in variances of one part's look."
    )
    look_bound: float = Field(4.0, gt=0, description="Looks farther out count as this far, in spreads over bodies.")


class LeanSettings(BaseModel):
    """Which team a sighting's clothes lean to."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    covered: tuple[float, ...] = Field(
        (0.3, 0.5, 0.6, 0.7),
        min_length=1,
        description="Shares of a box that others cover between which its clothes err alike.",
    )
    most_sightings: int = Field(50000, ge=100, description="At most so many sightings, evenly spread, teach it.")
    least_clear: int = Field(10, ge=2, description="Clear sightings that a path needs to teach the teams' difference.")
    shrinkage: float = Field(0.1, ge=0, le=1, description="Share of a round spread in how one team's clothes vary.")
    most_odds: float = Field(4.0, gt=0, description="One sighting never says more than this, as log odds.")
    alike_s: float = Field(0.25, gt=0, description="Sightings within this time err alike and count as one.")
    change_cost: float = Field(
        3.0, ge=0, description="Cost of a path's turning from one team's clothes to the other's."
    )


class BoxTrackingSettings(BaseModel):
    """Tracking boxes without a court: in a picture stabilised by the boxes' own common motion."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    body_ft: float = Field(6.3, gt=0, description="Height of a standing body's box, which gives pixels a scale.")
    speed_along_ft_s: float = Field(6.8, gt=0, description="Standard deviation of velocity across the picture.")
    speed_down_ft_s: float = Field(3.5, gt=0, description="The same down the picture: depth, foreshortened, and jumps.")
    keeps_s: float = Field(1.5, gt=0, description="Time constant with which a body's velocity is forgotten.")
    shape_sigma: float = Field(0.015, ge=0, description="How far limbs move a box's middle, share of its height.")
    wander: float = Field(0.3, ge=0, description="Error of the camera's estimated motion, feet per root second.")
    wander_refined: float = Field(0.2, ge=0, description="The same once followed bodies have steadied it.")
    edge_noise: float = Field(
        0.03, gt=0, description="Edge error as a share of the box's size where it cannot be measured."
    )
    bodies: int = Field(10, ge=1, description="Most bodies that can be in the film.")
    fill_sigma: float = Field(
        0.3, gt=0, description="Gaps are filled where the place is known to this share of a width."
    )
    fill_s: float = Field(1.0, gt=0, description="Longest gap filled, in seconds.")
    followed_speed_ft_s: tuple[float, float] = Field(
        (5.5, 3.0), description="Standard deviation of velocity where whole paths are weighed, across and down."
    )
    followed_keeps_s: tuple[float, float] = Field((1.0, 1.1), description="Time in which that velocity is forgotten.")
    followed_wander: tuple[float, float] = Field((0.1, 0.25), description="Error of the camera's motion there.")
    followed_limbs: tuple[tuple[float, float], tuple[float, float]] = Field(
        ((0.25, 0.25), (0.1, 0.2)),
        description="How far limbs move a box's middle, feet, and for how long, seconds; across and down.",
    )
    limb_sigma: float = Field(0.01, ge=0, description="How far limbs move a box's middle there, share of its height.")
    returns_s: tuple[float, float] = Field(
        (3.0, 4.0), description="Times in which an unseen body is drawn back to the play, across and down."
    )
    height_share: float = Field(0.2, gt=0, lt=1, description="A body's height over the camera's height over the floor.")
    horizon_s: float = Field(0.25, gt=0, description="Time over which the horizon is smoothed.")
    false_boxes: float = Field(0.3, gt=0, description="False boxes to expect in a frame.")
    association: AssociationSettings = AssociationSettings()
    stitching: StitchSettings = StitchSettings()
    exchanges: ExchangeSettings = ExchangeSettings()


class TeamSettings(BaseModel):
    """Two teams by what their players wear."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    lightness_weight: float = Field(0.6, gt=0, description="Weight of L against a and b: light changes, dye does not.")
    part_bound: float = Field(0.8, gt=0, description="Most that jersey or shorts count, share of the teams' gap.")
    least_voting: float = Field(0.2, ge=0, le=1, description="Least share of a track's sightings that must be clear.")
    least_majority: float = Field(0.6, ge=0.5, le=1, description="Least share of the clear ones that must agree.")
    shorts_weight: float = Field(0.8, ge=0, description="Weight of the shorts against the jersey.")
    trimmed_share: float = Field(
        0.15, ge=0, lt=0.5, description="Share of kits, farthest from both teams, left out of the fit."
    )
    least_gap: float = Field(
        9.0, gt=0, description="Kits of two teams differ at least this much, weighted CIELAB units."
    )
    least_margin: float = Field(
        0.25, ge=0, lt=1, description="Nearer team must be nearer by this share of the teams' gap."
    )
    farthest: float = Field(
        1.0, gt=0, description="A kit farther from both teams than this share of their gap is of neither."
    )
    most_kits: int = Field(6000, ge=10, description="At most so many kits, evenly spread over the film, enter the fit.")
    fewest_kits: int = Field(4, ge=2, description="With fewer kits no teams are fitted.")
    trials: int = Field(12, ge=1, description="Starts of the fit; the best is kept.")
    fewest_bodies: int = Field(6, ge=4, description="With fewer paths teams are told by kits alone.")
    shrinkage: float = Field(
        0.5, ge=0, le=1, description="Share of a round spread in how team mates' looks differ: they are few."
    )
    a_side: int = Field(5, ge=1, description="Most players of one team on the floor at once.")
    uneven: float = Field(0.12, gt=0, lt=0.5, description="How far a team's share of all sightings may be from a half.")


class PlacingSettings(BaseModel):
    """Where a body stands, and how well its box says so."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    across_sigma: float = Field(
        0.08, gt=0, description="Error of the feet across the picture, share of the box's width."
    )
    down_sigma: float = Field(0.03, gt=0, description="Error of the feet down the picture, share of the box's height.")
    stance_ft: float = Field(
        0.65,
        ge=0,
        description="How far behind the lowest seen point of the shoes the middle of a stance is.",
    )
    away_share: float = Field(
        0.5, ge=0, le=1, description="How much of what the silhouette says of that distance is believed."
    )
    away_typical_ft: float = Field(0.55, description="What silhouettes say of it on the average.")
    away_bound_ft: float = Field(1.2, ge=0, description="Most that a silhouette can say beyond the average.")
    across_bound: float = Field(
        0.15, ge=0, description="Most that a silhouette can put the feet beside the box's middle, in box heights."
    )
    floor_sigma_ft: float = Field(0.4, gt=0, description="Error of the registered floor, added to every place.")
    covered_doubt: float = Field(
        6.0, ge=0, description="How much the variance of a place grows with the share of its box that others cover."
    )
    hidden_share: float = Field(
        0.5, gt=0, le=1, description="An unseen body is hidden where another's box covers this much of it."
    )
    hidden_behind_ft: float = Field(2.0, ge=0, description="It then stands so far behind that other.")
    hidden_along_ft: float = Field(
        4.0, gt=0, description="Error of that along the line of sight; one second's errors are alike."
    )
    hidden_across_ft: float = Field(3.0, gt=0, description="The same across it.")
    stance_sigma_ft: float = Field(
        0.2, ge=0, description="Error of a place that lasts as long as a stance, which smoothing does not lessen."
    )
    margin_ft: float = Field(
        6.0, ge=0, description="Boxes with their feet farther outside the court are never followed."
    )
    edge_ft: float = Field(
        1.0, ge=0, description="A track whose typical place is farther outside the court is dropped."
    )
    inside_share: float = Field(
        0.5, ge=0, le=1, description="Least share of its sightings that a track must be on the court."
    )
    double_iou: float = Field(
        0.75, gt=0, le=1, description="Two boxes that overlap more are one body; the stronger stays."
    )
    least_score: float = Field(0.1, ge=0, le=1, description="Weaker detections are not looked at.")
    outlier_freedom: float = Field(4.0, gt=0, description="Degrees of freedom of the errors' Student distribution.")


class TrackSettings(BaseModel):
    """The players room: from boxes and cameras to tracks in feet."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    motion: MotionSettings = MotionSettings()
    association: AssociationSettings = AssociationSettings()
    stitching: StitchSettings = StitchSettings(slack=0.5, longest_gap_s=20.0, farthest=(30.0, 16.0), fewest_across=1)
    identities: IdentitySettings = IdentitySettings()
    lean: LeanSettings = LeanSettings()
    teams: TeamSettings = TeamSettings()
    placing: PlacingSettings = PlacingSettings()
    players: int = Field(10, ge=1, description="Most players on the floor.")
    officials: int = Field(3, ge=0, description="Most officials on the floor.")
    official_share: float = Field(
        0.5, ge=0, le=1, description="From this share of official sightings a track is an official."
    )
    shortest_s: float = Field(0.5, ge=0, description="Tracks that span less are dropped.")
    fill_s: float = Field(4.0, ge=0, description="Longest gap of a track that is filled in.")
    fill_sigma_ft: float = Field(5.0, gt=0, description="Filled-in places less certain than this are left out.")


class ReadingSettings(BaseModel):
    """Which torsos are read for a jersey number, and how often."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    looks_per_s: float = Field(3.0, gt=0, description="Frames a second in which numbers are read.")
    most_torsos: int = Field(8, ge=1, description="Most torsos read in one frame; others have their turn later.")
    least_height_px: float = Field(60.0, gt=0, description="Bodies lower than this in the picture are not read.")
    least_breadth: float = Field(0.22, ge=0, description="Narrowest box that is read, width over height.")
    least_body_score: float = Field(0.35, ge=0, le=1, description="Weaker detections are not read and cover nobody.")
    most_covered: float = Field(
        0.15, ge=0, le=1, description="Bodies are not read where a nearer one covers more of the torso."
    )
    least_score: float = Field(0.3, ge=0, le=1, description="Readings less probable than this are not kept.")


class VotingSettings(BaseModel):
    """When the readings of a track are believed."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    least_score: float = Field(0.4, ge=0, le=1, description="Readings less probable than this have no vote.")
    same_box_iou: float = Field(0.7, gt=0, le=1, description="Least overlap of a reading's box with its track's.")
    reading_weight: float = Field(
        0.6, gt=0, le=1, description="What one reading counts against an independent one: they share folds and blur."
    )
    least_likelihood: float = Field(
        0.1, gt=0, le=1, description="A reading speaks no more against a number than one so probable by chance."
    )
    part_share: float = Field(0.15, ge=0, le=1, description="Share of wrong readings that show a part of the number.")
    near_share: float = Field(0.05, ge=0, le=1, description="Share of wrong readings with one digit in its place.")
    noise_share: float = Field(
        0.05, gt=0, le=1, description="Likelihood of any reading where none of the numbers is worn."
    )
    fewest_readings: int = Field(3, ge=1, description="Readings of one number that a track needs at least.")
    least_share: float = Field(0.5, ge=0, le=1, description="Least share of its readings that show this number.")
    least_support: float = Field(2.0, ge=0, description="Least sum of the scores of the readings that show it.")
    least_probability: float = Field(0.98, ge=0, le=1, description="Least probability of the number given them all.")
    least_lead: float = Field(
        3.0, ge=1, description="Of two team mates with one number, only one with so many times the support keeps it."
    )


class NumberSettings(BaseModel):
    """Jersey numbers: reading them, and joining readings to tracks."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    reading: ReadingSettings = Field(ReadingSettings(), description="Reading single pictures.")
    voting: VotingSettings = Field(VotingSettings(), description="What a track's readings come to.")


class ImportSettings(BaseModel):
    """Tracking data from elsewhere. Values are starting values, common practice, no source, where nothing is said."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    slowest_hz: float = Field(5.0, gt=0, description="Slower data is refused; the rules need this rate.")
    fastest_hz: float = Field(60.0, gt=0, description="Faster data is refused.")
    break_s: float = Field(2.0, gt=0, description="After a longer gap a new stretch of play begins.")
    fill_s: float = Field(0.5, ge=0, description="Longest gap in one player's places that is filled in.")
    fill_sigma_ft_s: float = Field(
        6.0, ge=0, description="How fast a filled-in place gets unsure, to the gap's middle."
    )
    usual_sigma_ft: float = Field(0.3, ge=0, description="Uncertainty of places where the data does not say.")
    speed_s: float = Field(0.2, gt=0, description="Speeds are taken over this time before and after.")
    laid_apart_s: float = Field(5.0, gt=0, description="Stretches whose times overlap are laid so far apart.")
    outside_ft: float = Field(6.0, ge=0, description="Players may be this far outside the court.")
    most_outside_share: float = Field(0.05, ge=0, le=1, description="Share of places that may be farther out.")
    narrow_ft: float = Field(20.0, ge=0, description="Play narrower than this across the court is not in feet.")
    fastest_ft_s: float = Field(36.0, gt=0, description="Nobody runs faster; faster steps are jumps.")
    most_jumps_share: float = Field(0.02, ge=0, le=1, description="Share of steps that may be jumps.")
