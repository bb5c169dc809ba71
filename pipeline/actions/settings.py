"""Settings of the actions room; every default is the glossary's, its source in the description."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from pipeline.actions.screen_settings import (
    CornerSettings,
    CoverageSettings,
    OffBallScreenSettings,
    OnBallScreenSettings,
    ScreenTypeSettings,
)


class DriveSettings(BaseModel):
    """When a handler's way to the ring is a drive."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    gain_ft: float = Field(8.0, gt=0, description="A drive brings the handler at least this much nearer to the ring.")
    speed_ft_s: float = Field(8.0, gt=0, description="While driving the handler is faster than this.")
    ends_within_ft: float = Field(14.0, gt=0, description="A drive ends within this distance of the ring.")
    pause_s: float = Field(0.25, ge=0, description="A slower or sideways moment up to this long does not end a drive.")
    fast_ft: float = Field(
        4.0, gt=0, description="Faster than that for at least this much ground (common practice, no source)."
    )
    nears_ft_s: float = Field(2.0, gt=0, description="A drive goes on while he nears the ring at this speed.")
    finish_s: float = Field(1.0, ge=0, description="Slower than a drive's speed it goes on for at most this long.")
    run_up_s: float = Field(
        0.8, ge=0, description="How long before his first fast step with the ball a drive may begin (common practice)."
    )
    with_ball_ft: float = Field(5.0, ge=0, description="Ground that is gained with the ball in any case.")
    ball_seen: float = Field(
        0.33, ge=0, le=1, description="Share of a drive's time near which the ball must have been seen."
    )
    after_screen_s: float = Field(
        2.0, ge=0, description="A drive that starts this soon after an on-ball screen came off it."
    )
    tolerance_ft: float = Field(3.0, gt=0, description="Uncertainty of a place at which a drive is half trusted.")
    after_hold_s: float = Field(
        0.4, ge=0, description="How long after the last sure hold the foot may still enter the paint on the same drive."
    )


