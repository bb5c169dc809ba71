"""Where the players of a set stand as it starts, and who those are whom no action names."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import permutations

import numpy as np

from pipeline.sets.definition import Player, Side, Zone
from pipeline.sets.floor import START
from pipeline.sets.plan import zone_of
from pipeline.sets.play import Fit, Play, side_share


def start_share(
    players: Sequence[Player],
    bound: Sequence[int | None],
    play: Play,
    first: Fit,
    mirror: int,
    *,
    loose: frozenset[int],
    loose_if_found_so: frozenset[int],
) -> tuple[float, list[int | None]]:
    """What is left of a score for where the players start, and who they are.

    Parameters
    ----------
    players : sequence of Player
    bound : sequence of int or None
        Track of each; those who are bound to none and have a place to start are looked for among their teammates.
    play : Play
    first : Fit
        The first action of the set.
    mirror : int
    loose, loose_if_found_so : frozenset of int
        Players for whom a start elsewhere only lowers the score: if they are bound, and if they are only found by where
        they stand (whom an action that was not found would have named).

    Returns
    -------
    (float, list of int or None)
        The mean over the players who have a place to start, 0 when one cannot be there; the tracks.
    """
    tracks = list(bound)
    shares, waiting = [], []
    for number, player in enumerate(players):
        if player.starts is None:
            continue
        track = tracks[number]
        if track is None:
            waiting.append(number)
        else:
            stands = _stands(player.starts, track, play, first, mirror)
            soft = player.usually or number in loose
            shares.append(max(stands, play.settings.usually_share) if soft else stands)
    if waiting and min(shares, default=1.0) > 0:
        more, found = _wait(players, waiting, tracks, play, first, mirror, loose_if_found_so)
        shares += more
        for number, track in zip(waiting, found, strict=False):
            tracks[number] = track
    if min(shares, default=1.0) == 0:
        return 0.0, tracks
    return float(np.mean(shares)) if shares else 1.0, tracks


def _wait(
    players: Sequence[Player],
    waiting: Sequence[int],
    tracks: Sequence[int | None],
    play: Play,
    first: Fit,
    mirror: int,
    loose: frozenset[int],
) -> tuple[tuple[float, ...], tuple[int, ...]]:
    """Shares and tracks of the players whom no action named: the teammates who stand best where they should."""
    event = play.events[first.index]
    mates = play.floor.mates(event.shot, event.actors[0][1], first.start_s) if event.actors else ()
    free = [track for track in mates if track not in tracks]
    if len(free) < len(waiting):
        return (play.settings.unknown_share,) * len(waiting), ()
    # nearest to the ring first, so that of equals the same one is taken whatever his number
    free.sort(key=lambda track: _ring_ft(play, first, track))
    best: tuple[float, tuple[float, ...], tuple[int, ...]] = (-1.0, (), ())
    for chosen in permutations(free, len(waiting)):
        shares = []
        for number, track in zip(waiting, chosen, strict=True):
            player = players[number]
            assert player.starts is not None
            stands = _stands(player.starts, track, play, first, mirror)
            soft = player.usually or number in loose
            shares.append(max(stands, play.settings.usually_share) if soft else stands)
        worth = 0.0 if min(shares) == 0 else sum(shares)
        if worth > best[0]:
            best = (worth, tuple(shares), chosen)
    return best[1], best[2] if best[0] > 0 else ()


def _ring_ft(play: Play, first: Fit, track: int) -> float:
    event = play.events[first.index]
    u, v = play.floor.place_uv(event.shot, track, first.start_s, event.attacked_end)
    return round(math.hypot(u, v), 6) if math.isfinite(u) else math.inf


def _stands(zone: Zone, track: int, play: Play, first: Fit, mirror: int) -> float:
    """How well a player stands in a zone, at the best of a few looks before the first action."""
    known = play.stood.get((zone, track, first.start_s, mirror))
    if known is None:
        known = play.stood[(zone, track, first.start_s, mirror)] = _looked(zone, track, play, first, mirror)
    return known


def _looked(zone: Zone, track: int, play: Play, first: Fit, mirror: int) -> float:
    event, s = play.events[first.index], play.settings
    side, sign = zone.side, float(mirror)
    if side in (Side.BALL, Side.WEAK, Side.SAME, Side.OPPOSITE):
        sign = play.floor.ball_side(event.shot, first.start_s, event.attacked_end)
        side = Side.BALL if side in (Side.BALL, Side.SAME) else Side.WEAK
    columns = zone_of(zone, START).columns
    best = math.nan  # a look that was not seen counts only where none was
    for graded, v_ft in play.stances(event.shot, track, first.start_s, event.attacked_end):
        if math.isnan(v_ft):
            continue
        share = max(graded[column] for column in columns) if columns else 1.0
        if side is not None:
            share *= s.unknown_share if sign == 0 else side_share(side, v_ft * sign, s)
        best = share if math.isnan(best) else max(best, share)
    return s.unknown_share if math.isnan(best) else best
