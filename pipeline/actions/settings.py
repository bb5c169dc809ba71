"""Settings of the actions room; every default is the glossary's, its source in the description."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class DriveSettings(BaseModel):
    """When a handler's way to the ring is a drive."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    gain_ft: float = Field(8.0, gt=0, description="A drive brings the handler at least this much nearer to the ring.")
    speed_ft_s: float = Field(8.0, gt=0, description="While driving the handler is faster than this.")
    ends_within_ft: float = Field(14.0, gt=0, description="A drive ends within this distance of the ring.")
    pause_s: float = Field(0.25, ge=0, description="A slower or sideways moment up to this long does not end a drive.")
    after_hold_s: float = Field(
        0.4, ge=0, description="How long after the last sure hold the foot may still enter the paint on the same drive."
    )


class SteadySettings(BaseModel):
    """The even clock on which screens are looked for. Starting values of our own, no source."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    step_s: float = Field(0.04, gt=0, le=0.1, description="Time from one moment of the even clock to the next.")
    longest_gap_s: float = Field(
        0.6, gt=0, description="A player not placed for longer than this is unknown in between, not guessed."
    )
    speed_over_s: float = Field(
        0.4, gt=0, description="Speeds are the way over this time, at any frame rate; about one running step."
    )


class OnBallScreenSettings(BaseModel):
    """When two attackers make a screen for the ball. The rule follows McQueen, Wiens and Guttag (2014)."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    handler_for_s: float = Field(0.52, gt=0, description="One handler for at least this long.")
    screener_within_ft: float = Field(10.0, gt=0, description="The screener comes this near to the handler.")
    closest_within_ft: float = Field(6.0, gt=0, description="Their closest approach is at most this.")
    farther_from_ring_ft: float = Field(
        2.0, ge=0, description="The screener is at most this much farther from the ring than the handler."
    )
    defender_within_ft: float = Field(12.0, gt=0, description="A defender is this near to the handler.")
    contact_ft: float = Field(3.0, gt=0, description="Screener to on-ball defender at contact, at most.")
    side_v_ft: float = Field(12.0, gt=0, description="Beyond this |v| a screen is a side screen.")
    screener_speed_ft_s: float = Field(
        9.0, gt=0, description="At the closest approach the screener is slower than this; a runner past is no screen."
    )
    again_after_s: float = Field(1.0, gt=0, description="Closest approaches of a pair nearer in time are one screen.")
    moving_ft_s: float = Field(4.0, gt=0, description="Above this the screener was still moving.")


class CornerSettings(BaseModel):
    """When a handler has turned the corner after a screen."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    points_within_deg: float = Field(
        35.0, gt=0, lt=180, description="The handler's way points at the ring within this."
    )
    speed_ft_s: float = Field(6.0, gt=0, description="Slower than this the handler has no way to speak of.")
    within_s: float = Field(2.5, gt=0, description="The corner is turned at most this long after the screen.")
    for_s: float = Field(0.15, ge=0, description="The way points at the ring for at least this long.")


class ActionSettings(BaseModel):
    """Everything the actions room can be told."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    hold_gap_s: float = Field(
        0.5, ge=0, description="Gaps between holds of one player up to this long count as held (the ball is dribbled)."
    )
    steady: SteadySettings = Field(SteadySettings(), description="The even clock of the screens.")
    drive: DriveSettings = Field(DriveSettings(), description="The drive rule.")
    on_ball_screen: OnBallScreenSettings = Field(OnBallScreenSettings(), description="The on-ball screen rule.")
    corner: CornerSettings = Field(CornerSettings(), description="The turned-corner rule.")