class ViewSettings(BaseModel):
    """How a possession's tables become even arrays."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    step_s: float = Field(0.04, gt=0, description="Time between two moments of a possession, whatever the film's rate.")
    smooth_s: float = Field(
        0.12, ge=0, description="Speeds are slopes over neighbours weighted by a Gaussian of this sigma in time."
    )
    bridge_s: float = Field(0.6, gt=0, description="Sightings of a player at most this far apart are joined.")
    steady_s: float = Field(0.25, gt=0, description="Sightings nearer in time than this count as seen throughout.")
    strays_ft_s: float = Field(
        4.0, ge=0, description="How fast a place gets less sure inside a longer gap; a player can change his way."
    )
    ball_score: float = Field(0.2, ge=0, le=1, description="The ball's height is believed from sightings this sure.")
    height_s: float = Field(0.12, gt=0, description="A sighting tells the ball's height for this long around it.")
    around_s: float = Field(0.25, ge=0, description="A view begins this long before its possession.")
    after_s: float = Field(0.65, ge=0, description="A view ends this long after its possession.")
    rebound_s: float = Field(3.0, ge=0, description="A view lasts until the rebound is taken, but no longer than this.")
    turnover_s: float = Field(
        2.5, ge=0, description="Who has the ball this long after a possession without a shot has taken it."
    )
    side_v_ft: float = Field(6.0, gt=0, description="With the ball beyond this |v|, its side of the floor is told.")
    one_place_ft: float = Field(
        0.15, ge=0, description="Two tracks this near to each other for ``one_place_s`` are one body told twice."
    )
    one_place_s: float = Field(0.3, gt=0, description="Shorter than this two tracks may cross at one spot.")
    merging_ft: float = Field(
        1.0, gt=0, description="Such two are merging from this distance on; how far apart they are is then not known."
    )
    merged_sigma_ft: float = Field(1.5, gt=0, description="Uncertainty of the places of two bodies told at one spot.")


class BallSettings(BaseModel):
    """Touches and what happens between them."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    flight_s: float = Field(2.5, gt=0, description="A pass is in the air for less than this (glossary).")
    dead_after_s: float = Field(
        0.7, gt=0, description="After this long without a dribble the dribble is dead (glossary, from memory)."
    )
    dribble_known: float = Field(
        0.7, gt=0, le=1, description="Share of the time in which the ball must be seen to say that it was not dribbled."
    )
    bounce_s: float = Field(
        1.0, ge=0, description="Two slow dribbles' time: so much longer where a hold is not sure at all."
    )
    bounced_ft: float = Field(
        3.0,
        gt=0,
        description="Mean height of a dribbled ball is below this: between floor and waist (common practice).",
    )
    lifts_s: float = Field(0.15, ge=0, description="Time in which the ball comes up from the last bounce to the hands.")
    low_ft: float = Field(2.0, gt=0, description="A ball lower than this is not in the hands (a knee's height).")
    low_share: float = Field(0.1, ge=0, le=1, description="Share of stray sightings below that in a dead dribble.")
    held_known: float = Field(0.5, gt=0, le=1, description="Share of its time in which the ball must be seen so.")
    unseen_s: float = Field(0.5, gt=0, description="Unseen for longer than this it may have been bounced.")
    handoff_within_ft: float = Field(
        6.5, gt=0, description="Giver and receiver are at most this far apart (Hauri and Vucetic 2022)."
    )
    handoff_reach_ft: float = Field(
        5.0,
        gt=0,
        description="And come this near about it, two outstretched arms: else a short toss (common practice).",
    )
    handoff_meets_ft: float = Field(
        3.2,
        gt=0,
        description="Two who run so near past each other may be farther apart as the ball leaves one of them.",
    )
    handoff_flight_s: float = Field(
        0.32, gt=0, description="A handoff's ball is between the hands for at most this (Stephanos et al. 2022)."
    )
    ends_s: float = Field(
        0.2, ge=0, description="So far apart may film put two holds beyond that where the ball was told to be handed."
    )
    dump_off_ft: float = Field(
        8.0, ge=0, description="Nearer to the ring than this a short pass is a dump-off (common practice, no source)."
    )
    handoff_front_ft: float = Field(
        2.0, description="A handoff is made at least this far inside the front court (common practice, no source)."
    )
    told_moves_ft_s: float = Field(
        3.0,
        ge=0,
        description="Where the ball says handoff the receiver moves at least at this speed (glossary: moves).",
    )
    handoff_around_s: float = Field(0.3, gt=0, description="The receiver moves within this time of the handoff.")
    told_around_s: float = Field(
        0.8, gt=0, description="Where the ball says handoff, within this: he comes for the ball or goes off with it."
    )
    giver_stands_ft_s: float = Field(
        5.0, gt=0, description="A giver faster than this must go towards the receiver (common practice, no source)."
    )
    receiver_moves_ft_s: float = Field(
        5.0, gt=0, description="The receiver is faster than this around the handoff (common practice, no source)."
    )
    denied_before_s: float = Field(1.2, ge=0, description="A denial this soon before a pass belongs to it.")
    entry_from_ft: float = Field(
        15.0, gt=0, description="A post entry is thrown from at least this far from the ring (common practice)."
    )
    post_catch_ft_s: float = Field(
        6.0, gt=0, description="Who catches beside the lane slower than this posts up (the glossary's post-up speed)."
    )
    post_inside_ft: float = Field(3.0, ge=0, description="The post begins this far inside the lane's edge (glossary).")
    post_wide_ft: float = Field(
        18.0, gt=0, description="The post ends at this |v|, the short corner's edge (glossary)."
    )
    post_far_v_ft: float = Field(
        14.0, gt=0, description="Beyond this |v|, where the wings begin, only the low post counts."
    )
    post_low_u_ft: float = Field(10.0, gt=0, description="The low post ends this far from the ring, along u.")
    post_high_u_ft: float = Field(
        12.0, gt=0, description="The mid-post ends this far from the baseline side (common practice, no source)."
    )
    skip_ft: float = Field(25.0, gt=0, description="A skip pass is longer than this and crosses the lane (glossary).")
    inside_ft: float = Field(14.0, gt=0, description="A kick-out comes from within this distance of the ring.")
    outside_ft: float = Field(19.0, gt=0, description="A kick-out is caught at least this far from the ring.")
    swing_v_ft: float = Field(
        14.0, gt=0, description="A reversal brings the ball from beyond this |v|, where the wings begin, or to there."
    )
    edge_s: float = Field(0.3, ge=0, description="Times this little outside what was seen are taken from its edge.")
    takes_for_s: float = Field(
        0.4, ge=0, description="A doubtful hold by a defender shorter than this has taken nothing [C]."
    )
    tolerance_ft: float = Field(3.0, gt=0, description="Uncertainty of a place at which a ball event is half trusted.")


