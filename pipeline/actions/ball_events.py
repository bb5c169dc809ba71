"""What happens to the ball: touches, dead dribbles, passes, handoffs, shots, rebounds and turnovers.

All are read from the possession's story of the ball (``ball_story``): whose hands it was in, and what lay between.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from pipeline.actions.ball_story import Change, Touch
from pipeline.actions.events import Event
from pipeline.actions.evidence import NAN, event_of, gap_at, nearest, place_of, yes_no
from pipeline.actions.settings import ActionSettings, BallSettings
from pipeline.actions.view import NOBODY, PossessionView

NEEDS = ("tracks", "touches", "possessions")


class Touches:
    """Finds touches: one attacker's time with the ball, from catch to release.

    ``still_s`` is the longest time within it in which the ball was seen and not dribbled; it is not known where the
    ball's height was seen for less than ``dribble_known`` of the touch. The score is the certainty of the handler's
    place, times how sure the ball room is of the hold.
    """

    kinds = ("touch",)
    needs = NEEDS

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Touches of one possession."""
        del earlier
        return [_touch(view, touch, settings.ball) for touch in own_touches(view)]


class DeadDribbles:
    """Finds dribbles that died: the handler has dribbled and then holds the ball until the touch ends.

    A hold in which no dribble was seen at all is no dead dribble: that player can still dribble. The ball must have
    been seen in the hands: in enough of the time after the last dribble, without a long gap, and never near the floor.
    """

    kinds = ("dead_dribble",)
    needs = NEEDS

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Dead dribbles of one possession."""
        del earlier
        rule = settings.ball
        found = []
        for touch in own_touches(view):
            if not touch.dribbles:
                continue
            last = min(max(end for _, end in touch.dribbles), touch.end_s)
            last = _bounced_until(view, last, touch.end_s, rule)
            # where the ball was poorly seen, the last bounce may have been missed
            least_s = rule.dead_after_s + rule.bounce_s * (1.0 - min(max(touch.score, 0.0), 1.0))
            if touch.end_s - last < least_s or not _held_high(view, last, touch.end_s, rule):
                continue
            uv = view.place_at(last, touch.column)
            found.append(
                event_of(
                    view, self.kinds[0], (last, last, touch.end_s),
                    [("handler", touch.column), ("on_ball_defender", view.guard_of(view.at(last), touch.column))], uv,
                    measures={"held_s": touch.end_s - last, "ring_distance_ft": float(np.hypot(*uv))},
                    traits={"place": place_of(view, uv)},
                    tolerance_ft=rule.tolerance_ft, trust=_trust(touch.score),
                )
            )  # fmt: skip
        return found


class Passes:
    """Finds passes: a touch, then a teammate's, nobody else's between, and no handoff.

    The type is the first that fits of: **post entry** (from outside to a slow receiver beside the lane), **skip**
    (over 25 ft and across the lane), **kick-out** (from the paint, or a place as near to the ring, out beyond
    ``outside_ft``), **reversal** (from wing or corner to slot or top, and from there to the side that the ball did not
    come from), **wing entry** (from slot or top to a wing), other. Back to the ring is not seen on the floor; who
    receives beside the lane and hardly moves has it.
    """

    kinds = ("pass",)
    needs = (*NEEDS, "denial")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Passes of one possession; denials among the earlier events tell whether the receiver was denied."""
        denials = [e for e in earlier if e.kind == "denial"]
        found: list[Event] = []
        passers: set[int] = set()
        for change in own_changes(view, settings.ball):
            if not is_handoff(view, change, settings.ball):
                found.append(_pass(view, change, passers, denials, settings.ball))
            passers.add(change.before.track)
        return found


