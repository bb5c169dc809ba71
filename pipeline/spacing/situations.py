"""What fault files may speak of: situations with their players, measures and traits, by name.

A situation is found by code and judged by a file. A *moment* happens at a time (a catch, a turned corner); a *spell*
is looked at in every moment of a possession (two teammates near each other), and the file says for how long. Most
moments belong to one action and have all its measures and traits besides those named here. A finder emits nothing
that is not declared here (a test holds it to that).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from pipeline.actions.vocabulary import EVERY_MEASURE, KIND, PLACE_VALUES, YES_NO, Measure, Trait


class Lasting(StrEnum):
    """Whether a situation happens at a moment or is looked at all the time."""

    MOMENT = "moment"
    SPELL = "spell"


@dataclass(frozen=True, slots=True)
class Situation:
    """Something that may be a fault.

    Attributes
    ----------
    name : str
        As in fault files.
    title : str
        As a coach says it.
    lasting : Lasting
    roles : tuple of str
        Who takes part, the main actor first. A role that nobody fills is left out.
    action : str
        The kind of action that it belongs to, whose measures and traits it has too; empty for none.
    own_measures, own_traits : tuple
        What is kept besides.
    rests_on : tuple of str
        Kinds of actions that it comes from without having their measures.
    """

    name: str
    title: str
    lasting: Lasting
    roles: tuple[str, ...]
    action: str = ""
    own_measures: tuple[Measure, ...] = ()
    own_traits: tuple[Trait, ...] = ()
    rests_on: tuple[str, ...] = ()

    @property
    def actions(self) -> tuple[str, ...]:
        """Kinds of actions that it comes from."""
        return self.rests_on or ((self.action,) if self.action else ())

    @property
    def measures(self) -> tuple[Measure, ...]:
        """All measures, those of its action and, of a spell, how long it lasted included."""
        inherited = (*KIND[self.action].measures, *EVERY_MEASURE) if self.action else EVERY_MEASURE
        lasted = (LASTED,) if self.lasting is Lasting.SPELL else ()
        return (*self.own_measures, *lasted, *(m for m in inherited if m.name not in {o.name for o in lasted}))

    @property
    def traits(self) -> tuple[Trait, ...]:
        """All traits, those of its action included."""
        return (*self.own_traits, *(KIND[self.action].traits if self.action else ()))


LASTED = Measure("lasted_s", "how long it lasted")
"""Known of a spell once it is over: fit for sentences and severity, not for the rule itself."""

_SETTLED = Trait("settled", YES_NO, "whether the attack had settled in the half court")

SITUATIONS: tuple[Situation, ...] = (
    Situation(
        "arrival", "arrival at the paint", Lasting.MOMENT,
        ("handler", "attacker_in_paint", "defender_in_paint", "in_paint"),
        own_measures=(
            Measure("count", "others in the paint"),
            Measure("peak_count", "most others in the paint around the moment"),
            Measure("attackers", "attackers in the paint"),
            Measure("defenders", "defenders in the paint"),
            Measure("unknown_team", "bodies in the paint whose team is not known"),
            Measure("crowded_for_s", "how long at least as many stood there"),
            Measure("players_placed", "players whose place was known"),
        ),
        own_traits=(
            Trait("moment", ("turns_the_corner", "enters_the_paint"), "what the handler does at that moment"),
        ),
        rests_on=("drive", "corner_turned"),
    ),
    Situation(
        "on_ball_screen", "on-ball screen", Lasting.MOMENT,
        ("handler", "screener", "on_ball_defender", "screener_defender"), action="on_ball_screen",
        own_measures=(
            Measure("slowest_ft_s", "least speed of the screener just before the handler is nearest to him"),
            Measure("stands_after_s", "how long after that the screener first stands"),
        ),
    ),
    Situation(
        "used_screen", "where an on-ball screen leads", Lasting.MOMENT,
        ("handler", "screener", "on_ball_defender", "screener_defender", "other_screener", "other_cutter", "on_way"),
        action="on_ball_screen",
        own_measures=(
            Measure("overlap_s", "time shared with an off-ball screen in or at the paint"),
            Measure("bodies_on_way", "others who stand on the handler's way to the ring as he turns the corner"),
        ),
        own_traits=(Trait("corner_turned", YES_NO, "whether the handler turned the corner off it"),),
    ),
    Situation(
        "dead_dribble", "dead dribble", Lasting.MOMENT, ("handler", "screener"), action="dead_dribble",
        own_measures=(
            Measure("screener_set_after_s", "how long after the dribble died a screener was set for him"),
        ),
        own_traits=(Trait("screened_for", YES_NO, "whether a teammate came to screen for him"),),
    ),
    Situation(
        "catch", "catch", Lasting.MOMENT, ("receiver", "passer", "denier"), action="pass",
        own_measures=(
            Measure("catch_abs_v_ft", "distance of the catch from the line through the rings"),
            Measure("denied_s", "how long the receiver was denied before it"),
        ),
        own_traits=(
            Trait("on_wing_side", YES_NO, "whether it was caught as wide as the wing"),
            Trait("from_same_side", YES_NO, "whether it was thrown from as wide on that side"),
            _SETTLED,
        ),
    ),
    Situation(
        "touch", "touch", Lasting.MOMENT, ("handler", "denied"), action="touch",
        own_measures=(
            Measure("denied_count", "teammates who were denied during it"),
            Measure("seen_still_s", "how long the ball was seen to be held without a dribble"),
        ),
        own_traits=(
            Trait("then", ("pass", "handoff", "shot", "lost", "other"), "what followed"),
            _SETTLED,
        ),
    ),
    Situation(
        "post_up", "post-up", Lasting.MOMENT, ("poster", "post_defender", "other"), action="post_up",
        own_measures=(
            Measure("most_moved_ft", "way of the one of the four others who moved most, in the 2 s after the catch"),
            Measure("mean_moved_ft", "mean way of the four others in those 2 s"),
            Measure("others_placed", "how many of the four others were placed all along"),
            Measure("with_ball_s", "how long it lasted with the ball"),
        ),
        own_traits=(
            Trait("screened", YES_NO, "whether one of the others screened during it"),
            Trait("cut", YES_NO, "whether one of the others cut during it"),
            _SETTLED,
        ),
    ),
    Situation(
        "after_screen", "what a screener does after his off-ball screen", Lasting.MOMENT,
        ("screener", "cutter"), action="off_ball_screen",
        own_measures=(
            Measure("path_ft", "way of the screener after his screen"),
            Measure("followed_s", "how long he was followed"),
        ),
        own_traits=(
            Trait("screened_again", YES_NO, "whether he screened again"),
            Trait("cut_off_screen", YES_NO, "whether he cut off a screen"),
            Trait("got_ball", YES_NO, "whether the ball came to him"),
            Trait("ended", PLACE_VALUES, "where he ended"),
        ),
    ),
    Situation(
        "zipper_cut", "zipper cut", Lasting.MOMENT, ("cutter", "cutter_defender", "screener"), action="zipper_cut",
        own_traits=(Trait("defender_behind", YES_NO, "whether the defender ran behind the cutter"),),
    ),
    Situation("drive", "drive", Lasting.MOMENT, ("handler", "on_ball_defender"), "drive"),
    Situation(
        "off_ball_screen", "off-ball screen", Lasting.MOMENT,
        ("screener", "cutter", "cutter_defender", "screener_defender"), "off_ball_screen",
    ),
    Situation(
        "ball_inside", "the ball's first way inside", Lasting.MOMENT, ("handler",),
        own_measures=(
            Measure("hull_attack_ft2", "area round the five attackers"),
            Measure("hull_defence_ft2", "area round the five defenders, or at least round the four who are placed"),
            Measure("hull_lead_ft2", "how much larger the attackers' area is"),
            Measure("players_placed", "players whose place was known"),
        ),
        own_traits=(_SETTLED,),
    ),
    Situation(
        "two_teammates", "two perimeter teammates", Lasting.SPELL, ("player", "other"),
        own_measures=(
            Measure("gap_ft", "distance between the two"),
        ),
        own_traits=(
            Trait("busy", YES_NO, "whether one of them is in a screen, a handoff or a cut"),
            _SETTLED,
        ),
    ),
    Situation(
        "ball_side", "the ball's side", Lasting.SPELL, ("handler",),
        own_measures=(
            Measure("count", "attackers on the ball's side"),
            Measure("ball_abs_v_ft", "distance of the ball from the line through the rings"),
        ),
        own_traits=(_SETTLED,),
    ),
)  # fmt: skip
"""All situations."""

SITUATION: Mapping[str, Situation] = MappingProxyType({s.name: s for s in SITUATIONS})
"""Situations by name."""