class StandSettings(BaseModel):
    """When a player stands at a place."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    speed_ft_s: float = Field(4.0, gt=0, description="Who stands is slower than this (common practice, no source).")
    for_s: float = Field(0.5, gt=0, description="He stays for at least this long.")
    pause_s: float = Field(0.12, ge=0, description="A step out of place up to this long does not end it.")
    sways_ft_s: float = Field(1.5, ge=0, description="Faster by no more than this he only sways.")
    sways_s: float = Field(0.5, ge=0, description="For at most this long.")
    tolerance_ft: float = Field(3.0, gt=0, description="Uncertainty of a place at which a stand is half trusted.")


class DenialSettings(BaseModel):
    """When a receiver is denied."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    within_ft: float = Field(6.0, gt=0, description="The defender is this near to the receiver (glossary).")
    line_within_ft: float = Field(4.0, gt=0, description="And this near to the line of the pass (glossary).")
    block_ft: float = Field(
        3.0, ge=0, description="The paint less this at its sides is too deep to be denied: blocks belong to the post."
    )
    slack_ft: float = Field(0.6, ge=0, description="A denial is not over while he is too far off by no more than this.")
    slack_sigmas: float = Field(1.0, ge=0, description="So many sigmas of the places more where they are unsure.")
    least_chance: float = Field(
        0.3, gt=0, le=1, description="Moments at which a denial is less likely than this are none."
    )
    ahead_ft: float = Field(
        1.0, description="He stands at least this much nearer to the ball than the receiver, along the line."
    )
    for_s: float = Field(0.5, gt=0, description="For at least this long (glossary).")
    pause_s: float = Field(0.2, ge=0, description="A moment off up to this long does not end it.")
    ball_seen: float = Field(
        0.45, ge=0, le=1, description="In film that shows the ball at all it is seen for this share of a denial."
    )
    pass_from_ft: float = Field(8.0, ge=0, description="A receiver nearer to the ball than this needs no pass.")
    pass_to_ft: float = Field(30.0, gt=0, description="A receiver farther from the ball than this is no receiver.")
    front_u_ft: float = Field(32.0, gt=0, description="Farther out than this nobody is denied.")
    tolerance_ft: float = Field(2.0, gt=0, description="Uncertainty of a place at which a denial is half trusted.")


class PostSettings(BaseModel):
    """When a player posts up."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    speed_ft_s: float = Field(6.0, gt=0, description="Slower than this (glossary).")
    for_s: float = Field(
        1.0,
        gt=0,
        description="For at least this long (glossary), and as long with the ball, if it comes.",
    )
    within_ft: float = Field(4.0, gt=0, description="The defender is this near (glossary).")
    hidden_moves_ft: float = Field(
        8.0, ge=0, description="A defender gone out of sight is still on him until he has moved this far."
    )
    pause_s: float = Field(0.3, ge=0, description="A moment otherwise up to this long does not end it.")
    settles_s: float = Field(
        1.3, ge=0, description="He posts up at most this long after the catch; later he has driven and stopped."
    )
    low_lane_u_ft: float = Field(
        8.0, gt=0, description="With the ball he may post up in the lane too, up to here (common practice, no source)."
    )
    low_lane_v_ft: float = Field(
        2.5, ge=0, description="But not right under the ring: he catches at least this far from the middle."
    )
    low_lane_for_s: float = Field(
        1.5, ge=0, description="And stays for at least this long: who shoots at once there finishes [C]."
    )
    again_s: float = Field(1.0, ge=0, description="After a pause up to this long he is still posting up [C].")
    waits_s: float = Field(
        4.0,
        gt=0,
        description="Who waits for the ball this long at the post has posted up (common practice, no source).",
    )
    waits_v_ft: float = Field(13.0, gt=0, description="He waits no farther than this from the middle.")
    passer_from_ft: float = Field(15.0, gt=0, description="Who might throw it in is at least this far from the ring.")
    passer_within_ft: float = Field(22.0, gt=0, description="And at most this far from the poster.")
    tolerance_ft: float = Field(2.0, gt=0, description="Uncertainty of a place at which a post-up is half trusted.")


class IsolationSettings(BaseModel):
    """When a handler plays his man alone."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    for_s: float = Field(
        2.5, gt=0, description="He holds the ball for at least this long (common practice, no source)."
    )
    alone_ft: float = Field(12.0, gt=0, description="No teammate is nearer than this (common practice, no source).")
    within_ft: float = Field(30.0, gt=0, description="He is at most this far from the ring.")
    guard_within_ft: float = Field(8.0, gt=0, description="His defender is this near.")
    after_s: float = Field(1.0, ge=0, description="He shoots or drives at most this long after it.")
    settled_ft_s: float = Field(2.0, gt=0, description="He rests when he is slower than this [C].")
    pause_s: float = Field(0.3, ge=0, description="A moment otherwise up to this long does not end it.")
    tolerance_ft: float = Field(3.0, gt=0, description="Uncertainty of a place at which an isolation is half trusted.")