class Handoffs:
    """Finds handoffs: the ball changes hands between teammates who are close, within a moment.

    Within 6.5 ft (Hauri and Vucetic 2022) and 0.32 s (Stephanos et al. 2022), the two within each other's reach about
    it: a toss to somebody who was never that near is a pass. Where the ball room says whether the ball flew it is
    believed, if the receiver comes to it or goes off with it; else the giver must stand or go towards him, and he must
    move. Who drives under the basket dumps the ball off, and on the way up the floor it is passed on: passes.
    """

    kinds = ("handoff",)
    needs = NEEDS

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Handoffs of one possession."""
        del earlier
        rule = settings.ball
        return [_handoff(view, c, rule) for c in own_changes(view, rule) if is_handoff(view, c, rule)]


class Shots:
    """Finds shots, at the moment of release."""

    kinds = ("shot",)
    needs = NEEDS

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Shots of one possession."""
        del earlier
        found = []
        for attempt in view.story.attempts:
            column = column_of(view, attempt.track)
            if column is None or not view.attackers[column] or not _within(view, attempt.start_s):
                continue
            uv = view.place_at(attempt.start_s, column)
            guard, gap = nearest(view, attempt.start_s, column, view.defenders)
            found.append(
                event_of(
                    view, self.kinds[0], (attempt.start_s, attempt.start_s, attempt.end_s),
                    [("shooter", column), ("shooter_defender", guard)], uv,
                    measures={"ring_distance_ft": float(np.hypot(*uv)), "shooter_gap_ft": gap},
                    traits={"place": place_of(view, uv), "made": yes_no(attempt.made)},
                    tolerance_ft=settings.ball.tolerance_ft, trust=_trust(attempt.score),
                )
            )  # fmt: skip
        return found


class Rebounds:
    """Finds rebounds, at the moment at which the ball is taken."""

    kinds = ("rebound",)
    needs = NEEDS

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Rebounds of one possession's shots."""
        del earlier
        found = []
        for attempt in view.story.attempts:
            column = None if attempt.rebounder is None else column_of(view, attempt.rebounder)
            if column is None or view.teams[column] < 0 or not _within(view, attempt.start_s):
                continue
            uv = view.place_at(attempt.rebound_s, column)
            if attempt.rebound_s > view.t_s[-1] + settings.ball.edge_s:
                uv = np.full(2, np.nan)
            found.append(
                event_of(
                    view, self.kinds[0], (attempt.end_s, attempt.rebound_s, attempt.rebound_s),
                    [("rebounder", column)], uv,
                    measures={"ring_distance_ft": float(np.hypot(*uv))},
                    traits={"by": "attack" if view.attackers[column] else "defence"},
                    tolerance_ft=settings.ball.tolerance_ft, trust=_trust(attempt.score),
                )
            )  # fmt: skip
        return found


class Turnovers:
    """Finds lost balls: the last touch of the possession is followed by a defender's, with no shot between.

    A doubtful hold after which the attackers have the ball again takes nothing, nor does a doubtful one that is over at
    once: on film a ball that nobody saw for a while is found beside somebody. A ball seen as high as the ring was a
    shot that nobody told.
    """

    kinds = ("turnover",)
    needs = NEEDS

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """The turnover that ended the possession, if one did."""
        del earlier
        rule = settings.ball
        own = [n for n, t in enumerate(view.story.touches) if t.attacks and t.start_s <= view.end_s + rule.edge_s]
        if not own or own[-1] + 1 >= len(view.story.touches):
            return []
        lost, taken = view.story.touches[own[-1]], view.story.touches[own[-1] + 1]
        shot = any(a.start_s >= lost.start_s and a.start_s <= taken.start_s for a in view.story.attempts)
        takes = taken.column != NOBODY and view.defenders[taken.column]
        if shot or not takes or lost.column == NOBODY or taken.start_s - lost.end_s > settings.view.turnover_s:
            return []
        back = any(t.attacks for t in view.story.touches[own[-1] + 2 :])
        fleeting = back or taken.held_s < rule.takes_for_s
        if (fleeting and taken.score < settings.swap_score) or _above_ring(view, lost.end_s, taken.start_s):
            return []
        uv = view.place_at(lost.end_s, lost.column)
        return [
            event_of(
                view, self.kinds[0], (lost.end_s, lost.end_s, taken.start_s),
                [("loser", lost.column), ("taker", taken.column)], uv,
                measures={}, traits={"place": place_of(view, uv)},
                tolerance_ft=rule.tolerance_ft, trust=_trust(min(lost.score, taken.score)),
            )
        ]  # fmt: skip


# ---- shared with other recognisers -----------------------------------------------------------------------------


def column_of(view: PossessionView, track: int) -> int | None:
    """Column of a track, or None."""
    found = np.flatnonzero(view.tracks == track)
    return int(found[0]) if len(found) else None


