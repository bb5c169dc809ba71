"""Post-ups: a player with his back to the ring near it, his defender on him."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.actions.ball_events import in_post, own_touches
from pipeline.actions.ball_story import Touch
from pipeline.actions.events import Event
from pipeline.actions.evidence import NAN, event_of, place_of, yes_no
from pipeline.actions.settings import ActionSettings, PostSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import NOBODY, PossessionView
from pipeline.players.imported_rows import TEAM_SIZE


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of posting up: first and past-last moment, the touch that it led to or came with, when he caught."""

    column: int
    first: int
    last: int
    touch: Touch | None
    caught_s: float = NAN


class PostUps:
    """Finds post-ups: beside the lane, slow for a second, the defender within reach.

    Facing away is not seen on the floor. So the ball must speak for it: either it comes to him there (``caught``; with
    the ball he may also be in the low lane) and he keeps it for a second, or he waits for long on the ball's side
    while a teammate outside, not farther than a pass, holds it. Who just stands beside the lane does not post up. Its
    moment is the catch (where nobody saw that, when the ball is seen again), or its start where the ball did not come.
    The score is the certainty of both places.
    """

    kinds = ("post_up",)
    needs: tuple[str, ...] = ("tracks", "touches", "possessions")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Post-ups of one possession."""
        del earlier
        found = []
        for column in np.flatnonzero(view.attackers):
            found += [_post_up(view, s, settings) for s in _spells(view, int(column), settings)]
        return found


def _spells(view: PossessionView, column: int, settings: ActionSettings) -> list[Spell]:
    rule = settings.post
    _, gap = _on_him(view, column, rule)
    beside = in_post(view, view.uv_ft[:, column], settings.ball)
    inside = view.uv_ft[:, column]
    with_ball = view.handler == column
    with np.errstate(invalid="ignore"):
        low = (np.abs(inside[:, 1]) <= view.book.lane_width_ft / 2) & (inside[:, 0] <= rule.low_lane_u_ft)
        live = (view.t_s >= view.start_s - 1e-6) & (view.t_s <= view.end_s + 1e-6)
        near = (
            live
            & (beside | (low & with_ball))
            & (view.speed_ft_s[:, column] < rule.speed_ft_s)
            & (gap <= rule.within_ft)
        )
    touches = [t for t in own_touches(view) if t.column == column]
    found: list[Spell] = []
    for first, last in stretches(bridged(near, view.t_s, rule.pause_s)):
        start_s, end_s = float(view.t_s[first]), float(view.t_s[last - 1])
        meanwhile = [t for t in touches if t.start_s <= end_s and t.end_s >= start_s]
        touch = max(meanwhile, key=lambda t: min(t.end_s, end_s) - max(t.start_s, start_s), default=None)
        if found and touch is not None and found[-1].touch == touch:
            found[-1] = replace(found[-1], last=last)
            continue
        if end_s - start_s < rule.for_s - 1e-6:
            continue
        if found and start_s - view.t_s[found[-1].last - 1] <= rule.again_s and found[-1].touch is not None:
            found[-1] = replace(found[-1], last=last)
        elif touch is not None:
            caught_s = _caught_s(view, touch, (start_s, end_s), settings.ball.unseen_s)
            caught = view.at(caught_s)
            in_lane = (
                low[caught]
                and abs(float(inside[caught, 1])) >= rule.low_lane_v_ft
                and end_s - max(start_s, caught_s) >= rule.low_lane_for_s - 1e-6
            )
            works_s = min(touch.end_s, end_s) - max(caught_s, start_s)
            settles = start_s <= caught_s + rule.settles_s and works_s >= rule.for_s - 1e-6
            if (beside[caught] or in_lane) and settles:
                found.append(Spell(column, first, last, touch, caught_s))
        elif _waits(view, column, first, last, rule):
            found.append(Spell(column, first, last, None))
    return found


def _on_him(view: PossessionView, column: int, rule: PostSettings) -> tuple[np.ndarray, np.ndarray]:
    """Who guards a player and how far off, (T,) each; ``NOBODY`` and NaN where not known.

    Who posts up hides the man on his back, or is hidden by him: the two are one body in the picture, one track ends. A
    guard who was within reach when he went out of sight is still there as long as the player has the ball, has hardly
    moved and a defender is missing on the floor; his distance is the last one known.
    """
    guard, moments = view.guard[:, column], np.arange(len(view.t_s))
    gap = np.where(guard != NOBODY, view.gap_ft[moments, column, np.maximum(guard, 0)], np.nan)
    known = np.isfinite(gap)
    last = np.maximum.accumulate(np.where(known, moments, -1))
    before = np.maximum(last, 0)
    someone_missing = np.isfinite(view.gap_ft[:, column][:, view.defenders]).sum(axis=1) < TEAM_SIZE
    way = view.uv_ft[:, column] - view.uv_ft[before, column]
    with np.errstate(invalid="ignore"):
        hidden = (last >= 0) & ~known & someone_missing & (np.hypot(way[:, 0], way[:, 1]) <= rule.hidden_moves_ft)
        hidden &= (gap[before] <= rule.within_ft) & (view.handler == column)
    return np.where(hidden, guard[before], guard), np.where(hidden, gap[before], gap)


def _caught_s(view: PossessionView, touch: Touch, spell_s: tuple[float, float], unseen_s: float) -> float:
    """When a touch's ball was caught by a player who posts up for a spell.

    Where the ball went out of sight before that for ``unseen_s`` and more, he may have got it only then: the touch
    begins when it is seen again.
    """
    if not view.ball_seen.any():
        return touch.start_s
    span = view.span(touch.start_s, touch.end_s)
    hidden = [
        (float(view.t_s[span.start + a]), float(view.t_s[span.start + b - 1]))
        for a, b in stretches(~view.ball_seen[span])
        if (b - a) * view.step_s >= unseen_s
    ]
    again = [end for start, end in hidden if start < spell_s[0]]
    return min(again[-1], spell_s[1]) if again else touch.start_s


def _waits(view: PossessionView, column: int, first: int, last: int, rule: PostSettings) -> bool:
    """Whether a player waits for the ball at the post: on its side, a teammate outside with it, for long enough."""
    span = slice(first, last)
    handler = view.handler[span]
    held = handler != NOBODY
    moments = np.flatnonzero(held)
    if not len(moments) or float(np.nanmedian(np.abs(view.uv_ft[span, column, 1]))) > rule.waits_v_ft:
        return False
    who = handler[moments]
    outside = view.ring_ft[first + moments, who] >= rule.passer_from_ft
    reach = view.gap_ft[first + moments, column, who] <= rule.passer_within_ft
    side = view.ball_side[first + moments] == np.sign(view.uv_ft[first + moments, column, 1])
    return float((outside & reach & side).sum()) * view.step_s >= rule.waits_s


def _post_up(view: PossessionView, spell: Spell, settings: ActionSettings) -> Event:
    column, first, last = spell.column, spell.first, spell.last
    guards, gaps = _on_him(view, column, settings.post)
    guard = int(guards[(first + last - 1) // 2])
    start_s, end_s = float(view.t_s[first]), float(view.t_s[last - 1])
    uv, catch_ft, moment_s = view.uv_ft[first, column], NAN, start_s
    if spell.touch is not None:
        uv = view.place_at(spell.caught_s, column)
        catch_ft, moment_s = float(np.hypot(*uv)), spell.caught_s
    gap = float(np.nanmean(gaps[first:last])) if np.isfinite(gaps[first:last]).any() else NAN
    return event_of(
        view, "post_up", (min(start_s, moment_s), moment_s, end_s), [("poster", column), ("post_defender", guard)], uv,
        measures={
            "held_s": end_s - start_s,
            "ring_distance_ft": float(np.nanmean(view.ring_ft[first:last, column])),
            "catch_ring_ft": catch_ft,
            "defender_gap_ft": gap,
            "others_moved_ft": _others_moved_ft(view, column, first, last),
        },
        traits={"place": place_of(view, uv), "caught": yes_no(spell.touch is not None)},
        tolerance_ft=settings.post.tolerance_ft,
    )  # fmt: skip


def _others_moved_ft(view: PossessionView, column: int, first: int, last: int) -> float:
    """The longest way that a teammate goes from one moment to another, feet; NaN where none is seen throughout."""
    others = view.attackers.copy()
    others[column] = False
    steps = np.diff(view.uv_ft[first:last, others], axis=0)
    ways = np.hypot(steps[..., 0], steps[..., 1]).sum(axis=0)
    known = ways[np.isfinite(ways)]
    return float(known.max()) if len(known) else NAN
