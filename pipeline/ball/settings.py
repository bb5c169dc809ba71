"""Settings of the ball room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class EvidenceSettings(BaseModel):
    """What a ball detection says: by its score, by its place, and beside each player.

    Places of held and dribbled balls are starting values, common practice, no source.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    least_score: float = Field(0.1, ge=0, le=1, description="Weaker ball detections are not looked at.")
    even_score: float = Field(0.33, gt=0, lt=1, description="A detection of this score is as likely the ball as not.")
    score_weight: float = Field(1.2, ge=0, description="How much a score's log odds count.")
    most_gain: float = Field(3.0, ge=0, description="A score alone never says more than this, as a log ratio.")
    highest_ft: float = Field(18.0, gt=0, description="A ball in play is never higher; lamps and crowd mostly are.")
    margin_ft: float = Field(6.0, ge=0, description="A ball in play is never farther outside the court.")
    still_rad: float = Field(0.002, gt=0, description="Detections this near in direction are at one spot.")
    still_count: int = Field(8, ge=2, description="From so many detections at one spot on it is no ball in play.")
    still_s: float = Field(1.5, ge=0, description="And they span at least this time, with nobody near.")
    still_cost: float = Field(4.0, ge=0, description="Cost of a detection that lies still with nobody near.")
    knee_ft: float = Field(1.8, gt=0, description="A ball that stays at one spot of a body below this is a shoe.")
    chin_ft: float = Field(5.0, gt=0, description="And above this it is a head.")
    worn_s: float = Field(0.7, gt=0, description="Time before and after in which it stays there.")
    worn_ft: float = Field(0.4, gt=0, description="How near to each other such detections are.")
    worn_count: int = Field(4, ge=2, description="How many there are at least.")
    worn_share: float = Field(0.6, gt=0, le=1, description="And their share of all beside that body then.")
    worn_cost: float = Field(2.5, ge=0, description="Cost of such a detection.")
    reach_ft: float = Field(5.0, gt=0, description="Farthest that a held ball is from its holder, across the picture.")
    highest_still_ft: float = Field(7.5, gt=0, description="A ball that stays at one spot is in hands no higher.")
    clutter: float = Field(10.0, gt=0, description="False balls lie so much denser about players than elsewhere.")
    aside_sigma_ft: float = Field(1.1, gt=0, description="Typical distance of a held or dribbled ball, across.")
    wide_sigma_ft: float = Field(2.3, gt=0, description="The same for reaching out and for misplaced players.")
    dribble_top_ft: float = Field(3.2, gt=0, description="A dribbled ball rises this high.")
    dribble_share: float = Field(0.45, gt=0, lt=1, description="Share of a handler's time that he dribbles.")
    hold_ft: float = Field(3.9, gt=0, description="Usual height of a held ball.")
    hold_sigma_ft: float = Field(0.9, gt=0, description="Spread of that height.")
    high_share: float = Field(0.12, gt=0, lt=1, description="Share of a holder's time with the ball above the chest.")
    reach_up_ft: float = Field(9.5, gt=0, description="Highest that hands hold the ball.")