def own_touches(view: PossessionView) -> Iterator[Touch]:
    """Touches of attackers who are in the view, begun before the possession ends."""
    for touch in view.story.touches:
        if not touch.attacks or touch.column == NOBODY or touch.start_s > view.end_s + 1e-6:
            continue
        if _within(view, touch.start_s):
            yield touch
        elif touch.end_s > view.start_s:  # held since before, as by the rebounder: his touch here begins with it
            yield replace(touch, start_s=view.start_s)


def own_changes(view: PossessionView, rule: BallSettings) -> Iterator[Change]:
    """Changes of hands between attackers of the view, in order of time."""
    for change in view.story.changes():
        before, after = change.before, change.after
        if not (before.attacks and after.attacks) or NOBODY in (before.column, after.column):
            continue
        if change.flight_s <= rule.flight_s and _within(view, after.start_s):
            yield change


def is_handoff(view: PossessionView, change: Change, rule: BallSettings) -> bool:
    """Whether a change of hands is a handoff; see :class:`Handoffs`."""
    told_s = rule.ends_s if change.told == "handoff" else 0.0
    if change.told == "pass" or change.flight_s > rule.handoff_flight_s + told_s + 1e-6:
        return False
    giver, receiver = change.before.column, change.after.column
    at = 0.5 * (change.before.end_s + change.after.start_s)
    reach = exchange_ft(view, change, rule)
    waits = change.told == "handoff" and view.speed_ft_s[view.at(at), giver] <= rule.giver_stands_ft_s
    meets_ft = rule.handoff_reach_ft if waits else rule.handoff_meets_ft
    within = gap_at(view, at, giver, receiver) <= rule.handoff_within_ft or reach <= meets_ft
    from_ring_ft = float(np.nanmin(view.ring_ft[view.at(at), [giver, receiver]], initial=np.inf))
    if not (within and reach <= rule.handoff_reach_ft) or from_ring_ft < rule.dump_off_ft:
        return False
    if view.uv_ft[view.at(at), receiver, 0] > view.half_court_u_ft - rule.handoff_front_ft:
        return False
    around_s = rule.told_around_s if change.told == "handoff" else rule.handoff_around_s
    span = view.span(at - around_s, at + around_s)
    receives = float(np.nanmax(view.speed_ft_s[span, receiver], initial=0.0))
    if change.told == "handoff":
        return receives >= rule.told_moves_ft_s
    moment = view.at(at)
    to = view.uv_ft[moment, receiver] - view.uv_ft[moment, giver]
    giving = view.velocity_ft_s[moment, giver]
    speed = float(np.hypot(*giving))
    stands = not speed > rule.giver_stands_ft_s
    towards = float(giving @ to) > 0
    return receives >= rule.receiver_moves_ft_s and (stands or towards)


def exchange_ft(view: PossessionView, change: Change, rule: BallSettings) -> float:
    """How near giver and receiver come to each other about a change of hands; NaN where not known.

    The ball may be told to be the receiver's as it leaves the giver, or as it comes to him: a step before or after they
    meet.
    """
    at = 0.5 * (change.before.end_s + change.after.start_s)
    span = view.span(at - rule.handoff_around_s, at + rule.handoff_around_s)
    gap = view.gap_ft[span, change.before.column, change.after.column]
    return float(np.nanmin(gap)) if np.isfinite(gap).any() else NAN


# ---- one event each --------------------------------------------------------------------------------------------


def _within(view: PossessionView, t_s: float) -> bool:
    return view.start_s - 0.26 <= t_s <= view.end_s + 1e-6


def _trust(score: float) -> float:
    """The ball's part of a score: a doubtful hold halves it, a sure one leaves it."""
    return 0.5 + 0.5 * min(max(score, 0.0), 1.0)


def _seen(view: PossessionView, start_s: float, end_s: float, rule: BallSettings) -> bool:
    """Whether the ball was watched for long enough of an interval that a dribble would have shown."""
    return float((view.dribble[view.span(start_s, end_s)] >= 0).mean()) >= rule.dribble_known


def _above_ring(view: PossessionView, start_s: float, end_s: float) -> bool:
    """Whether the ball was seen as high as the ring for most of a tenth of a second."""
    height = view.ball_z_ft[view.span(start_s, end_s)]
    return float((height >= view.book.ring_height_ft).sum()) * view.step_s >= 0.1 - 1e-9


