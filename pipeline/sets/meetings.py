"""Screens that nobody told: teammates who met where a screen was due.

Where two bodies meet in a picture one hides the other, and a track may go on with the wrong one of them: of the screens
that are not told on film most are lost so. And a screen that hits nobody is none by itself, though it is a poor one to
a coach who sees that all the rest of a set is played. That the two met is seen in both cases. So the matcher is given
such meetings as screens, as it is given passes that nobody saw (:mod:`unseen`), and takes one on trust where nothing
better met a phase that must be there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from types import MappingProxyType

import numpy as np

from pipeline.actions.events import Event
from pipeline.sets.floor import Floor
from pipeline.sets.settings import SetSettings
from pipeline.sets.unseen import HIDDEN_S, LOOK_S

TOLD = ("off_ball_screen", "on_ball_screen", "handoff")
"""What two who met were seen to do."""

MET, RAN_BY, HIDDEN = "met", "ran_by", "hidden"
"""Trait of such a screen: whether one stood and the other ran by, or that is not known since one was hidden."""

SEEN_BESIDE = 1
"""So many phases that must be there are seen beside a screen on trust ..."""
SEEN_BESIDE_HIDDEN = 2
"""... and so many beside one for the ball, whom others always pass, where one was hidden as they met."""

SINCE_HALF_COURT = "since_half_court_s"
"""Measure of a ball screen."""

STOOD, RAN = 3, 5
"""So many looks before and after a meeting tell who stood and who ran."""


def untold_screens(events: Sequence[Event], floor: Floor, settings: SetSettings) -> list[Event]:
    """Screens that may have been set in a possession and were not told.

    Two teammates met, and either one of them was hidden then, or the one stood and the other ran by.

    Parameters
    ----------
    events : sequence of Event
        The actions of one possession.
    floor : Floor
    settings : SetSettings

    Returns
    -------
    list of Event
        Of kind ``off_ball_screen`` or, where one of the two has the ball, ``on_ball_screen``, with the score
        ``untold_screen_score``, the trait :data:`MET` and no more measures than the place, in order of time.
    """
    touches = [e for e in events if e.kind == "touch" and e.actors]
    if not touches:
        return []
    shot, end = events[0].shot, events[0].attacked_end
    start_s, end_s = min(e.start_s for e in events), max(e.end_s for e in touches)
    times = np.arange(start_s, end_s + 1e-6, LOOK_S)
    holders = {e.actors[0][1] for e in touches}
    team = sorted({mate for one in holders for t_s in (start_s, end_s) for mate in floor.mates(shot, one, t_s)})
    places = {one: floor.places_uv(shot, one, times, end) for one in team}
    told = [e for e in events if e.kind in TOLD]
    over_s = _half_court_s(events)
    found = []
    for one, other in combinations(team, 2):
        gap_ft = np.linalg.norm(places[one] - places[other], axis=1)
        for k in _closest(gap_ft, settings):
            t_s = float(times[k])
            if any(
                abs(e.t_s - t_s) <= settings.met_around_s and {one, other} <= {track for _, track in e.actors}
                for e in told
            ):
                continue
            hidden = any(
                floor.was_hidden(shot, who, t_s - settings.met_around_s, t_s + settings.met_around_s)
                for who in (one, other)
            )
            held = {e.actors[0][1] for e in touches if e.start_s <= t_s <= e.end_s}
            for screener, mover in ((one, other), (other, one)):
                ran = _ran_by(places[screener], places[mover], k, settings)
                if screener in held or not (ran or hidden):
                    continue
                kind = "on_ball_screen" if mover in held else "off_ball_screen"
                screen = _screen(events[0], kind, screener, mover, t_s, places[screener][k], floor, settings)
                measures = screen.measures
                if kind == "on_ball_screen":
                    measures = MappingProxyType({**measures, SINCE_HALF_COURT: t_s - over_s})
                found.append(
                    replace(
                        screen,
                        start_s=max(screen.start_s, start_s),
                        measures=measures,
                        traits=MappingProxyType({MET: RAN_BY if ran else HIDDEN}),
                    )
                )
    return sorted(found, key=lambda e: e.t_s)


def seen_beside(screen: Event) -> int:
    """How many phases that must be there are seen beside what is taken on trust."""
    if MET not in screen.traits:
        return 0
    on_ball = screen.kind == "on_ball_screen"
    return SEEN_BESIDE_HIDDEN if on_ball and screen.traits[MET] == HIDDEN else SEEN_BESIDE


def _half_court_s(events: Sequence[Event]) -> float:
    """When the ball came over half court, as the ball screens that were told say; NaN where none does."""
    told = (e.t_s - e.measures[SINCE_HALF_COURT] for e in events if SINCE_HALF_COURT in e.measures)
    return next((t_s for t_s in told if math.isfinite(t_s)), math.nan)


def _closest(gap_ft: np.ndarray, settings: SetSettings) -> Iterator[int]:
    """Moments at which two are nearest to each other, and near."""
    apart = max(1, round(settings.met_around_s / LOOK_S))
    near = np.where(np.isfinite(gap_ft), gap_ft, np.inf)
    for k in np.flatnonzero(near <= settings.met_within_ft).tolist():
        first = max(0, k - apart)
        if first + int(near[first : k + apart + 1].argmin()) == k:
            yield k


def _ran_by(screener_uv: np.ndarray, mover_uv: np.ndarray, k: int, settings: SetSettings) -> bool:
    """Whether one stood about a meeting and the other ran."""
    slow = _speeds_ft_s(screener_uv[max(0, k - STOOD) : k + STOOD + 1])
    fast = _speeds_ft_s(mover_uv[max(0, k - RAN) : k + RAN + 1])
    if not (len(slow) and len(fast)):
        return False
    return bool(slow.mean() <= settings.met_stood_ft_s and fast.max() >= settings.met_ran_ft_s)


def _speeds_ft_s(uv: np.ndarray) -> np.ndarray:
    """Speeds between looks, (N,); those that are not known left out."""
    speeds = np.linalg.norm(np.diff(uv, axis=0), axis=1) / LOOK_S
    return speeds[np.isfinite(speeds)]


def _screen(
    like: Event, kind: str, screener: int, mover: int, t_s: float, uv: np.ndarray, floor: Floor, settings: SetSettings
) -> Event:
    u_ft, v_ft = float(uv[0]), float(uv[1])
    first, second = ("screener", screener), ("cutter", mover)
    if kind == "on_ball_screen":
        first, second = ("handler", mover), ("screener", screener)
    return Event(
        kind=kind,
        shot=like.shot,
        possession=like.possession,
        start_s=t_s - settings.met_around_s,
        end_s=t_s + settings.met_around_s,
        t_s=t_s,
        actors=(first, second),
        place_ft=floor.court_ft((u_ft, v_ft), like.attacked_end),
        attacked_end=like.attacked_end,
        measures=MappingProxyType({HIDDEN_S: t_s, "u_ft": u_ft, "v_ft": v_ft}),
        score=settings.untold_screen_score,
    )