class FlightSettings(BaseModel):
    """Balls in the air: passes from body to body, shots from body to ring.

    Speeds span slow lobs to hard outlet passes; release heights are those of a chest and an overhead pass. Starting
    values, common practice, no source; free fall is physics.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    longest_s: float = Field(2.5, gt=0, description="A longer way from body to body is no pass.")
    slowest_ft_s: float = Field(13.0, gt=0, description="Slower passes are none, beyond arm's length.")
    fastest_ft_s: float = Field(75.0, gt=0, description="No pass is faster.")
    pass_height_ft: float = Field(4.5, gt=0, description="Height at which a pass leaves and arrives.")
    body_sigma_ft: float = Field(1.5, gt=0, description="Error of a flight's end at a body, across.")
    height_sigma_ft: float = Field(1.7, gt=0, description="The same upwards.")
    middle_sigma_ft: float = Field(1.1, gt=0, description="Error halfway.")
    bounce_cost: float = Field(1.5, ge=0, description="Cost of a pass that bounces against one that does not.")
    bounce_at: float = Field(0.6, gt=0, lt=1, description="A bounce pass meets the floor at this share of its way.")
    plausible_s: float = Field(0.3, ge=0, description="A flight's ends had or have a ball within this time.")
    plausible_fit: float = Field(1.0, description="A ball fits a body from this log ratio on.")
    catch_ft: float = Field(4.0, gt=0, description="Or has had a likely ball so near him, across.")
    catch_up_ft: float = Field(10.0, gt=0, description="That likely ball is no higher.")
    blind_end_s: tuple[float, float] = Field(
        (0.2, 1.2), description="One end of a pass may show no ball when its flight is no shorter and no longer."
    )
    blind_end_cost: float = Field(
        1.5, ge=0, description="Cost of a pass with such an end, and of a shot with such a start."
    )
    blind_rebound_cost: float = Field(
        3.0, ge=0, description="Cost of a rebound by whom no ball is seen: most are seen."
    )
    rare_fit: float = Field(2.5, description="The same for passes to an opponent, and to or from an official.")
    rebound_height_ft: float = Field(6.0, gt=0, description="Height at which a ball off the ring is caught.")
    shortest_rebound_s: float = Field(0.45, ge=0, description="Nor a shorter time; what drops faster went in.")
    longest_rebound_s: float = Field(1.6, gt=0, description="A ball off the ring is in the air no longer.")
    shot_height_ft: float = Field(8.7, gt=0, description="Height at which a shot leaves the hands.")
    longest_shot_ft: float = Field(45.0, gt=0, description="Shots from farther away are not looked for.")
    shortest_shot_s: tuple[float, float] = Field((0.25, 0.02), description="Least flight of a shot: s, and s a foot.")
    longest_shot_s: tuple[float, float] = Field((0.75, 0.04), description="Longest flight of a shot: s, and s a foot.")
    ring_sigma_ft: float = Field(0.9, gt=0, description="Error of a shot's end at the ring.")
    after_ring_ft: float = Field(3.0, gt=0, description="Typical distance of a ball that comes off the ring, across.")


class StorySettings(BaseModel):
    """Costs of the ball's story, as log ratios: what it does in a frame and how it comes to do something else."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    weight: float = Field(0.6, gt=0, le=1, description="Weight of one frame's evidence; neighbours say the same again.")
    hidden_held: float = Field(0.25, ge=0, description="Cost of not seeing a held ball.")
    hidden_flying: float = Field(1.9, ge=0, description="Cost of not seeing a shot or a ball off the ring.")
    hidden_pass: float = Field(1.0, ge=0, description="Cost of not seeing a passed ball.")
    hidden_loose: float = Field(1.5, ge=0, description="Cost of not seeing a loose ball.")
    loose: float = Field(1.5, ge=0, description="Cost a frame of a loose ball; balls are mostly held.")
    off_ring: float = Field(0.5, ge=0, description="Cost a frame of a ball that came off the ring.")
    unknown: float = Field(1.3, ge=0, description="Cost of not knowing where the ball is.")
    flying: float = Field(0.25, ge=0, description="Cost a frame of a flying ball; balls are mostly held.")
    pass_cost: float = Field(4.0, ge=0, description="Cost of a pass.")
    shot_cost: float = Field(7.0, ge=0, description="Cost of a shot.")
    hang_cost_s: float = Field(4.0, ge=0, description="Cost of every second that a pass takes longer than usual.")
    usual_ft_s: float = Field(28.0, gt=0, description="Usual speed of a pass, beyond a third of a second.")
    handoff_cost: float = Field(4.5, ge=0, description="Cost of a change of hands without a flight.")
    handoff_ft: float = Field(6.5, gt=0, description="Farthest that two players hand the ball over.")
    same_body_cost: float = Field(1.0, ge=0, description="Cost of going on with a track that begins where one ended.")
    lose_cost: float = Field(5.0, ge=0, description="Cost of a ball that gets loose or unknown.")
    gain_cost: float = Field(4.0, ge=0, description="Cost of taking up a loose or unknown ball.")
    rebound_cost: float = Field(2.0, ge=0, description="Cost of taking a ball that came off the ring.")
    ring_to_hands_s: float = Field(0.3, ge=0, description="A ball at the ring is in nobody's hands any sooner.")
    offence_rebound_cost: float = Field(
        1.1, ge=0, description="Extra cost of a rebound by the attackers: about one of four is theirs."
    )
    wrong_ring_cost: float = Field(4.0, ge=0, description="Extra cost of a shot at the ring that the team defends.")
    rebound_ft: float = Field(7.0, gt=0, description="Typical distance from the ring of who takes it.")
    steal_cost: float = Field(4.0, ge=0, description="Extra cost of a change to the other team without a shot.")
    official_cost: float = Field(5.0, ge=0, description="Extra cost of an official taking the ball.")
    defender_cost: float = Field(0.5, ge=0, description="Cost a frame of a holder of the team that defends here.")
    roll_ft_s: float = Field(22.0, gt=0, description="Typical speed of a loose ball.")


