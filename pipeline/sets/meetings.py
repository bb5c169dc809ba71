"""Screens off the ball that nobody saw: teammates who met while one hid the other.

Where two bodies meet in a picture one hides the other, and a track may go on with the wrong one of them: of the screens
that are not told on film most are lost so. That the two met is seen all the same. So the matcher is given such meetings
as screens of either for the other, as it is given passes that nobody saw (:mod:`unseen`), and takes one on trust where
nothing better met a phase that must be there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations
from types import MappingProxyType

import numpy as np

from pipeline.actions.events import Event
from pipeline.sets.floor import Floor
from pipeline.sets.settings import SetSettings
from pipeline.sets.unseen import HIDDEN_S

SCREENS = ("off_ball_screen", "on_ball_screen", "handoff")
"""What two who met were seen to do."""

LOOK_S = 0.1
"""How often it is looked who is how far from whom."""


def unseen_screens(events: Sequence[Event], floor: Floor, settings: SetSettings) -> list[Event]:
    """Screens off the ball that may have been set in a possession while one of the two was hidden.

    Parameters
    ----------
    events : sequence of Event
        The actions of one possession.
    floor : Floor
    settings : SetSettings

    Returns
    -------
    list of Event
        Of kind ``off_ball_screen``, with the score ``unseen_score`` and no more traits and measures than its place, in
        order of time, two a meeting. None where every player was always seen.
    """
    touches = [e for e in events if e.kind == "touch" and e.actors]
    if not touches:
        return []
    shot, end = events[0].shot, events[0].attacked_end
    start_s, end_s = min(e.start_s for e in events), max(e.end_s for e in touches)
    times = np.arange(start_s, end_s + 1e-6, LOOK_S)
    holders = sorted({e.actors[0][1] for e in touches})
    team = sorted({mate for holder in holders for t_s in (start_s, end_s) for mate in floor.mates(shot, holder, t_s)})
    if len(times) < 3 or not any(floor.was_hidden(shot, one, start_s, end_s) for one in team):
        return []
    places = {one: floor.places_uv(shot, one, times, end) for one in team}
    told = [e for e in events if e.kind in SCREENS]
    found = []
    for one, other in combinations(team, 2):
        gap_ft = np.linalg.norm(places[one] - places[other], axis=1)
        for k in _closest(gap_ft, settings):
            t_s = float(times[k])
            around = (t_s - settings.unseen_around_s, t_s + settings.unseen_around_s)
            if not any(floor.was_hidden(shot, who, *around) for who in (one, other)):
                continue
            if _has_ball(touches, (one, other), t_s) or _was_told(told, (one, other), t_s, settings):
                continue
            for screener, cutter in ((one, other), (other, one)):
                found.append(_screen(events[0], screener, cutter, t_s, places[screener][k], floor, settings))
    return sorted(found, key=lambda e: e.t_s)


def _closest(gap_ft: np.ndarray, settings: SetSettings) -> Iterator[int]:
    """Moments at which two are nearest to each other, and near."""
    apart = max(1, round(settings.unseen_around_s / LOOK_S))
    near = np.where(np.isfinite(gap_ft), gap_ft, np.inf)
    for k in np.flatnonzero(near <= settings.unseen_meet_ft):
        around = near[max(0, k - apart) : k + apart + 1]
        if near[k] == around.min() and k - max(0, k - apart) == int(around.argmin()):
            yield int(k)


def _has_ball(touches: Sequence[Event], two: tuple[int, int], t_s: float) -> bool:
    return any(e.start_s <= t_s <= e.end_s and e.actors[0][1] in two for e in touches)


def _was_told(told: Sequence[Event], two: tuple[int, int], t_s: float, settings: SetSettings) -> bool:
    return any(
        abs(e.t_s - t_s) <= settings.unseen_around_s and set(two) <= {track for _, track in e.actors} for e in told
    )


def _screen(
    like: Event, screener: int, cutter: int, t_s: float, uv: np.ndarray, floor: Floor, settings: SetSettings
) -> Event:
    u_ft, v_ft = float(uv[0]), float(uv[1])
    return Event(
        kind="off_ball_screen",
        shot=like.shot,
        possession=like.possession,
        start_s=t_s - settings.unseen_around_s,
        end_s=t_s + settings.unseen_around_s,
        t_s=t_s,
        actors=(("screener", screener), ("cutter", cutter)),
        place_ft=floor.court_ft((u_ft, v_ft), like.attacked_end),
        attacked_end=like.attacked_end,
        measures=MappingProxyType({HIDDEN_S: t_s, "u_ft": u_ft, "v_ft": v_ft}),
        score=settings.unseen_screen_score if math.isfinite(u_ft) else 0.0,
    )