def _bounced_until(view: PossessionView, last_s: float, end_s: float, rule: BallSettings) -> float:
    """When the last dribble ended, by the ball's mean height over a dribble's time: one missed bounce shows there."""
    span = view.span(last_s, end_s)
    height = view.ball_z_ft[span]
    seen = np.isfinite(height)
    width = min(view.steps(rule.bounce_s), len(height))
    if not width:
        return last_s
    sums, counts = (np.convolve(x, np.ones(width), "valid") for x in (np.where(seen, height, 0.0), seen.astype(float)))
    low = np.flatnonzero((counts >= 0.5 * width) & (sums < rule.bounced_ft * counts))
    return float(view.t_s[span][low[-1] + width - 1]) if len(low) else last_s


def _held_high(view: PossessionView, start_s: float, end_s: float, rule: BallSettings) -> bool:
    """Whether the ball was seen to stay in the hands: one that is dribbled is below the knee half of the time."""
    height = view.ball_z_ft[view.span(start_s + rule.lifts_s, end_s)]
    seen = np.isfinite(height)
    gaps = np.diff(np.flatnonzero(np.concatenate([[True], seen, [True]]))) * view.step_s
    low = float((height[seen] < rule.low_ft).mean()) if seen.any() else 1.0
    return bool(seen.mean() >= rule.held_known and gaps.max() <= rule.unseen_s and low <= rule.low_share)


def _touch(view: PossessionView, touch: Touch, rule: BallSettings) -> Event:
    uv = view.place_at(touch.start_s, touch.column)
    first = view.at(touch.start_s)
    known = _seen(view, touch.start_s, touch.end_s, rule)
    dribbled = True if touch.dribbles else (False if known else None)
    return event_of(
        view, "touch", (touch.start_s, touch.start_s, touch.end_s),
        [("handler", touch.column), ("on_ball_defender", view.guard_of(first, touch.column))], uv,
        measures={
            "held_s": touch.held_s,
            "still_s": _still_s(touch) if known else NAN,
            "ring_distance_ft": float(np.hypot(*uv)),
            "catch_speed_ft_s": float(view.speed_ft_s[first, touch.column]),
        },
        traits={"place": place_of(view, uv), "dribbled": yes_no(dribbled)},
        tolerance_ft=rule.tolerance_ft, trust=_trust(touch.score),
    )  # fmt: skip


def _still_s(touch: Touch) -> float:
    """Longest time of a touch without a dribble."""
    edges = [touch.start_s]
    for start, end in sorted(touch.dribbles):
        edges += [min(max(start, touch.start_s), touch.end_s), min(max(end, touch.start_s), touch.end_s)]
    edges.append(touch.end_s)
    return max(b - a for a, b in zip(edges[::2], edges[1::2], strict=True))


def _pass(
    view: PossessionView, change: Change, passers: set[int], denials: Sequence[Event],
    rule: BallSettings,
) -> Event:  # fmt: skip
    before, after = change.before, change.after
    left, caught = view.place_at(before.end_s, before.column), view.place_at(after.start_s, after.column)
    _, gap = nearest(view, after.start_s, after.column, view.defenders)
    receiver = int(view.tracks[after.column])
    denied = any(
        d.actor("receiver") == receiver
        and d.start_s <= after.start_s
        and d.end_s >= before.end_s - rule.denied_before_s
        for d in denials
    )
    return event_of(
        view, "pass", (before.end_s, after.start_s, after.start_s),
        [("passer", before.column), ("receiver", after.column)], caught,
        measures={
            "length_ft": math.dist(left, caught),
            "flight_s": change.flight_s,
            "from_ring_ft": float(np.hypot(*left)),
            "catch_ring_ft": float(np.hypot(*caught)),
            "catch_above_line_ft": float(caught[0] - view.free_throw_u_ft),
            "catch_u_ft": float(caught[0]),
            "catch_v_ft": float(caught[1]),
            "receiver_gap_ft": gap,
        },
        traits={
            "type": pass_type(view, change, rule),
            "returned": yes_no(after.track in passers),
            "denied": yes_no(denied),
            "from_place": place_of(view, left),
            "to_place": place_of(view, caught),
        },
        tolerance_ft=rule.tolerance_ft, trust=_trust(min(before.score, after.score)),
    )  # fmt: skip