class TouchSettings(BaseModel):
    """Holds, handoffs, passes and dribbles out of the ball's story.

    A ball seen in the air for a moment is handed over from nearer than the 6.5 ft of the literature, within which short
    passes are thrown too; one that is in the air for no more than a frame, within all of the story's ``handoff_ft``.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    least_hold_s: float = Field(0.2, ge=0, description="Shorter holds are none.")
    longest_flight_s: float = Field(2.5, gt=0, description="A longer way from holder to holder is no pass.")
    handoff_ft: float = Field(4.5, gt=0, description="Giver and receiver of a handoff are no farther apart.")
    handoff_s: float = Field(0.5, ge=0, description="A handoff's ball is in nobody's hands no longer.")
    rebound_s: float = Field(3.0, gt=0, description="A ball taken so soon after it came to the ring is a rebound.")


class DribbleSettings(BaseModel):
    """When a hold is seen to be a dribble. Starting values, common practice, no source."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    hold_ft: float = Field(3.9, gt=0, description="Usual height of a held ball.")
    hold_sigma_ft: float = Field(0.6, gt=0, description="Spread of that height.")
    top_ft: float = Field(3.0, gt=0, description="A dribbled ball rises so high.")
    bounce_ft: float = Field(1.8, gt=0, description="And is seen this low.")
    change_cost: float = Field(2.5, ge=0, description="Cost of a change between hold and dribble, as a log ratio.")
    longest_gap_s: float = Field(0.7, gt=0, description="Unseen for longer, a dribble is not known.")
    least_s: float = Field(0.4, ge=0, description="Shorter dribbles are none.")
    least_seen: int = Field(4, ge=2, description="Sightings that a dribble needs.")


class PossessionSettings(BaseModel):
    """Possessions out of touches."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    least_control_s: float = Field(1.2, ge=0, description="A team that holds for less has not taken possession.")
    turnover_s: float = Field(2.0, ge=0, description="Seconds of holds that must speak for a change of team.")
    same_team_s: float = Field(1.0, ge=0, description="The same for the shooter's team to have its own rebound.")
    lining_up_s: float = Field(6.0, ge=0, description="So long before a free throw nobody plays.")
    rebound_s: float = Field(3.0, ge=0, description="After a shot, a last hold shorter than this is no new possession.")
    longest_pause_s: float = Field(6.0, gt=0, description="A team that has not held for longer has lost possession.")
    free_throw_s: float = Field(0.8, gt=0, description="A free throw's shooter has stood at the line for this time.")
    at_line_ft: float = Field(2.5, gt=0, description="So near the middle of the line, from half a step behind it.")
    alone_ft: float = Field(5.5, gt=0, description="Nobody else is so near a free throw's shooter.")
    lane_margin_ft: float = Field(1.5, ge=0, description="Players along the lane may seem so far inside it.")
    settled: int = Field(4, ge=1, le=5, description="Attackers past half court when the half-court phase begins.")


class SideSettings(BaseModel):
    """Which team attacks which ring."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    ahead_s: float = Field(2.0, ge=0, description="Play is where the players will stand so much later.")
    open_s: float = Field(2.5, ge=0, description="So long after the ball came to a ring either team may take it.")
    window_s: float = Field(300.0, gt=0, description="Teams' sides are voted on within this time before and after.")
    least_votes_s: float = Field(5.0, ge=0, description="Least held time in the vote.")
    least_share: float = Field(0.6, ge=0.5, le=1, description="Least share of the winning side of the vote.")


