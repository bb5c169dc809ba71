"""Settings of the ball room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class BallPathSettings(BaseModel):
    """Which detections are the ball's one path through a shot."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    least_score: float = Field(0.1, ge=0, le=1, description="Weaker ball detections are not looked at.")
    even_score: float = Field(0.15, gt=0, lt=1, description="A detection of this score is as likely the ball as not.")
    turn_ft_s: float = Field(12.0, gt=0, description="Changes of velocity well below this are free, above dear.")
    fresh_ft_s: float = Field(20.0, gt=0, description="The same for the speed with which a path begins.")
    most_before: int = Field(40, ge=1, description="Detections before one that are tried as its forerunner.")
    top_speed_ft_s: float = Field(90.0, gt=0, description="The ball is never faster.")
    place_ft: float = Field(0.5, gt=0, description="Error of a detection's place.")
    gap_cost_s: float = Field(1.0, ge=0, description="Cost of a second without a detection on the path.")
    jump_cost: float = Field(6.0, ge=0, description="Cost of taking the path up again anywhere after losing the ball.")
    look_back_s: float = Field(3.0, gt=0, description="The path goes on over gaps up to here; beyond it must jump.")
    highest_ft: float = Field(18.0, gt=0, description="A ball in play is never higher; lamps and crowd mostly are.")
    margin_ft: float = Field(6.0, ge=0, description="A ball in play is never farther outside the court.")
    still_px: float = Field(4.0, gt=0, description="Detections this near each other are at one spot.")
    still_count: int = Field(8, ge=2, description="From so many detections at one spot on it is no ball in play.")
    still_s: float = Field(1.5, ge=0, description="And they span at least this time, with nobody near.")
    fill_s: float = Field(0.5, ge=0, description="Longest gap filled with a straight line.")


class HolderSettings(BaseModel):
    """Who has the ball.

    The thresholds of hold are the trade's (ball within 5 ft, slower than 25 ft/s and below 10 ft, for 0.2 s); how
    far a held ball is from its holder's middle is a starting value.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    reach_ft: float = Field(5.0, gt=0, description="Farthest that a held ball is from its holder, across the picture.")
    aside_sigma_ft: float = Field(1.4, gt=0, description="Typical distance of a held or dribbled ball, across.")
    height_ft: float = Field(3.4, gt=0, description="Typical height of a held or dribbled ball.")
    height_sigma_ft: float = Field(1.9, gt=0, description="Spread of that height.")
    highest_ft: float = Field(10.0, gt=0, description="A held ball is never higher.")
    highest_still_ft: float = Field(7.5, gt=0, description="A ball that stays at one spot is in hands no higher.")
    fastest_ft_s: float = Field(25.0, gt=0, description="A held ball never moves faster against its holder.")
    nobody_cost: float = Field(3.0, ge=0, description="Cost a frame of nobody having the ball.")
    unseen_cost: float = Field(0.3, ge=0, description="Cost a frame of nobody having a ball that is not seen.")
    change_cost: float = Field(4.0, ge=0, description="Cost of a change of holder, or of losing and gaining the ball.")
    steal_cost: float = Field(6.0, ge=0, description="Extra cost of a change to the other team.")
    defender_cost: float = Field(0.3, ge=0, description="Cost a frame of a holder of the team that defends here.")
    least_hold_s: float = Field(0.2, ge=0, description="Shorter holds are none.")


class TouchSettings(BaseModel):
    """Passes, shots and possessions out of holds."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    longest_flight_s: float = Field(2.5, gt=0, description="A longer way from holder to holder is no pass.")
    ring_reach: float = Field(
        0.75, gt=0, description="A shot comes this near the ring's box, in its diagonals from its middle."
    )
    least_shot_rise_ft: float = Field(
        1.5, ge=0, description="A shot first rises at least so far above its release, in the picture."
    )
    least_control_s: float = Field(1.2, ge=0, description="A team that holds for less has not taken possession.")
    rebound_s: float = Field(3.0, ge=0, description="After a shot, a last hold shorter than this is no new possession.")
    longest_pause_s: float = Field(6.0, gt=0, description="A team that has not held for longer has lost possession.")


class SideSettings(BaseModel):
    """Which team attacks which ring."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    ahead_s: float = Field(2.0, ge=0, description="Play is where the players will stand so much later.")
    window_s: float = Field(300.0, gt=0, description="Teams' sides are voted on within this time before and after.")
    least_votes_s: float = Field(5.0, ge=0, description="Least held time in the vote.")
    least_share: float = Field(0.6, ge=0.5, le=1, description="Least share of the winning side of the vote.")


class BallSettings(BaseModel):
    """The ball room."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    path: BallPathSettings = BallPathSettings()
    holder: HolderSettings = HolderSettings()
    touches: TouchSettings = TouchSettings()
    sides: SideSettings = SideSettings()
