"""Everything that happened in a run."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.sim.plays.deeds.ball import ball_events, drives, isolations, loose_drives
from pipeline.sim.plays.deeds.cuts import cuts
from pipeline.sim.plays.deeds.run import Run, Seen
from pipeline.sim.plays.deeds.screens import corners_turned, off_ball_screens, on_ball_screens
from pipeline.sim.plays.deeds.without_ball import denials, post_ups, stands
from pipeline.sim.plays.script import Deed, Play

MOMENT_S = 0.8
"""A deed is found when the same thing by the same bodies lies within this time of it."""


SPELLS = ("touch", "post_up", "isolation", "denial", "stand")
"""Kinds that last; found when their times overlap."""


def observe(run: Run) -> tuple[Seen, ...]:
    """Actions of a run, in order of time."""
    denied = tuple(denials(run))
    for_ball, off_ball = on_ball_screens(run), off_ball_screens(run)
    driven = list(drives(run, tuple(for_ball)))
    found = [
        *ball_events(run, denied), *driven,
        *loose_drives(run, driven), *isolations(run), *for_ball,
        *corners_turned(run, for_ball), *off_ball, *cuts(run, off_ball, denied), *denied, *post_ups(run), *stands(run),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda s: (s.t_s, s.kind, s.roles)))


def matches(deed: Deed, seen: Seen) -> bool:
    """Whether a thing seen is the deed: kind, the deed's roles, its time, its traits."""
    roles = dict(seen.roles)
    return (
        seen.kind == deed.kind
        and _same_time(deed, seen)
        and all(roles.get(r) == b for r, b in deed.roles)
        and all(seen.traits.get(k) == v for k, v in deed.traits)
    )


def _same_time(deed: Deed, seen: Seen) -> bool:
    if seen.kind in SPELLS or seen.kind.endswith("_cut"):
        return seen.start_s < deed.end_s + 0.2 and seen.end_s > deed.start_s - 0.2
    return abs(seen.t_s - deed.t_s) <= MOMENT_S


def keeps_word(play: Play, seen: Sequence[Seen], faults: Sequence[Seen]) -> bool:
    """Whether everything that a script meant is in the paths, and no fault that it spares."""
    if not all(any(matches(d, s) and s.certain for s in seen) for d in play.deeds):
        return False
    named = {f.kind for f in faults if f.certain}
    doubtful = {f.kind for f in faults if not f.certain}
    return play.faults <= named and not play.spared & (named | doubtful)