class PlacesSettings(BaseModel):
    """Who has the ball when only places are known. Costs are by the second, so that the rate does not matter.

    Distance, speed and least time of a hold follow Hauri & Vucetic (2022); the handoff's distance too. The rest are
    starting values, common practice, no source.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    hold_within_ft: float = Field(5.0, gt=0, description="A held ball is no farther from its holder.")
    hold_below_ft: float = Field(10.0, gt=0, description="A held ball is lower than this, where its height is known.")
    least_hold_s: float = Field(0.2, ge=0, description="Shorter holds are none.")
    speed_s: float = Field(0.15, gt=0, description="Speeds are taken over this time before and after.")
    steady_ft: float = Field(0.15, ge=0, description="Places that shake by more are smoothed before they are judged.")
    smooth_s: float = Field(0.08, ge=0, description="Over this time before and after.")
    longest_step_s: float = Field(0.25, gt=0, description="A moment stands for no longer than this.")
    slowest_step_s: float = Field(
        0.13, gt=0, description="Data with moments farther apart gets some in between: about 8 in a second."
    )
    arm_ft: float = Field(1.5, ge=0, description="A held ball is usually this near to its holder.")
    arm_sigma_ft: float = Field(2.0, gt=0, description="Spread of what it is farther.")
    thrown_within_ft: float = Field(
        3.0, gt=0, description="A ball in the air as play begins was thrown by a mate of the catcher this near to it."
    )
    apart_sigma_ft_s: float = Field(16.0, gt=0, description="Spread of a held ball's speed against its holder.")
    slow_ft_s: float = Field(15.0, gt=0, description="A ball in the air is usually faster.")
    air_cost: float = Field(1.5, ge=0, description="Cost of a ball in the air; balls are mostly held.")
    slow_air_cost: float = Field(2.5, ge=0, description="Extra cost when it does not move.")
    ring_within_ft: float = Field(3.0, gt=0, description="A ball at the ring is this near to its middle.")
    ring_above_ft: float = Field(8.0, ge=0, description="And this high, where its height is known.")
    ring_sigma_ft: float = Field(1.0, gt=0, description="Spread of that distance.")
    ring_gain: float = Field(2.0, ge=0, description="Gain of a ball at the ring; balls are seldom there otherwise.")
    free_cost: float = Field(1.2, ge=0, description="Cost of a loose ball.")
    turn_ft_s: float = Field(15.0, gt=0, description="A ball in the air changes its velocity by less than this.")
    most_turn_cost: float = Field(4.0, ge=0, description="Highest cost of its changing more.")
    begin_cost: float = Field(0.5, ge=0, description="Price of play beginning with a ball that nobody has.")
    roll_ft_s: float = Field(25.0, gt=0, description="Typical speed of a loose ball.")
    unseen_cost: float = Field(0.3, ge=0, description="Cost of any state while the ball's place is not known.")
    leave_cost: float = Field(0.3, ge=0, description="Price of leaving the hands.")
    catch_cost: float = Field(0.3, ge=0, description="Price of coming into hands.")
    handoff_cost: float = Field(0.8, ge=0, description="Price of going from hands to hands.")
    steal_cost: float = Field(2.0, ge=0, description="Extra price of a change to the other team.")
    lose_cost: float = Field(1.8, ge=0, description="Price of a ball that gets loose.")
    at_ring_cost: float = Field(0.3, ge=0, description="Price of coming to a ring.")
    end_at_ring_gain: float = Field(0.6, ge=0, description="Gain of play that stops with the ball at a ring.")
    falls_s: float = Field(0.48, gt=0, description="So long after it was nearest to the ring a shot is judged.")
    made_within_ft: float = Field(2.0, gt=0, description="A made ball is still this near to the ring then.")
    missed_beyond_ft: float = Field(3.5, gt=0, description="A missed one is farther than this.")
    to_ring_s: float = Field(0.6, ge=0, description="A ball in the air as play stops would come to the ring so soon.")
    handoff_ball_ft_s: float = Field(25.0, gt=0, description="A ball handed over is slower than this.")
    longest_unseen_s: float = Field(0.7, ge=0, description="Longest time unseen through which the ball is followed.")
    longest_bobble_s: float = Field(1.0, ge=0, description="A ball that left a player and came back to him within it.")
    handoff_ft: float = Field(6.5, gt=0, description="Giver and receiver of a handoff are no farther apart.")
    arms_ft: float = Field(5.0, gt=0, description="Two outstretched arms: nearer, the ball need not be in the air.")
    handoff_comes_ft_s: float = Field(
        3.0, ge=0, description="From farther the receiver of a handoff comes towards the giver this fast."
    )


class BallSettings(BaseModel):
    """The ball room."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    evidence: EvidenceSettings = EvidenceSettings()
    flight: FlightSettings = FlightSettings()
    story: StorySettings = StorySettings()
    touches: TouchSettings = TouchSettings()
    places: PlacesSettings = PlacesSettings()
    dribble: DribbleSettings = DribbleSettings()
    possessions: PossessionSettings = PossessionSettings()
    sides: SideSettings = SideSettings()
