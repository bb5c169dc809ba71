"""Settings of screens: on the ball, off it, how they are defended, and the corner turned.

Sources in the descriptions are those of the glossary (P1, P3, P4); [C] is common practice, no source; [M] from memory.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class InTheWaySettings(BaseModel):
    """When a screener stands in the way of the defender whom he screens. [C] throughout."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    around_s: float = Field(0.4, gt=0, description="That is looked at so long before and after the screen.")
    ahead_s: float = Field(0.6, gt=0, description="The defender's way leads to where his man is so much later.")
    guards_ft: float = Field(3.5, ge=0, description="Or to a spot this much nearer to the ring than that.")
    off_ft: float = Field(
        2.0,
        gt=0,
        description="A screener no farther off the way is in it: half of his body, half of the defender's, and an arm.",
    )
    touching_ft: float = Field(
        1.7,
        ge=0,
        description="One beside or behind the defender is this near to him, or holds nobody up: bodies touch.",
    )
    soft_ft: float = Field(0.5, gt=0, description="Softness of that limit.")


class OnBallScreenSettings(BaseModel):
    """When two attackers make a screen for the ball.

    The frame is the rule of McQueen, Wiens and Guttag (2014), which alone is right about half of the time (52 %
    positive predictive value there). What it lacks is what a coach looks at: the screener comes to the handler's
    defender, he slows down or stands, and the handler goes. Each of these is graded (``grades``) and the product of
    the grades is the score. Limits marked [C] are common practice, no source.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    handler_for_s: float = Field(0.52, gt=0, description="One handler for at least this long (P3).")
    handler_around_s: float = Field(
        0.6, gt=0, description="And within this time before and after the moment; shorter holes do not count [C]."
    )
    screener_within_ft: float = Field(10.0, gt=0, description="The screener comes this near to the handler (P3).")
    closest_within_ft: float = Field(
        7.3,
        gt=0,
        description="About their closest approach at most: 6 ft in P3, more where he is in the defender's way [C].",
    )
    closest_soft_ft: float = Field(0.5, gt=0, description="Softness of that limit.")
    farther_from_ring_ft: float = Field(
        2.0, ge=0, description="The screener is at most this much farther from the ring than the handler (P3)."
    )
    place_soft_ft: float = Field(0.7, gt=0, description="Softness of the limits of place, a shoe's length.")
    defender_within_ft: float = Field(12.0, gt=0, description="A defender is this near to the handler (P3).")
    guarded_ft: float = Field(
        8.2, gt=0, description="The on-ball defender is about this near to him before: who sags guards no ball [C]."
    )
    guarded_before_s: float = Field(0.3, ge=0, description="That is looked at so long before the screen.")
    front_court_soft_ft: float = Field(
        2.0, gt=0, description="A screen is set in the front court; softness of the half-court line [C]."
    )
    held_before_s: float = Field(
        0.4,
        gt=0,
        description="The handler has had the ball for so long before the screen: a catch beside one is none [C].",
    )
    held_within_s: float = Field(0.9, gt=0, description="And that within this time before it; holes do not count.")
    way: InTheWaySettings = Field(
        InTheWaySettings(), description="The screener is in the way of the handler's defender."
    )
    contact_ft: float = Field(3.0, gt=0, description="Screener to on-ball defender at contact, at most (glossary).")
    touch_within_ft: float = Field(
        3.5, gt=0, description="A screen gets about this near to the handler's defender, or it screened nobody [C]."
    )
    touch_soft_ft: float = Field(0.6, gt=0, description="Softness of that limit.")
    rub_ft: float = Field(
        3.2, gt=0, description="Or the handler goes past a screener who came and stands, shoulder to shoulder [C]."
    )
    rub_touch_ft: float = Field(
        5.3, gt=0, description="Then his defender may go round the screen, this far from the screener [C]."
    )
    brush_slow_ft_s: float = Field(
        3.0, gt=0, description="Or he goes past one who waits for him, this slow, wherever his defender is then [C]."
    )
    brush_came_ft: float = Field(3.5, gt=0, description="And who has come this far to do so: two strides [C].")
    second_within_s: float = Field(
        1.5, gt=0, description="So soon after another's screen the defender trails and the handler swings wider [C]."
    )
    second_ft: float = Field(4.5, gt=0, description="He then passes the second screener this near [C].")
    touch_before_s: float = Field(0.8, gt=0, description="Contact is looked for so long before the closest approach.")
    touch_after_s: float = Field(0.6, gt=0, description="And so long after it.")
    came_ft: float = Field(
        2.5,
        gt=0,
        description="Screener and on-ball defender come this much nearer to each other before; two who just stood "
        "beside each other make no screen [C].",
    )
    came_soft_ft: float = Field(0.8, gt=0, description="Softness of that limit.")
    came_over_s: float = Field(
        4.0, gt=0, description="They come nearer within this time before the screen: a big may stand for long [C]."
    )
    came_known_s: float = Field(
        1.0, ge=0, description="Sooner after the data begins it is not known that a screener did not come [C]."
    )
    screener_speed_ft_s: float = Field(
        5.5, gt=0, description="While he is in the way the screener is about so slow; a runner past is no screen [C]."
    )
    screener_soft_ft_s: float = Field(1.0, gt=0, description="Softness of that limit.")
    bump_ft: float = Field(2.5, gt=0, description="Nearer than this to the defender he is in contact with him [C].")
    bump_speed_ft_s: float = Field(
        7.0,
        gt=0,
        description="One in contact with a defender who is on his man may still be on the move, about so fast [C].",
    )
    runs_ft_s: float = Field(9.0, gt=0, description="A screener who never slows to this and leaves slips [C].")
    speed_soft_ft_s: float = Field(1.8, gt=0, description="Softness of limits of speed.")
    goes_ft: float = Field(
        4.5,
        gt=0,
        description="The handler goes this far within ``used_over_s`` of the screen, off it or away from it [C].",
    )
    goes_before_s: float = Field(1.0, gt=0, description="The handler starts at most so long before it.")
    stays_within_ft: float = Field(4.7, gt=0, description="Or he stays at the screen, this near to the screener [C].")
    on_him_ft: float = Field(
        5.8, gt=0, description="And his defender was on him, this near: who sags is not screened off one who stays [C]."
    )
    hit_ft: float = Field(
        1.0, gt=0, description="Unless the screener runs into him: bodies touch whose middles are this near [C]."
    )
    goes_within_s: float = Field(1.0, gt=0, description="Within this time after the closest approach.")
    handoff_within_s: float = Field(
        0.9, gt=0, description="The ball changing hands between the two so near in time makes it a handoff [C]."
    )
    time_soft_s: float = Field(0.15, gt=0, description="Softness of limits of time about the ball, a step's length.")
    hold_s: float = Field(0.2, ge=0, description="Shorter holds are none (P1).")
    handoff_ft: float = Field(6.5, gt=0, description="Farthest that two players hand the ball over (P1).")
    same_within_s: float = Field(1.0, gt=0, description="Closest approaches of a pair nearer in time are one screen.")
    same_if_stays_s: float = Field(
        2.5, gt=0, description="So are those nearer than this between which the screener keeps his place [C]."
    )
    stays_ft: float = Field(
        4.0, gt=0, description="A screener who moves less than this keeps his place, a step or two to set himself [C]."
    )
    least_score: float = Field(0.3, ge=0, le=1, description="Products of grades below this are no screen.")
    side_v_ft: float = Field(12.0, gt=0, description="Beyond this |v| a screen is a side screen (glossary).")
    again_within_s: float = Field(3.0, gt=0, description="A screen of the same pair so soon is a re-screen (glossary).")
    moving_ft_s: float = Field(4.0, gt=0, description="Above this the screener was still moving (glossary).")
    stands_for_s: float = Field(0.12, ge=0, description="A screener who is slower for so long is set [C].")
    off_ft_s: float = Field(6.0, gt=0, description="The handler goes from when he is faster than this [C].")
    slip_closest_ft: float = Field(7.5, gt=0, description="One who slips comes this near to the handler, softly [C].")
    slip_touch_ft: float = Field(
        5.0, gt=0, description="One who slips comes this near to the handler's defender, as if to screen him [C]."
    )
    slip_came_ft: float = Field(5.0, gt=0, description="One who slips came this much nearer to that defender [C].")
    slip_turn_deg: float = Field(75.0, gt=0, description="One who slips turns by this on the way [C].")
    slip_soft_deg: float = Field(15.0, gt=0, description="Softness of that turn.")
    slip_dive_ft_s: float = Field(6.0, gt=0, description="One who slips then comes nearer to the ring this fast [C].")
    slip_over_s: float = Field(0.7, gt=0, description="Turn and dive of a slip are measured over this time.")
    slip_within_s: float = Field(
        0.4, gt=0, description="He dives or leaves so soon after the meeting; later he rolls [C]."
    )
    slip_ft_s: float = Field(
        6.0,
        gt=0,
        description="A screener who never slows to ``runs_ft_s`` and leaves faster than this slips too [C].",
    )
    dribble_s: float = Field(
        0.7, gt=0, description="A dribble seen so shortly before is alive; longer without one it is dead [M]."
    )
    side_on_line_ft: float = Field(
        1.0, ge=0, description="A screen this near to the handler's line to the ring is on neither side of him [C]."
    )
    used_over_s: float = Field(0.8, gt=0, description="Which way the handler went is told after this time [C].")
    went_ft: float = Field(3.0, gt=0, description="A handler who moved less than this went nowhere [C].")


class CoverageSettings(BaseModel):
    """How an on-ball screen is defended. [C] throughout but the trap's distance and time (glossary)."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    before_s: float = Field(1.5, gt=0, description="Who guards whom is told from so long before the screen.")
    until_before_s: float = Field(0.3, ge=0, description="And until so long before it.")
    over_within_s: float = Field(1.5, gt=0, description="The defender's way past the screen is looked at so long.")
    trap_ft: float = Field(5.0, gt=0, description="Both defenders are this near to the handler in a trap (glossary).")
    trap_s: float = Field(0.4, gt=0, description="A trap lasts this long (glossary).")
    trap_after_s: float = Field(0.2, ge=0, description="A trap is looked for from so long after the screen.")
    trap_within_s: float = Field(2.0, gt=0, description="A trap is looked for until so long after the screen.")
    trap_gain_ft_s: float = Field(
        6.0, gt=0, description="A handler who comes nearer to the ring faster than this is not trapped but drives."
    )
    switch_from_s: float = Field(1.0, gt=0, description="A switch shows from so long after the screen.")
    switch_to_s: float = Field(
        2.0, gt=0, description="And until so long after it; each defender is then nearer to the other's man."
    )
    switch_nearer_ft: float = Field(
        4.0, gt=0, description="Taken together they are nearer to the other's man by this much."
    )
    ice_deg: float = Field(
        60.0, gt=0, lt=180, description="Iced: seen from the handler, his defender is this near to the screener's side."
    )


