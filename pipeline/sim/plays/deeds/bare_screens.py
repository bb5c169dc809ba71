"""Ball screens that no larger set owns: a coach calls them by when or where they are set: drag, side or middle."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.sim.plays.deeds.run import Seen
from pipeline.sim.plays.script import SetRun

NAMES = {"side": "side_ball_screen", "middle": "middle_ball_screen"}
DRAG_S = 5.0
"""A screen this soon after the ball has come over half court is a drag screen (common practice, no source)."""
AGAIN_S = 4.0
"""The same pair's next screen within this time is the same set, screened again."""
DRIVE_S = 4.0
"""A drive that starts this soon after the screen belongs to it."""


def bare_ball_screens(seen: Sequence[Seen], played: Sequence[SetRun]) -> Iterator[SetRun]:
    """Drag, side and middle ball screens outside every set that was played whole.

    Parameters
    ----------
    seen : sequence of Seen
        In order of time.
    played : sequence of SetRun
        What the script wrote down.

    Yields
    ------
    SetRun
        ``certain`` as the screen is.
    """
    whole = [run for run in played if run.certain and not run.missing]
    last: dict[tuple[int | None, int | None], float] = {}
    for screen in (s for s in seen if s.kind == "on_ball_screen"):
        pair = (screen.body("handler"), screen.body("screener"))
        again = screen.t_s - last.get(pair, -AGAIN_S - 1.0) <= AGAIN_S
        last[pair] = screen.t_s
        owned = screen.certain and any(run.start_s <= screen.t_s <= run.end_s for run in whole)
        if again or owned:
            continue
        ends = [
            s.end_s for s in seen
            if s.kind == "drive" and s.body("handler") == pair[0] and -0.5 <= s.start_s - screen.t_s <= DRIVE_S
        ]  # fmt: skip
        roles = tuple((role, body) for role, body in zip(("guard", "big"), pair, strict=True) if body is not None)
        early = screen.measures["since_half_court_s"] < DRAG_S
        name = "drag" if early else NAMES[screen.traits["side"]]
        yield SetRun(
            name, roles, screen.start_s, screen.t_s, max([screen.end_s, *ends]),
            certain=bool(screen.certain),
        )  # fmt: skip