class CutSettings(BaseModel):
    """What a cut is, and which; lengths for the NBA's floor where places do not say them."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    moving_ft_s: float = Field(4.0, gt=0, description="While cutting a player is faster than this, a brisk walk.")
    top_ft_s: float = Field(7.5, gt=0, description="At some moment of a cut he is faster than this.")
    pause_s: float = Field(0.4, ge=0, description="A slower moment up to this long, a turn, does not end a cut.")
    slows_ft_s: float = Field(6.0, gt=0, description="A cut has slowed down below this.")
    before_slow_s: float = Field(0.16, ge=0, description="The end of a cut points where it points so long before that.")
    turns_deg: float = Field(40.0, gt=0, description="A cut that turns less than this has no radius.")
    out_u_ft: float = Field(34.0, gt=0, description="Farther out than this nobody cuts.")
    before_settled_s: float = Field(0.5, ge=0, description="A cut may begin this long before the half-court phase.")
    corner_ft: float = Field(2.5, gt=0, description="A bend this far off the straight way parts a cut into legs.")
    least_ft: float = Field(8.0, gt=0, description="A cut is at least this long.")
    low_u_ft: float = Field(9.0, gt=0, description="Block and low lane: up to this far from the baseline side.")
    zipper_rise_ft: float = Field(10.0, gt=0, description="A zipper goes up at least this far (glossary).")
    curl_rise_ft: float = Field(6.0, gt=0, description="A zipper that curls has gone up at least this far.")
    zipper_start_v_ft: float = Field(
        12.0, gt=0, description="A zipper starts at a block or in the low lane: |v| at most."
    )
    straight_up: float = Field(
        1.4, ge=1, description="A zipper's way up is at most this many times its rise: across the lane is none."
    )
    weak_u_ft: float = Field(16.0, gt=0, description="A flash from the weak side starts no farther out than this.")
    curls_deg: float = Field(
        80.0, gt=0, lt=180, description="A curl ends this far off the way out, towards the middle."
    )
    turn_back_ft: float = Field(3.0, gt=0, description="A curl brings the cutter this much nearer to the ring again.")
    points_deg: float = Field(60.0, gt=0, lt=180, description="A way points at the ring within this.")
    high_u_ft: float = Field(17.0, gt=0, description="Top and slot begin this far out.")
    middle_v_ft: float = Field(15.0, gt=0, description="Top and slot reach to this |v|.")
    wing_v_ft: float = Field(12.0, gt=0, description="Beyond this |v| a cut has come to a wing.")
    after_pass_s: float = Field(3.5, gt=0, description="A loop or UCLA cut starts this soon after the cutter's pass.")
    through_u_ft: float = Field(20.0, gt=0, description="A loop crosses the middle at the high post or below.")
    screen_ft: float = Field(6.0, gt=0, description="The screener of a UCLA cut stands this near to its way.")
    screen_s: float = Field(0.6, gt=0, description="An off-ball screen within this time of the cut is its own.")
    ring_ft: float = Field(8.0, gt=0, description="A cut to the ring ends this near to it.")
    reach_ft: float = Field(2.5, gt=0, description="A ball seen this near to a runner, an arm's length, goes with him.")
    reach_for_s: float = Field(0.3, gt=0, description="If it is for so long while he runs to the ring: he drives.")
    from_ft: float = Field(14.0, gt=0, description="A cut to the ring starts at least this far from it.")
    denied_before_s: float = Field(1.0, gt=0, description="A back cut starts this soon after the denial.")
    deep_ft: float = Field(7.0, gt=0, description="A deep cut goes down, and comes back out, at least this far.")
    deep_back_ft: float = Field(14.0, gt=0, description="It ends at most this far from where it began.")
    deep_u_ft: float = Field(7.0, gt=0, description="A deep cut turns this near to the baseline side.")
    trails_ft: float = Field(4.0, gt=0, description="Who trails is this near to the way that the cutter has come.")
    nearer_ball_ft: float = Field(6.0, gt=0, description="A flash brings the cutter this much nearer to the ball.")
    shallow_ft: float = Field(10.0, gt=0, description="A shallow cut is at least this long.")
    dribble_at_ft: float = Field(
        5.0, gt=0, description="The handler comes this much nearer to where a shallow cut began."
    )
    tolerance_ft: float = Field(3.0, gt=0, description="Uncertainty of a place at which a cut is half trusted.")


class GuardSettings(BaseModel):
    """Who guards whom. A defender's mean place is a mix of man, ball and ring (Franks et al. 2015)."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    man: float = Field(0.62, gt=0, description="Share of the man in a defender's mean place (Franks et al. 2015).")
    ball: float = Field(0.11, ge=0, description="Share of the ball (Franks et al. 2015).")
    ring: float = Field(0.27, ge=0, description="Share of the ring (Franks et al. 2015).")
    over_s: float = Field(0.8, gt=0, description="Distances are averaged over this time; a switch takes about as long.")
    every_s: float = Field(0.24, gt=0, description="The matching is done anew this often.")
    stays_ft: float = Field(2.0, ge=0, description="Another defender must fit better by this to take over a man.")
    usual_ft: float = Field(
        4.0, ge=0, description="And by this much more to take him from who has been on him throughout the time around."
    )
    usual_over_s: float = Field(6.0, gt=0, description="That time reaches so far before and after.")
    unknown_ft: float = Field(60.0, gt=0, description="Stands for the distance of a player who is not seen.")


