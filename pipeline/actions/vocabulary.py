"""Every kind of action by name: who takes part, what is measured of it and what is said of it.

This is what set and fault files, searches, explanations and the evaluation may speak of. A recogniser emits
nothing that is not declared here (a test holds it to that), and a file that names something else is refused with
the nearest name. Units end the measures' names. What a rule could not see is unknown: a measure is NaN, a trait
``"unknown"``.

Places in ``place`` traits are those of :mod:`pipeline.court.places`, or ``"none"``. Sides (``left`` and ``right``,
``ball`` and ``weak``) are not kept as such: ``u_ft`` and ``v_ft`` of the place say them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from pipeline.court.places import PLACES

UNKNOWN = "unknown"
"""Value of a trait that could not be seen; every trait may have it."""

YES_NO = ("yes", "no")
IN_WORDS: Mapping[bool, str] = MappingProxyType({True: "yes", False: "no"})
"""The words of a trait that is true or not."""
PLACE_VALUES = (*PLACES, "none")


@dataclass(frozen=True, slots=True)
class Measure:
    """A number kept of an action.

    Attributes
    ----------
    name : str
        Ends in its unit (``_ft``, ``_s``, ``_ft_s``, ``_deg``) or counts something.
    meaning : str
        What a coach would call it, a noun phrase that reads well in a sentence.
    """

    name: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Trait:
    """A word kept of an action: one of ``values`` or ``"unknown"``."""

    name: str
    values: tuple[str, ...]
    meaning: str


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of action.

    Attributes
    ----------
    name : str
        As in the ``kind`` column and in set files.
    title : str
        As a coach says it.
    roles : tuple of str
        Attackers and defenders that take part, the main actor first. A role that could not be told is left out of
        an event's actors, except the first.
    measures, traits : tuple
        What is kept besides. ``u_ft`` and ``v_ft`` (place in the attack frame) and ``sigma_ft`` (how sure the places
        that decided were) are kept of every kind.
    """

    name: str
    title: str
    roles: tuple[str, ...]
    measures: tuple[Measure, ...] = ()
    traits: tuple[Trait, ...] = ()


def _measures(**meanings: str) -> tuple[Measure, ...]:
    return tuple(Measure(name, meaning) for name, meaning in meanings.items())


EVERY_MEASURE = _measures(
    u_ft="distance of the place from the ring towards half court",
    v_ft="distance of the place to the right of the ring, seen from half court",
    sigma_ft="uncertainty of the places that decided",
)
"""Kept of every kind."""

_PLACE = Trait("place", PLACE_VALUES, "the named place where it happened")
_SEPARATION = _measures(
    separation_before_ft="the cutter's distance to his defender 0.3 s before",
    separation_at_ft="the cutter's distance to his defender at that moment",
    separation_after_ft="the cutter's distance to his defender 0.7 s later",
)
_CUT_MEASURES = (
    *_measures(length_ft="length of the cut", top_speed_ft_s="top speed of the cut"),
    *_measures(
        start_u_ft="distance of its start from the ring towards half court",
        start_v_ft="distance of its start to the right of the ring",
        end_u_ft="distance of its end from the ring towards half court",
        end_v_ft="distance of its end to the right of the ring",
        end_separation_ft="distance to the defender at its end",
    ),
)
_CUT_TRAITS = (
    Trait("from_place", PLACE_VALUES, "where the cut began"),
    Trait("to_place", PLACE_VALUES, "where it ended"),
    Trait("off_screen", YES_NO, "whether a teammate screened for it"),
)


def _cut(name: str, title: str, measures: tuple[Measure, ...] = (), traits: tuple[Trait, ...] = ()) -> Kind:
    return Kind(
        name, title, ("cutter", "cutter_defender", "screener"),
        (*_CUT_MEASURES, *measures), (*_CUT_TRAITS, *traits),
    )  # fmt: skip