def in_post(view: PossessionView, uv_ft: np.ndarray, rule: BallSettings) -> np.ndarray:
    """Whether points (..., 2) lie where players post up: block, short corner or mid-post, on either side.

    From the lane edge less ``post_inside_ft`` out to ``post_wide_ft``, and up to ``post_high_u_ft`` from the ring; far
    out on the side (``post_far_v_ft``) only up to the low post (``post_low_u_ft``): above is the wing.
    """
    u, v = uv_ft[..., 0], np.abs(uv_ft[..., 1])
    beside = (v >= view.book.lane_width_ft / 2 - rule.post_inside_ft) & (v <= rule.post_wide_ft)
    up_to = np.where(v > rule.post_far_v_ft, rule.post_low_u_ft, rule.post_high_u_ft)
    return beside & (u >= -view.book.ring_to_baseline_ft) & (u <= up_to)


def pass_type(view: PossessionView, change: Change, rule: BallSettings) -> str:
    """What sort of pass a change of hands is; see :class:`Passes`."""
    before, after = change.before, change.after
    left, caught = view.place_at(before.end_s, before.column), view.place_at(after.start_s, after.column)
    if not (np.isfinite(left).all() and np.isfinite(caught).all()):
        return "unknown"
    from_ft, to_ft = float(np.hypot(*left)), float(np.hypot(*caught))
    speed = float(view.speed_ft_s[view.at(after.start_s), after.column])
    if from_ft >= rule.entry_from_ft and speed <= rule.post_catch_ft_s and bool(in_post(view, caught, rule)):
        return "post_entry"
    across = left[1] * caught[1] < 0 and min(abs(left[1]), abs(caught[1])) > view.book.lane_width_ft / 2
    if across and math.dist(left, caught) > rule.skip_ft:
        return "skip"
    inside = from_ft <= rule.inside_ft
    if inside and to_ft >= rule.outside_ft:
        return "kick_out"
    places = [place_of(view, p) for p in (left, caught)]
    middle = [p in ("top", "slot") for p in places]
    if middle[1] and places[0] in ("wing", "corner", "short_corner"):
        return "reversal"
    if middle[0] and abs(caught[1]) > rule.swing_v_ft and _came_from(view, before.end_s, rule) * caught[1] < 0:
        return "reversal"
    if middle[0] and places[1] == "wing":
        return "wing_entry"
    return "other"


def _came_from(view: PossessionView, before_s: float, rule: BallSettings) -> float:
    """The side (sign of v) on which a handler in the front court last was far from the middle; 0 for none."""
    until = view.at(before_s) + 1
    held = np.flatnonzero(view.handler[:until] != NOBODY)
    place = view.uv_ft[held, view.handler[held]]
    with np.errstate(invalid="ignore"):
        wide = (np.abs(place[:, 1]) > rule.swing_v_ft) & (place[:, 0] < 0.5 * view.book.length_ft - 5)
    found = np.flatnonzero(wide)
    return float(np.sign(place[found[-1], 1])) if len(found) else 0.0


def _handoff(view: PossessionView, change: Change, rule: BallSettings) -> Event:
    giver, receiver = change.before, change.after
    at = receiver.start_s
    moment = view.at(at)
    place = view.place_at(at, receiver.column)
    dribbled = None
    if _seen(view, giver.start_s, giver.end_s, rule):
        dribbled = any(end >= giver.end_s - rule.dead_after_s for _, end in giver.dribbles)
    return event_of(
        view, "handoff", (giver.end_s, at, at),
        [
            ("giver", giver.column), ("receiver", receiver.column),
            ("giver_defender", view.guard_of(moment, giver.column)),
            ("receiver_defender", view.guard_of(moment, receiver.column)),
        ],
        place,
        measures={
            "gap_ft": exchange_ft(view, change, rule),
            "flight_s": change.flight_s,
            "giver_speed_ft_s": float(view.speed_ft_s[moment, giver.column]),
            "receiver_speed_ft_s": float(view.speed_ft_s[moment, receiver.column]),
            "ring_distance_ft": float(np.hypot(*place)),
        },
        traits={"place": place_of(view, place), "giver_dribbled": yes_no(dribbled)},
        tolerance_ft=rule.tolerance_ft, trust=_trust(min(giver.score, receiver.score)),
    )  # fmt: skip
