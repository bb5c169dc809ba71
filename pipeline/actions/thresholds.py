"""Which measure of an action must be on which side of which setting: what an explanation tells margins by.

Recognisers grade softly around these limits and ask for more than a number can say (who was where, for how long);
what stands here is the part of each rule that has a measure of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from pydantic import BaseModel

from pipeline.actions.settings import ActionSettings
from pipeline.conditions import All, Compared, Condition, Sign

_CUT = (("length_ft", Sign.AT_LEAST, "cut.least_ft"), ("top_speed_ft_s", Sign.ABOVE, "cut.top_ft_s"))

THRESHOLDS: Mapping[str, tuple[tuple[str, Sign, str], ...]] = MappingProxyType(
    {
        "dead_dribble": (("held_s", Sign.AT_LEAST, "ball.dead_after_s"),),
        "pass": (("flight_s", Sign.BELOW, "ball.flight_s"),),
        "handoff": (
            ("gap_ft", Sign.AT_MOST, "ball.handoff_reach_ft"),
            ("flight_s", Sign.AT_MOST, "ball.handoff_flight_s"),
        ),
        "drive": (
            ("gain_ft", Sign.AT_LEAST, "drive.gain_ft"),
            ("top_speed_ft_s", Sign.ABOVE, "drive.speed_ft_s"),
            ("ends_at_ft", Sign.AT_MOST, "drive.ends_within_ft"),
        ),
        "post_up": (
            ("held_s", Sign.AT_LEAST, "post.for_s"),
            ("defender_gap_ft", Sign.AT_MOST, "post.within_ft"),
        ),
        "isolation": (
            ("held_s", Sign.AT_LEAST, "isolation.for_s"),
            ("nearest_teammate_ft", Sign.AT_LEAST, "isolation.alone_ft"),
        ),
        "on_ball_screen": (
            ("closest_ft", Sign.AT_MOST, "on_ball_screen.closest_within_ft"),
            ("contact_ft", Sign.AT_MOST, "on_ball_screen.touch_within_ft"),
        ),
        "corner_turned": (
            ("off_ring_deg", Sign.AT_MOST, "corner.points_within_deg"),
            ("speed_ft_s", Sign.ABOVE, "corner.speed_ft_s"),
            ("after_screen_s", Sign.AT_MOST, "corner.within_s"),
        ),
        "off_ball_screen": (
            ("closest_ft", Sign.AT_MOST, "off_ball_screen.closest_within_ft"),
            ("contact_ft", Sign.AT_MOST, "off_ball_screen.touch_ft"),
            ("screener_speed_ft_s", Sign.AT_MOST, "off_ball_screen.screener_speed_ft_s"),
        ),
        "zipper_cut": (*_CUT, ("rise_ft", Sign.AT_LEAST, "cut.curl_rise_ft")),
        **{
            f"{name}_cut": _CUT
            for name in ("loop", "back", "deep", "flash", "basket", "ucla", "iverson", "shallow")
        },
        "denial": (
            ("lasted_s", Sign.AT_LEAST, "denial.for_s"),
            ("gap_ft", Sign.AT_MOST, "denial.within_ft"),
            ("line_gap_ft", Sign.AT_MOST, "denial.line_within_ft"),
        ),
        "stand": (("lasted_s", Sign.AT_LEAST, "stand.for_s"),),
    }
)  # fmt: skip
"""By kind: measure, how it is compared, and with which setting of the actions room."""


def threshold_rule(kind: str, settings: ActionSettings) -> Condition | None:
    """The measurable part of a kind's rule as a condition; None where it has none."""
    parts = [Compared(measure, sign, _setting(settings, path)) for measure, sign, path in THRESHOLDS.get(kind, ())]
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else All(tuple(parts))


def _setting(settings: BaseModel, path: str) -> float:
    value: object = settings
    for name in path.split("."):
        value = getattr(value, name)
    if not isinstance(value, int | float):
        raise TypeError(f"The setting actions.{path} is no number.")
    return float(value)