KINDS: tuple[Kind, ...] = (
    # ---- ball ----------------------------------------------------------------------------------------------------
    Kind(
        "touch", "touch", ("handler", "on_ball_defender"),
        _measures(
            held_s="time the ball was held",
            still_s="longest time held without a dribble",
            ring_distance_ft="distance to the ring at the catch",
            catch_speed_ft_s="speed of the handler at the catch",
        ),
        (_PLACE, Trait("dribbled", YES_NO, "whether a dribble was seen in it")),
    ),
    Kind(
        "dead_dribble", "dead dribble", ("handler", "on_ball_defender"),
        _measures(held_s="time held after the last dribble", ring_distance_ft="distance to the ring"), (_PLACE,),
    ),
    Kind(
        "pass", "pass", ("passer", "receiver"),
        _measures(
            length_ft="length of the pass",
            flight_s="time in the air",
            from_ring_ft="distance of the passer to the ring",
            catch_ring_ft="distance of the catch to the ring",
            catch_above_line_ft="distance of the catch beyond the free-throw line extended",
            catch_u_ft="distance of the catch from the ring towards half court",
            catch_v_ft="distance of the catch to the right of the ring",
            receiver_gap_ft="distance of the nearest defender at the catch",
        ),
        (
            Trait(
                "type", ("post_entry", "skip", "kick_out", "reversal", "wing_entry", "other"),
                "what sort of pass it was",
            ),
            Trait("returned", YES_NO, "whether it went back to a player who had passed in the same sequence"),
            Trait("denied", YES_NO, "whether the receiver was denied before it"),
            Trait("from_place", PLACE_VALUES, "where it was thrown from"),
            Trait("to_place", PLACE_VALUES, "where it was caught"),
        ),
    ),
    Kind(
        "handoff", "handoff", ("giver", "receiver", "giver_defender", "receiver_defender"),
        _measures(
            gap_ft="distance between the two",
            flight_s="time between their hands",
            giver_speed_ft_s="speed of the giver",
            receiver_speed_ft_s="speed of the receiver",
            ring_distance_ft="distance to the ring",
        ),
        (_PLACE, Trait("giver_dribbled", YES_NO, "whether the giver dribbled towards the receiver")),
    ),
    Kind(
        "shot", "shot", ("shooter", "shooter_defender"),
        _measures(ring_distance_ft="distance to the ring", shooter_gap_ft="distance of the nearest defender"),
        (_PLACE, Trait("made", YES_NO, "whether it went in")),
    ),
    Kind(
        "rebound", "rebound", ("rebounder",), _measures(ring_distance_ft="distance to the ring"),
        (Trait("by", ("attack", "defence"), "who took it"),),
    ),
    Kind("turnover", "turnover", ("loser", "taker"), (), (_PLACE,)),
    # ---- with the ball -------------------------------------------------------------------------------------------
    Kind(
        "drive", "drive", ("handler", "on_ball_defender"),
        _measures(
            gain_ft="ground gained towards the ring",
            mean_speed_ft_s="mean speed",
            top_speed_ft_s="top speed",
            starts_at_ft="distance to the ring at its start",
            ends_at_ft="distance to the ring at its end",
            paint_entry_s="film time at which the foot enters the paint",
        ),
        (Trait("off_screen", YES_NO, "whether it came off an on-ball screen"),),
    ),
    Kind(
        "post_up", "post-up", ("poster", "post_defender"),
        _measures(
            held_s="how long it lasted",
            ring_distance_ft="distance to the ring",
            catch_ring_ft="distance of the catch to the ring",
            defender_gap_ft="distance of the defender",
            others_moved_ft="the longest way of the four others while it lasted",
        ),
        (_PLACE, Trait("caught", YES_NO, "whether the ball came in")),
    ),
    Kind(
        "isolation", "isolation", ("handler", "on_ball_defender"),
        _measures(held_s="time the ball was held", nearest_teammate_ft="distance of the nearest teammate"), (_PLACE,),
    ),
    # ---- screens -------------------------------------------------------------------------------------------------
    Kind(
        "on_ball_screen", "on-ball screen", ("handler", "screener", "on_ball_defender", "screener_defender"),
        _measures(
            closest_ft="closest approach of handler and screener",
            contact_ft="distance from the screener to the handler's defender",
            off_way_ft="how far the screener stood off that defender's way",
            handler_ring_distance_ft="distance of the handler to the ring",
            screener_speed_ft_s="speed of the screener as the handler goes",
            early_s="how long before the screener stood the handler left",
            since_last_s="time since the same pair's last screen",
            since_half_court_s="time since the ball came over half court",
        ),
        (
            Trait("side", ("side", "middle"), "where it was set"),
            Trait("sent", ("middle", "sideline", "rejected"), "which way the handler went"),
            Trait("contact", YES_NO, "whether the screener reached the defender"),
            Trait("slipped", YES_NO, "whether the screener left before contact"),
            Trait("again", YES_NO, "whether the same pair screened again within 3 s"),
            Trait("live_dribble", YES_NO, "whether the dribble was alive"),
            Trait("left_early", YES_NO, "whether the handler left while the screener still moved"),
            Trait("coverage", ("over", "under", "switch", "trap", "iced"), "how it was defended"),
            Trait("phase", ("transition", "half_court"), "before or after the attack had settled"),
        ),
    ),
    Kind(
        "corner_turned", "corner turned", ("handler", "screener", "on_ball_defender"),
        _measures(
            off_ring_deg="angle between his way and the ring",
            speed_ft_s="speed",
            after_screen_s="time after the screen",
            ring_distance_ft="distance to the ring",
        ),
    ),
    Kind(
        "off_ball_screen", "off-ball screen", ("screener", "cutter", "cutter_defender", "screener_defender"),
        (
            *_measures(
                contact_ft="distance from the screener to the cutter's defender",
                closest_ft="closest approach of cutter and screener",
                screener_speed_ft_s="speed of the screener",
                off_way_ft="how far the screener stood off that defender's way",
                line_off_deg="angle between the screen and the defender's way",
                set_up_ft="the cutter's step away first",
            ),
            *_SEPARATION,
        ),
        (
            Trait("type", ("down", "back", "cross", "flare", "pin_in", "other"), "what sort of screen it was"),
            Trait("group", ("single", "stagger", "double", "elevator"), "alone or with others for the same cutter"),
            Trait(
                "route", ("high_side", "low_side", "trails", "shoots_gap", "switches"), "which way the defender went"
            ),
            Trait("read", ("right", "wrong"), "whether the cutter went to the side that the defender did not"),
            Trait("set_up", YES_NO, "whether the cutter stepped away first"),
            _PLACE,
        ),
    ),
    # ---- without the ball ----------------------------------------------------------------------------------------
    _cut(
        "zipper_cut", "zipper cut",
        _measures(
            rise_ft="ground gained away from the ring",
            turn_off_ring_deg="angle between the end of the cut and the ring",
            turn_radius_ft="radius of the turn",
        ),
        (
            Trait("end", ("straight", "curl", "fade", "rejected"), "how the cut ended"),
            Trait("defender_trails", YES_NO, "whether the defender trailed"),
            Trait("end_right", YES_NO, "whether the end was right for what the defender did"),
        ),
    ),
    _cut("loop_cut", "loop cut"),
    _cut("back_cut", "back cut"),
    _cut("deep_cut", "deep cut"),
    _cut("flash_cut", "flash"),
    _cut("basket_cut", "basket cut"),
    _cut("ucla_cut", "UCLA cut"),
    _cut("iverson_cut", "Iverson cut"),
    _cut("shallow_cut", "shallow cut"),
    Kind(
        "denial", "denial", ("receiver", "receiver_defender", "handler"),
        _measures(
            lasted_s="how long it lasted",
            gap_ft="distance of the defender",
            line_gap_ft="distance of the defender from the line of the pass",
        ),
        (_PLACE,),
    ),
    Kind(
        "stand", "stand", ("player",),
        _measures(lasted_s="how long he stayed", ring_distance_ft="distance to the ring"), (_PLACE,),
    ),
)  # fmt: skip
"""All kinds of actions."""

KIND: Mapping[str, Kind] = MappingProxyType({kind.name: kind for kind in KINDS})
"""Kinds by name."""


def measure_names(kind: str) -> tuple[str, ...]:
    """Every measure of a kind, those of every kind included."""
    return tuple(m.name for m in (*KIND[kind].measures, *EVERY_MEASURE))


def trait_names(kind: str) -> tuple[str, ...]:
    """Every trait of a kind."""
    return tuple(t.name for t in KIND[kind].traits)
