"""Passes that nobody saw: what the ball may have done while it was out of sight.

Film loses the ball for a second now and then, most of all in the air. What was told of it for that time is no more than
a guess: the holder keeps it in the tables until it is seen with somebody else. A set that is there but for one pass,
with the ball out of sight when that pass was due, was most likely played. So the matcher is given these passes too (and
handoffs, where two met), and takes those of one such stretch at most (``SetSettings.unseen_at_most``) where nothing
better met a phase that must be there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from pipeline.actions.events import Event
from pipeline.sets.floor import Floor
from pipeline.sets.settings import SetSettings

HIDDEN_S = "hidden_s"
"""Measure of what nobody saw: since when the ball was out of sight, or when two met (:mod:`meetings`)."""

LOOK_S = 0.1
"""How often it is looked who meets whom."""

TOLD = ("pass", "handoff")
"""While one of these was told, the ball is not taken to have done something else."""


@dataclass(frozen=True, slots=True)
class Hidden:
    """A stretch of time in which the ball was not seen.

    Attributes
    ----------
    start_s, end_s : float
        The sightings before and after it, or the first or last moment of the possession.
    next_uv : tuple of float
        Where the ball was seen next, attack frame; NaN where it was not seen again.
    """

    start_s: float
    end_s: float
    next_uv: tuple[float, float]


def unseen_passes(events: Sequence[Event], floor: Floor, settings: SetSettings) -> list[Event]:
    """Passes and handoffs that may have been made in a possession while the ball was out of sight.

    Parameters
    ----------
    events : sequence of Event
        The actions of one possession.
    floor : Floor
    settings : SetSettings

    Returns
    -------
    list of Event
        Of kind ``pass`` and ``handoff``, with the score ``unseen_score`` and no more traits and measures than its
        places, in order of time. None where the ball's table is empty or never tells a sighting.
    """
    if not events:
        return []
    shot, end = events[0].shot, events[0].attacked_end
    start_s, end_s = min(e.start_s for e in events), max(e.end_s for e in events)
    seen_s = floor.sightings_s(shot, start_s, end_s)
    if not len(seen_s):
        return []
    touches = [e for e in events if e.kind == "touch" and e.actors]
    stands = [e for e in events if e.kind == "stand"]
    found: list[Event] = []
    for hidden in _hidden(events[0], seen_s, start_s, end_s, floor, settings):
        found += _flown_on(hidden, events, floor, settings)
        if any(e.start_s < hidden.end_s and e.end_s > hidden.start_s for e in events if e.kind in TOLD):
            continue
        found += _handoffs(hidden, events, settings)
        found += _given_back(hidden, events[0], touches, floor, settings)
        for t_s in _moments(hidden, settings):
            for passer, receiver in _pairs(hidden, t_s, touches, floor, shot, started=hidden.start_s <= start_s):
                if _may_have_gone(hidden, passer, receiver, floor, shot, end, settings):
                    stood = _stood(hidden, receiver, stands, settings)
                    score = settings.unseen_score * (settings.unseen_stood_share if stood else 1.0)
                    found.append(_pass(events[0], hidden, t_s, passer, receiver, floor, score))
    return found


def _handoffs(hidden: Hidden, events: Sequence[Event], settings: SetSettings) -> Iterator[Event]:
    """Handoffs that were taken for ball screens: the two met, and the ball was thought to stay with the giver."""
    for screen in events:
        handler, screener = screen.actor("handler"), screen.actor("screener")
        if screen.kind != "on_ball_screen" or handler is None or screener is None:
            continue
        slack_s = settings.order_slack_s
        if hidden.start_s - slack_s <= screen.t_s <= hidden.end_s + slack_s:
            close = screen.measures.get("closest_ft", math.nan)
            if close <= settings.unseen_handoff_ft:
                yield replace(
                    screen,
                    kind="handoff",
                    actors=(("giver", handler), ("receiver", screener)),
                    measures=MappingProxyType(
                        {
                            HIDDEN_S: hidden.start_s,
                            "gap_ft": close,
                            "u_ft": screen.measures["u_ft"],
                            "v_ft": screen.measures["v_ft"],
                        }
                    ),
                    traits=MappingProxyType({}),
                    score=settings.unseen_handoff_score,
                )


def _flown_on(hidden: Hidden, events: Sequence[Event], floor: Floor, settings: SetSettings) -> Iterator[Event]:
    """Passes whose ball was last seen at whom they were told to, and may have flown on to another."""
    for told in events:
        passer, receiver = told.actor("passer"), told.actor("receiver")
        if told.kind != "pass" or passer is None or receiver is None:
            continue
        if abs(told.end_s - hidden.start_s) > settings.order_slack_s:
            continue
        for mate in floor.mates(told.shot, passer, told.end_s):
            if mate not in (passer, receiver) and _may_have_gone(
                hidden, receiver, mate, floor, told.shot, told.attacked_end, settings
            ):
                flown = _pass(told, hidden, told.end_s, passer, mate, floor, settings.unseen_score)
                yield replace(flown, start_s=told.start_s)


def _given_back(
    hidden: Hidden, like: Event, touches: Sequence[Event], floor: Floor, settings: SetSettings
) -> Iterator[Event]:
    """Handoffs to whoever was thought to have the ball all along, by a teammate whom he met and had passed it to."""
    before = [e for e in touches if e.start_s <= hidden.start_s + 1e-6]
    if not before:
        return
    shot, end = like.shot, like.attacked_end
    receiver = max(before, key=lambda e: e.start_s).actors[0][1]
    times = np.arange(hidden.start_s + 2 * settings.unseen_flight_s, hidden.end_s + 1e-6, LOOK_S)
    if not len(times):
        return
    own = floor.places_uv(shot, receiver, times, end)
    for giver in floor.mates(shot, receiver, hidden.end_s):
        away_ft = np.linalg.norm(floor.places_uv(shot, giver, times, end) - own, axis=1)
        if giver == receiver or not np.isfinite(away_ft).any() or np.nanmin(away_ft) > settings.unseen_handoff_ft:
            continue
        k = int(np.nanargmin(away_ft))
        measures = {HIDDEN_S: hidden.start_s, "gap_ft": float(away_ft[k]), "u_ft": own[k, 0], "v_ft": own[k, 1]}
        yield replace(
            like,
            kind="handoff",
            start_s=float(times[k]),
            end_s=float(times[k]),
            t_s=float(times[k]),
            actors=(("giver", giver), ("receiver", receiver)),
            place_ft=floor.court_ft((own[k, 0], own[k, 1]), end),
            measures=MappingProxyType({name: float(value) for name, value in measures.items()}),
            traits=MappingProxyType({}),
            score=settings.unseen_score,
        )


def _hidden(
    like: Event, seen_s: np.ndarray, start_s: float, end_s: float, floor: Floor, settings: SetSettings
) -> Iterator[Hidden]:
    edges = np.concatenate([[start_s], seen_s, [end_s]])
    for before, after in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        again = after <= seen_s[-1] + 1e-6
        if after - before >= (settings.unseen_from_s if again else settings.unseen_flight_s) - 1e-6:
            uv = floor.ball_uv(like.shot, after, like.attacked_end) if again else (math.nan, math.nan)
            yield Hidden(before, after, uv)


def _moments(hidden: Hidden, settings: SetSettings) -> list[float]:
    """When a pass out of sight may have been caught: soon after the ball was last seen, or just before it was again."""
    soon = min(hidden.start_s + settings.unseen_flight_s, hidden.end_s)
    return [soon] if hidden.end_s - soon < settings.unseen_flight_s else [soon, hidden.end_s]


def _pairs(
    hidden: Hidden, t_s: float, touches: Sequence[Event], floor: Floor, shot: int, *, started: bool
) -> Iterator[tuple[int, int]]:
    """Passers and receivers: from whoever was told to have the ball, or, where the possession began so, to him."""
    if started:
        first = min(touches, key=lambda e: e.start_s, default=None)
        if first is None:
            return
        receiver = first.actors[0][1]
        yield from ((mate, receiver) for mate in floor.mates(shot, receiver, t_s) if mate != receiver)
        return
    before = [e for e in touches if e.start_s <= hidden.start_s + 1e-6]
    if not before:
        return
    passer = max(before, key=lambda e: e.start_s).actors[0][1]
    yield from ((passer, mate) for mate in floor.mates(shot, passer, t_s) if mate != passer)


def _may_have_gone(
    hidden: Hidden, passer: int, receiver: int, floor: Floor, shot: int, end: str, settings: SetSettings
) -> bool:
    """Whether the next sighting leaves it open: nearer to the receiver than to the passer, at neither, or so late that
    the ball may have gone on meanwhile."""
    if hidden.end_s - hidden.start_s > settings.unseen_back_s:
        return True
    from_uv, to_uv = (floor.place_uv(shot, track, hidden.end_s, end) for track in (passer, receiver))
    from_ft, to_ft = math.dist(hidden.next_uv, from_uv), math.dist(hidden.next_uv, to_uv)
    if not math.isfinite(from_ft):
        return True
    return from_ft > settings.unseen_with_ft or to_ft < from_ft


def _stood(hidden: Hidden, receiver: int, stands: Sequence[Event], settings: SetSettings) -> bool:
    """Whether a player had long been standing where he was when the ball went out of sight."""
    since_s = hidden.start_s - settings.unseen_stood_s
    return any(e.actor("player") == receiver and e.start_s <= since_s and e.end_s >= hidden.start_s for e in stands)


def _pass(like: Event, hidden: Hidden, t_s: float, passer: int, receiver: int, floor: Floor, score: float) -> Event:
    start = floor.place_uv(like.shot, passer, hidden.start_s, like.attacked_end)
    catch = floor.place_uv(like.shot, receiver, t_s, like.attacked_end)
    return Event(
        kind="pass",
        shot=like.shot,
        possession=like.possession,
        start_s=hidden.start_s,
        end_s=t_s,
        t_s=t_s,
        actors=(("passer", passer), ("receiver", receiver)),
        place_ft=floor.court_ft(catch, like.attacked_end),
        attacked_end=like.attacked_end,
        measures=MappingProxyType(
            {
                HIDDEN_S: hidden.start_s,
                "u_ft": catch[0],
                "v_ft": catch[1],
                "start_u_ft": start[0],
                "start_v_ft": start[1],
                "catch_u_ft": catch[0],
                "catch_v_ft": catch[1],
                "catch_ring_ft": math.hypot(*catch),
            }
        ),
        score=score,
    )