class OffBallScreenSettings(BaseModel):
    """When an attacker screens for one without the ball.

    The glossary's frame (P4 uses 5 ft for all distances), graded like the on-ball screen. Limits marked [C] are common
    practice, no source.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    closest_within_ft: float = Field(
        5.5,
        gt=0,
        description="Closest approach of cutter and screener, softly: 5 ft in P4; a cutter who uses a screen on a "
        "defender who is a step off him passes that much wider.",
    )
    closest_soft_ft: float = Field(0.6, gt=0, description="Softness of that limit.")
    wide_ft: float = Field(
        10.0,
        gt=0,
        description="A cutter whose defender sags passes this far off at most, softly [C].",
    )
    wide_lost_ft: float = Field(4.0, gt=0, description="And that defender loses this much to such a cutter [C].")
    wide_turn_deg: float = Field(45.0, gt=0, description="The wide cutter's place turns by this much [C].")
    looked_at_ft: float = Field(12.0, gt=0, description="Closest approaches farther apart than this are not looked at.")
    cutter_speed_ft_s: float = Field(7.0, gt=0, description="The cutter gets this fast about the screen [C].")
    speed_soft_ft_s: float = Field(1.4, gt=0, description="Softness of limits of speed.")
    passes_deg: float = Field(
        60.0, gt=0, description="The cutter passes: his place turns about the screen's by this much or more [C]."
    )
    passes_soft_deg: float = Field(15.0, gt=0, description="Softness of that limit.")
    passes_over_s: float = Field(0.8, gt=0, description="Within this time before and after.")
    leaves_ft: float = Field(
        3.2, gt=0, description="The cutter is this far from the screener ``leaves_s`` later: he used him [C]."
    )
    leaves_soft_ft: float = Field(0.5, gt=0, description="Softness of that limit.")
    leaves_s: float = Field(0.9, gt=0, description="When that is looked at.")
    way_off_ft: float = Field(
        1.5,
        gt=0,
        description="The screener stands this near to the way of the cutter's defender: half a body's width of each, "
        "and no more [C].",
    )
    way_soft_ft: float = Field(0.3, gt=0, description="Softness of that limit.")
    way_to_s: float = Field(0.7, gt=0, description="That way leads to where the cutter is so much later (glossary).")
    body_ft: float = Field(
        0.8, ge=0, description="It begins so far before the defender, at his chest: one beside him is not in it [C]."
    )
    way_before_s: float = Field(0.6, ge=0, description="The screener is in the way so long before the cutter passes.")
    way_after_s: float = Field(0.7, ge=0, description="Or so long after.")
    way_for_s: float = Field(0.12, ge=0, description="And that for so long, on average.")
    reach_ft: float = Field(
        4.5, gt=0, description="He is then this near to the defender, a step or two before him [C]."
    )
    reach_soft_ft: float = Field(0.7, gt=0, description="Softness of that limit.")
    screener_speed_ft_s: float = Field(
        4.6,
        gt=0,
        description="The screener is then about this slow (glossary: 5 ft/s; faster ones were doubtful when drawn).",
    )
    screener_soft_ft_s: float = Field(0.8, gt=0, description="Softness of that limit.")
    moving_ft_s: float = Field(
        7.0, gt=0, description="Or about so slow, if he bumps a defender who loses ``moving_lost_ft``: on the move [C]."
    )
    moving_lost_ft: float = Field(3.0, gt=0, description="So much of it.")
    same_spot_ft: float = Field(
        3.0, gt=0, description="And this near to the spot where the cutter passes him: one screen, one spot [C]."
    )
    same_spot_soft_ft: float = Field(0.7, gt=0, description="Softness of that limit.")
    touch_ft: float = Field(
        3.2, gt=0, description="The cutter's defender comes this near to the screener: contact (glossary: 3.5 ft)."
    )
    touch_soft_ft: float = Field(0.5, gt=0, description="Softness of that limit.")
    touch_within_s: float = Field(0.7, gt=0, description="Within this time before and after.")
    bump_ft: float = Field(1.7, gt=0, description="So near their bodies touch: the defender is met [C].")
    bump_soft_ft: float = Field(0.4, gt=0, description="Softness of that limit.")
    lost_ft: float = Field(
        0.7, description="The defender loses this much to the cutter: who keeps up with him was not screened [C]."
    )
    lost_soft_ft: float = Field(0.5, gt=0, description="Softness of that limit.")
    lost_after_s: float = Field(0.9, gt=0, description="From shortly before the screen until so long after it.")
    chases_ft: float = Field(
        7.0, gt=0, description="One farther off the cutter than this before sags: no screen costs him anything [C]."
    )
    close_chase_ft: float = Field(
        5.5, gt=0, description="One nearer than this who has to take the other side of the screen is screened too [C]."
    )
    chases_soft_ft: float = Field(0.8, gt=0, description="Softness of limits of how near a defender is.")
    came_ft: float = Field(
        2.5, gt=0, description="Screener and cutter's defender come this much nearer to each other before [C]."
    )
    came_soft_ft: float = Field(0.8, gt=0, description="Softness of that limit.")
    came_over_s: float = Field(3.0, gt=0, description="They come nearer within this time before the screen.")
    rub_ft: float = Field(
        2.7,
        gt=0,
        description="Or the cutter rubs past one who stands there, shoulder to shoulder, this near: then nobody can "
        "stay on his hip [C].",
    )
    rub_soft_ft: float = Field(0.3, gt=0, description="Softness of limits of shoulder to shoulder.")
    rub_touch_ft: float = Field(3.0, gt=0, description="His defender has to get by so near to him too [C].")
    round_touch_ft: float = Field(3.7, gt=0, description="Or this near, if he goes round and loses ``round_lost_ft``.")
    round_lost_ft: float = Field(2.0, gt=0, description="So much of it [C].")
    sags_touch_ft: float = Field(
        2.2, gt=0, description="One who sags off the cutter is met so near to the screener [C]."
    )
    stands_ft_s: float = Field(2.0, gt=0, description="One who stands is about so slow [C].")
    stands_soft_ft_s: float = Field(0.5, gt=0, description="Softness of that limit.")
    seen_before_s: float = Field(
        0.8, ge=0, description="Where less was seen before the screen it is not known who came to whom."
    )
    seen_share: float = Field(
        0.8,
        ge=0,
        le=1,
        description="Where the distances of the three are known for less of it, nor is who passed whom.",
    )
    held_ft: float = Field(
        4.6, gt=0, description="Held up: the cutter passes a screener about this near, and that shows [C]."
    )
    held_touch_ft: float = Field(2.6, gt=0, description="His defender gets about this near to the screener [C].")
    held_lost_ft: float = Field(1.2, gt=0, description="And loses this much, wherever the screener stands exactly [C].")
    follows_ft_s: float = Field(
        2.5,
        gt=0,
        description="One who never gets so fast towards his man does not follow him, and is not screened [C].",
    )
    follows_soft_ft_s: float = Field(0.7, gt=0, description="Softness of that limit.")
    follows_within_s: float = Field(1.5, gt=0, description="That is looked at so long after the cutter has passed.")
    keeps_up_ft: float = Field(2.0, gt=0, description="Who loses less than this follows him in any case [C].")
    row_ft: float = Field(3.3, gt=0, description="In a row: the cutter passes a further screener this near [C].")
    row_touch_ft: float = Field(
        4.0, gt=0, description="The defender, whom the first held up, gets this near to the further screener [C]."
    )
    row_touch_s: float = Field(1.1, gt=0, description="At the latest so long after the cutter.")
    slow_for_s: float = Field(0.3, gt=0, description="A standing screener is slow on average for this long (glossary).")
    slow_around_s: float = Field(0.4, gt=0, description="And that within this time before and after the cutter passes.")
    others_nearer_ft: float = Field(
        2.0,
        gt=0,
        description="With the screener's defender so much nearer to the cutter, it is not his man's screen [C].",
    )
    others_within_ft: float = Field(3.0, gt=0, description="If that one is on the cutter's heels, this near.")
    others_before_s: float = Field(1.0, gt=0, description="That is looked at so long before the screen.")
    within_u_ft: float = Field(
        36.0,
        gt=0,
        description="Bodies passing farther from the ring's line than this are on their way up the floor [C].",
    )
    ball_away_s: float = Field(0.3, ge=0, description="Neither has the ball within this time of the screen [C].")
    same_within_s: float = Field(1.0, gt=0, description="Closest approaches of a pair nearer in time are one screen.")
    least_score: float = Field(0.3, ge=0, le=1, description="Products of grades below this are no screen.")
    sure_sigma_ft: float = Field(
        0.45, ge=0, description="Where the distance of the two is less sure than this, a lower score will do."
    )
    unsure_over_ft: float = Field(
        0.4, gt=0, description="It falls to none over so much more of uncertainty, but no further than to half."
    )
    before_s: float = Field(0.3, gt=0, description="Separation before is taken so long before (glossary).")
    after_s: float = Field(0.7, gt=0, description="Separation after is taken so long after (glossary).")
    guards_from_s: float = Field(1.5, gt=0, description="Who guards whom is told from so long before the screen.")
    guards_to_s: float = Field(0.3, ge=0, description="And until so long before it.")


class ScreenTypeSettings(BaseModel):
    """What sort of off-ball screen it was, and what cutter and defender did with it. [C] throughout, no source."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    start_s: float = Field(1.0, gt=0, description="The cutter's way is looked at from so long before the screen.")
    end_s: float = Field(1.2, gt=0, description="And until so long after it.")
    from_s: float = Field(1.5, gt=0, description="Where the screener came from: his place so long before.")
    lane_margin_ft: float = Field(6.0, ge=0, description="A cross screen is set in the lane or so far beside it.")
    rise_ft: float = Field(3.0, gt=0, description="A cutter who gains this much up or down the floor came up or down.")
    ring_within_ft: float = Field(16.0, gt=0, description="A back screen's cutter ends this near to the ring.")
    fades_ft: float = Field(3.0, gt=0, description="A flare's cutter gains this much distance from the ball.")
    fades_outside_ft: float = Field(17.0, gt=0, description="A flare's cutter ends this far from the ring or farther.")
    pinned_ft: float = Field(
        4.5, gt=0, description="Pin-in: on the weak side the defender of a man outside sags this far off him before."
    )
    pinned_nearer_ft: float = Field(4.0, gt=0, description="And that defender is this much nearer to the ring than he.")
    stagger_s: float = Field(1.5, gt=0, description="Two screens in a row for one cutter within this (glossary).")
    double_s: float = Field(0.4, gt=0, description="Two screens for one cutter this near in time are one spot's.")
    double_ft: float = Field(8.0, gt=0, description="Two screeners this near to each other stand at one spot.")
    door_ft: float = Field(
        1.5, gt=0, description="Elevator: the cutter passes between the two, and they close up by this much after him."
    )
    set_up_s: float = Field(1.5, gt=0, description="A step away is looked for so long before the screen.")
    set_up_ft: float = Field(1.5, gt=0, description="Steps away of this length set the defender up.")
    trails_s: float = Field(0.15, ge=0, description="A defender who passes the screen so much later trails.")
    follows_ft: float = Field(
        2.5, gt=0, description="Or one who runs in the cutter's footsteps, so near to where he was a moment before."
    )
    follows_s: tuple[float, float] = Field((0.2, 0.9), description="How far back that moment may lie.")
    passes_within_s: float = Field(1.5, gt=0, description="The defender passes the screen within this time.")


class CornerSettings(BaseModel):
    """When a handler has turned the corner after a screen."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    points_within_deg: float = Field(
        35.0, gt=0, lt=180, description="The handler's way points at the ring within this."
    )
    surely_deg: float = Field(
        5.0,
        ge=0,
        description="And this far inside that limit at its moment: a way's direction is not known better [C].",
    )
    speed_ft_s: float = Field(6.0, gt=0, description="Slower than this the handler has no way to speak of.")
    within_s: float = Field(2.5, gt=0, description="The corner is turned at most this long after the screen.")
    for_s: float = Field(0.15, ge=0, description="The way points at the ring for at least this long.")
    long_s: float = Field(0.5, ge=0, description="Or for this long, without pointing there surely [C].")