class ActionSettings(BaseModel):
    """Everything the actions room can be told."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    view: ViewSettings = Field(ViewSettings(), description="How possessions are put on even times.")
    ball: BallSettings = Field(BallSettings(), description="Touches, passes, handoffs and shots.")
    stand: StandSettings = Field(StandSettings(), description="Players who stay at a place.")
    denial: DenialSettings = Field(DenialSettings(), description="Receivers who are kept from the ball.")
    post: PostSettings = Field(PostSettings(), description="Post-ups.")
    isolation: IsolationSettings = Field(IsolationSettings(), description="Handlers who play alone.")
    cut: CutSettings = Field(CutSettings(), description="Cuts.")
    guards: GuardSettings = Field(GuardSettings(), description="Who guards whom, moment by moment.")
    swap_within_ft: float = Field(
        7.0,
        ge=0,
        description="Two so near each other all the while, a doubtful hold of one within the other's is none.",
    )
    thrown_ft_s: float = Field(
        60.0, gt=0, description="Faster than that no ball is thrown to a teammate (common practice, no source)."
    )
    swap_score: float = Field(0.5, ge=0, le=1, description="A hold less sure than this is doubtful.")
    hold_gap_s: float = Field(
        0.5, ge=0, description="Gaps between holds of one player up to this long count as held (the ball is dribbled)."
    )
    drive: DriveSettings = Field(DriveSettings(), description="The drive rule.")
    on_ball_screen: OnBallScreenSettings = Field(OnBallScreenSettings(), description="The on-ball screen rule.")
    coverage: CoverageSettings = Field(CoverageSettings(), description="How on-ball screens are defended.")
    off_ball_screen: OffBallScreenSettings = Field(OffBallScreenSettings(), description="The off-ball screen rule.")
    screen_type: ScreenTypeSettings = Field(ScreenTypeSettings(), description="Sorts and reads of off-ball screens.")
    corner: CornerSettings = Field(CornerSettings(), description="The turned-corner rule.")
