"""On-ball screens: a teammate comes to the handler's defender, and the handler goes.

Frame of the rule: the glossary's, after McQueen, Wiens and Guttag (MIT Sloan 2014): one handler for 0.52 s, a teammate
within 10 ft of him who is not in the paint and at most 2 ft farther from the ring, a defender within 12 ft, the ball
outside the paint; the moment is their closest approach. That alone is right about half of the time. So what a coach
looks at is graded besides (:class:`OnBallScreenSettings`): the screener gets to the handler's defender and came to him
(or had him brought to him), the screener slows down, and the handler goes. The score is the product of the grades.

Decided here, as a coach would:

* The on-ball defender is who guarded the handler before the screen, not who is nearest at that moment; after a switch
  just before it, the one who took him.
* A handler who passes the screen wide has still used it if the screener hit his defender: 6 ft is a soft limit.
* Hands changing between the two about the screen are a handoff, no screen; a pass to the screener later is a pass.
* Sent: compared with the place of the screen the handler goes to the middle or to the sideline when he passes the
  screener; when he goes away from the screener without passing him he rejected it.
* A screener slips when he leaves before contact, or runs through without ever slowing down.
* The handler goes when he gets faster than 6 ft/s on his way to the closest approach (or after it, if he waits); the
  screener is early or late measured against that.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from pipeline.actions.coverage import coverage
from pipeline.actions.events import Event
from pipeline.actions.grades import HALF, at_least, at_most
from pipeline.actions.screen_settings import OnBallScreenSettings
from pipeline.actions.screen_use import dives, early_s, goes_at, live_dribble, phase, sent, since_half_court_s, slipped
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stretches import stretches
from pipeline.actions.view import NOBODY, PossessionView
from pipeline.actions.vocabulary import IN_WORDS, UNKNOWN

SCREEN = "on_ball_screen"
NAN = float("nan")


@dataclass(frozen=True, slots=True)
class Meeting:
    """Handler and screener at their closest approach, by column and moment; -1 where a defender is not known.

    What was before ``since`` belongs to an earlier meeting of the two, and the screener came before ``came_since`` for
    that one.
    """

    handler: int
    screener: int
    guard: int
    screener_guard: int
    moment: int
    since: int = 0
    came_since: int = 0


class OnBallScreens:
    """Finds screens set for the handler.

    The score is the product of the grades of what makes a screen, each widened by the uncertainty of the places.
    """

    kinds = (SCREEN,)
    needs: tuple[str, ...] = ("tracks", "ball", "touches", "possessions")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """On-ball screens of one possession; ``earlier`` is not used."""
        del earlier
        rule = settings.on_ball_screen
        graded = [(_score(view, meeting, rule), meeting) for meeting in _meetings(view, settings)]
        least = rule.least_score
        sure = [meeting for score, meeting in graded if score >= least]
        graded = [
            (max(score, _second_score(view, meeting, rule)), meeting)
            if score < least and _follows(view, meeting, sure, rule)
            else (score, meeting)
            for score, meeting in graded
        ]
        found = [(score, meeting) for score, meeting in _apart(view, graded, settings) if score >= least]
        events: list[Event] = []
        last: dict[tuple[int, int], float] = {}
        for score, meeting in sorted(found, key=lambda g: g[1].moment):
            pair = (meeting.handler, meeting.screener)
            t = float(view.t_s[meeting.moment])
            events.append(_event(view, meeting, score, t - last.get(pair, -math.inf), settings))
            last[pair] = t
        return events


def closest_approaches(gap_ft: np.ndarray, within_ft: float, apart: int) -> list[int]:
    """Moments at which a distance (T,) is least within ``apart`` moments to both sides and at most ``within_ft``."""
    known = np.where(np.isfinite(gap_ft), gap_ft, np.inf)
    found: list[int] = []
    for moment in np.flatnonzero(known <= within_ft):
        around = known[max(0, moment - apart) : moment + apart + 1]
        if known[moment] <= around.min() and not (found and moment - found[-1] <= apart):
            found.append(int(moment))
    return found


def _meetings(view: PossessionView, settings: ActionSettings) -> Iterator[Meeting]:
    """Every closest approach of a handler and a teammate."""
    rule = settings.on_ball_screen
    attackers = np.flatnonzero(view.attackers)
    defenders = np.flatnonzero(view.defenders)
    if not len(defenders):
        return
    for handler in np.unique(view.handler[view.handler != NOBODY]):
        nearest = np.where(np.isfinite(view.gap_ft[:, handler, defenders]), view.gap_ft[:, handler, defenders], np.inf)
        for mate in attackers[attackers != handler]:
            apart = view.steps(rule.same_within_s / 2)
            for moment in closest_approaches(view.gap_ft[:, handler, mate], rule.screener_within_ft, apart):
                if nearest[moment].min() > rule.defender_within_ft:
                    continue
                moment = _middle(view, int(handler), int(mate), moment, apart)
                t = float(view.t_s[moment])
                cover = settings.coverage
                before = view.span(t - cover.before_s, t - cover.until_before_s)
                own, his = (usual_guard(view, column, before) for column in (int(handler), int(mate)))
                yield Meeting(int(handler), int(mate), own, his, moment)
                now = usual_guard(view, int(handler), view.span(t - cover.until_before_s, t))
                if now not in (NOBODY, own):
                    yield Meeting(int(handler), int(mate), now, own if now == his else his, moment)


def _middle(view: PossessionView, handler: int, mate: int, moment: int, apart: int) -> int:
    """Middle of the time about a closest approach in which the two are as near as far as their places are sure."""
    sigma = pair_sigma_ft(view, moment, handler, mate)
    around = slice(max(0, moment - apart), moment + apart + 1)
    as_near = view.gap_ft[around, handler, mate] <= view.gap_ft[moment, handler, mate] + sigma
    at = moment - around.start
    first, last = next((a, b) for a, b in stretches(as_near) if a <= at < b)
    return around.start + (first + last - 1) // 2 if sigma > 0 else moment


def usual_guard(view: PossessionView, column: int, span: slice) -> int:
    """Who guards an attacker for most of a stretch; ``NOBODY`` when nobody does."""
    guards = view.guard[span, column]
    found, counts = np.unique(guards[guards != NOBODY], return_counts=True)
    return int(found[counts.argmax()]) if len(found) else NOBODY


def handles(view: PossessionView, handler: int, moment: int, rule: OnBallScreenSettings) -> float:
    """Grade of a player having the ball for long enough about a moment, and longer than anybody else."""
    around = view.span(view.t_s[moment] - rule.handler_around_s, view.t_s[moment] + rule.handler_around_s)
    who = view.handler[around]
    own_s = float((who == handler).sum()) * view.step_s
    others_s = float(((who != handler) & (who != NOBODY)).sum()) * view.step_s
    soft = rule.time_soft_s
    return at_least(own_s, rule.handler_for_s, soft) * at_least(own_s - others_s, 0.0, soft)


def held_before_s(view: PossessionView, handler: int, moment: int, rule: OnBallScreenSettings) -> float:
    """How long a player has had the ball shortly before a moment; what lies before the view began counts as his."""
    span = view.span(view.t_s[moment] - rule.held_within_s, view.t_s[moment])
    missing = max(view.steps(rule.held_within_s) + 1 - (span.stop - span.start), 0)
    return (float((view.handler[span] == handler).sum()) + missing) * view.step_s


def guarded_ft(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    """How far off the handler his defender is as the screen comes; NaN where not known."""
    if meeting.guard < 0:
        return NAN
    return float(view.gap_ft[view.at(view.t_s[meeting.moment] - rule.guarded_before_s), meeting.handler, meeting.guard])


def handed_over(view: PossessionView, one: int, other: int, t_s: float, rule: OnBallScreenSettings) -> float:
    """Grade of the ball going from hand to hand between two players about a time."""
    holds = [touch for touch in view.touches if touch.held_s >= rule.hold_s - 1e-9]
    changes = (
        at_most(abs(after.start_s - t_s), rule.handoff_within_s, rule.time_soft_s)
        * at_most(float(view.gap_ft[view.at(after.start_s), one, other]), rule.handoff_ft, rule.place_soft_ft)
        for before, after in pairwise(holds)
        if {before.column, after.column} == {one, other}
    )
    return max(changes, default=0.0)


def touch(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> tuple[float, int]:
    """Least distance of screener and on-ball defender about the screen, and when; (NaN, moment) if not known."""
    if meeting.guard < 0:
        return NAN, meeting.moment
    t = view.t_s[meeting.moment]
    around = _from(meeting.since, view.span(t - rule.touch_before_s, t + rule.touch_after_s))
    gap = view.gap_ft[around, meeting.screener, meeting.guard]
    if not np.isfinite(gap).any():
        return NAN, meeting.moment
    return float(np.nanmin(gap)), around.start + int(np.nanargmin(gap))


def _from(since: int, span: slice) -> slice:
    """What is left of a span from a moment on."""
    return slice(max(since, span.start), span.stop)


def slowest(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    t = view.t_s[meeting.moment]
    around = _from(meeting.since, view.span(t - rule.touch_before_s, t + rule.touch_after_s))
    speed = view.speed_ft_s[around, meeting.screener]
    return float(np.nanmin(speed)) if np.isfinite(speed).any() else NAN


def pair_sigma_ft(view: PossessionView, moment: int, *columns: int) -> float:
    """Uncertainty of a distance between players; what is not given counts as none."""
    sigma = np.nan_to_num(view.sigma_ft[moment, [c for c in columns if c >= 0]])
    return float(np.sqrt((sigma**2).sum()))


def paint_depth_ft(view: PossessionView, moment: int, column: int) -> float:
    """How far inside the attacked paint a player stands; negative outside."""
    u, v = view.uv_ft[moment, column]
    book = view.book
    return float(min(book.lane_length_ft - book.ring_to_baseline_ft - u, book.lane_width_ft / 2 - abs(v)))


def _score(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    h, s, m = meeting.handler, meeting.screener, meeting.moment
    t = view.t_s[m]
    sigma = pair_sigma_ft(view, m, h, s)
    least, at = touch(view, meeting, rule)
    touch_sigma = pair_sigma_ft(view, at, s, meeting.guard)
    came = NAN
    if meeting.guard >= 0:
        before = view.gap_ft[_from(meeting.came_since, view.span(t - rule.came_over_s, t)), s, meeting.guard]
        came = float(np.nanmax(before)) - least if np.isfinite(before).any() else NAN
    closest = float(view.gap_ft[m, h, s])
    slow = slowest(view, meeting, rule)
    set_screen = (
        at_most(closest, rule.closest_within_ft, rule.closest_soft_ft, sigma),
        at_most(least, rule.touch_within_ft, rule.touch_soft_ft, touch_sigma),
        at_least(came, rule.came_ft, rule.came_soft_ft, touch_sigma),
        at_most(slow, rule.screener_speed_ft_s, rule.screener_soft_ft_s),
    )
    rub = (
        at_most(closest, rule.rub_ft, rule.closest_soft_ft, sigma),
        at_most(least, rule.rub_touch_ft, rule.touch_soft_ft, touch_sigma),
        at_least(came, rule.slip_came_ft, rule.came_soft_ft, touch_sigma),
        at_most(slow, rule.moving_ft_s, rule.screener_soft_ft_s),
    )
    slip = (
        at_most(closest, rule.slip_closest_ft, rule.closest_soft_ft, sigma),
        at_most(least, rule.slip_touch_ft, rule.touch_soft_ft, touch_sigma),
        at_least(came, rule.slip_came_ft, rule.came_soft_ft, touch_sigma),
        at_least(_came_up_ft(view, meeting, rule), rule.slip_came_ft, rule.came_soft_ft, sigma),
        dives(view, s, at, rule),
    )
    set_for_him = (
        at_most(least, rule.contact_ft, rule.touch_soft_ft / 2, touch_sigma),
        at_least(came, rule.slip_came_ft, rule.came_soft_ft, touch_sigma),
        at_most(slow, rule.moving_ft_s, rule.speed_soft_ft_s / 2),
        at_most(closest, rule.stays_within_ft, rule.closest_soft_ft / 2, sigma),
    )
    always = (*_frame(view, meeting, rule), max(_goes(view, meeting, rule), math.prod(set_for_him)))
    return math.prod(always) * max(math.prod(way) for way in (set_screen, rub, slip))


def _frame(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> tuple[float, ...]:
    """Grades of what every screen on the ball must have: a handler with the ball, guarded, and the right places."""
    h, s, m = meeting.handler, meeting.screener, meeting.moment
    sigma = pair_sigma_ft(view, m, h, s)
    behind = float(view.ring_ft[m, s] - view.ring_ft[m, h])
    return (
        handles(view, h, m, rule),
        at_least(held_before_s(view, h, m, rule), rule.held_before_s, rule.time_soft_s),
        at_most(guarded_ft(view, meeting, rule), rule.guarded_ft, rule.place_soft_ft, sigma),
        at_most(float(view.uv_ft[m, s, 0]), view.half_court_u_ft, rule.front_court_soft_ft),
        1.0 - handed_over(view, h, s, float(view.t_s[m]), rule),
        at_most(paint_depth_ft(view, m, s), 0.0, rule.place_soft_ft, sigma),
        at_most(paint_depth_ft(view, m, h), 0.0, rule.place_soft_ft, sigma),
        at_most(behind, rule.farther_from_ring_ft, rule.place_soft_ft, sigma),
    )


def _goes(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    """Grade of the handler going off the screen."""
    t = view.t_s[meeting.moment]
    after = view.speed_ft_s[view.span(t - rule.goes_within_s / 2, t + rule.goes_within_s), meeting.handler]
    goes = float(np.nanmax(after)) if np.isfinite(after).any() else NAN
    return at_least(goes, rule.goes_ft_s, rule.speed_soft_ft_s / 2)


def _follows(view: PossessionView, meeting: Meeting, sure: Sequence[Meeting], rule: OnBallScreenSettings) -> bool:
    """Whether the handler has just come off somebody else's screen: the second of a double drag."""
    return any(
        first.handler == meeting.handler
        and first.screener != meeting.screener
        and 0 < view.t_s[meeting.moment] - view.t_s[first.moment] <= rule.second_within_s
        for first in sure
    )


def _second_score(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    """Product of the grades of a screen right after another's.

    The defender trails behind the first screen, or has been switched: he need not be met again where a second screener
    stands on the handler's way, had come there, and the handler passes close by him.
    """
    h, s, m = meeting.handler, meeting.screener, meeting.moment
    sigma = pair_sigma_ft(view, m, h, s)
    least, _ = touch(view, meeting, rule)
    return math.prod(
        (
            *_frame(view, meeting, rule),
            _goes(view, meeting, rule),
            at_most(float(view.gap_ft[m, h, s]), rule.second_ft, rule.closest_soft_ft, sigma),
            at_most(least, rule.second_touch_ft, rule.touch_soft_ft, sigma),
            at_most(slowest(view, meeting, rule), rule.second_slow_ft_s, rule.screener_soft_ft_s),
            at_least(_came_up_ft(view, meeting, rule), rule.slip_came_ft, rule.came_soft_ft, sigma),
        )
    )


def _came_up_ft(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    """How far off the screener was from where he meets the handler; NaN where not known."""
    t = view.t_s[meeting.moment]
    way = view.uv_ft[_from(meeting.came_since, view.span(t - rule.came_over_s, t)), meeting.screener]
    off = np.linalg.norm(way - view.uv_ft[meeting.moment, meeting.screener], axis=1)
    return float(np.nanmax(off)) if np.isfinite(off).any() else NAN


def _apart(
    view: PossessionView, graded: list[tuple[float, Meeting]], settings: ActionSettings
) -> list[tuple[float, Meeting]]:
    """One meeting per screen.

    Meetings of two players close in time are one, the better of them, whoever of the two has the ball. So are those of
    a screener who has not moved on and whom the handler has not passed meanwhile: a handler who steps away first and
    then uses the screen meets him twice, and the later meeting is the use.
    """
    rule = settings.on_ball_screen
    kept: list[tuple[float, Meeting]] = []
    for score, meeting in sorted(graded, key=lambda g: (g[1].moment, g[1].handler, g[1].screener)):
        pair = {meeting.handler, meeting.screener}
        last = next((n for n in reversed(range(len(kept))) if {kept[n][1].handler, kept[n][1].screener} == pair), None)
        if last is None:
            kept.append((score, meeting))
            continue
        before_score, before = kept[last]
        if before.screener != meeting.screener and min(score, before_score) < rule.least_score:
            # no screen with the parts changed: it parts no meetings of those who had them right
            if score > before_score:
                kept[last] = (score, meeting)
            continue
        apart_s = float(view.t_s[meeting.moment] - view.t_s[before.moment])
        waits = (
            before.screener == meeting.screener
            and _stayed(view, before, meeting, rule)
            and not _passed(view, before, meeting, rule)
        )
        if apart_s <= rule.same_within_s:
            if score > before_score:
                kept[last] = (score, meeting)
        elif apart_s <= rule.same_if_stays_s and waits and _close_by(view, meeting, rule):
            kept[last] = (max(score, before_score), meeting)
        elif apart_s <= rule.again_within_s and before_score >= rule.least_score:
            gap = view.gap_ft[before.moment : meeting.moment + 1, meeting.handler, meeting.screener]
            parted = before.moment + int(np.nanargmax(gap))
            stayed = before.screener == meeting.screener and _stayed(view, before, meeting, rule)
            anew = replace(meeting, since=parted, came_since=0 if stayed else parted)
            kept.append((_score(view, anew, rule), anew))
        else:
            kept.append((score, meeting))
    return kept


def _close_by(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> bool:
    """Whether the handler, still with the ball, is as near to the screener as at a screen."""
    near = view.gap_ft[meeting.moment, meeting.handler, meeting.screener] <= rule.closest_within_ft
    return bool(near) and handles(view, meeting.handler, meeting.moment, rule) >= HALF


def _passed(view: PossessionView, before: Meeting, after: Meeting, rule: OnBallScreenSettings) -> bool:
    """Whether the handler was beyond the screener between two meetings, seen from where he was before the first."""
    screener, handler = before.screener, before.handler
    between = slice(before.moment, after.moment + 1)
    gap = view.gap_ft[between, handler, screener]
    if not np.isfinite(gap).any():
        return False
    farthest = before.moment + int(np.nanargmax(gap))
    start = view.at(view.t_s[before.moment] - rule.goes_before_s)
    from_screen = [view.uv_ft[m, handler] - view.uv_ft[before.moment, screener] for m in (start, farthest)]
    return bool(from_screen[0] @ from_screen[1] < 0)


def _stayed(view: PossessionView, before: Meeting, after: Meeting, rule: OnBallScreenSettings) -> bool:
    """Whether the screener kept his place from one meeting to the next."""
    way = view.uv_ft[before.moment : after.moment + 1, before.screener] - view.uv_ft[before.moment, before.screener]
    off = np.linalg.norm(way, axis=1)
    unsure = math.sqrt(2.0) * pair_sigma_ft(view, after.moment, before.screener)
    return bool(np.isfinite(off).any() and np.nanmax(off) <= rule.stays_ft + unsure)


def _event(view: PossessionView, meeting: Meeting, score: float, since_s: float, settings: ActionSettings) -> Event:
    rule = settings.on_ball_screen
    view, m = view, meeting.moment
    h, s = meeting.handler, meeting.screener
    t = float(view.t_s[m])
    contact, touched = touch(view, meeting, rule)
    goes = goes_at(view, h, m, rule)
    speed = NAN if goes is None else float(view.speed_ft_s[goes, s])
    way = sent(view, h, s, m, rule)
    u, v = (float(x) for x in view.uv_ft[m, s])
    roles = (
        ("handler", h),
        ("screener", s),
        ("on_ball_defender", meeting.guard),
        ("screener_defender", meeting.screener_guard),
    )
    near = view.gap_ft[:, h, s] <= rule.screener_within_ft
    start, end = next(((a, b) for a, b in stretches(near) if a <= m < b), (m, m + 1))
    return Event(
        kind=SCREEN,
        shot=view.shot,
        possession=view.possession,
        start_s=float(view.t_s[max(start, view.at(t - rule.came_over_s))]),
        end_s=float(view.t_s[min(end - 1, view.at(t + rule.used_over_s))]),
        t_s=t,
        actors=tuple((role, int(view.tracks[column])) for role, column in roles if column >= 0),
        place_ft=view.court_place_ft(m, s),
        attacked_end=view.end,
        measures={
            "u_ft": u,
            "v_ft": v,
            "sigma_ft": pair_sigma_ft(view, m, h, s),
            "closest_ft": float(view.gap_ft[m, h, s]),
            "contact_ft": contact,
            "handler_ring_distance_ft": float(view.ring_ft[m, h]),
            "screener_speed_ft_s": speed,
            "early_s": early_s(view, s, m, goes, rule),
            "since_last_s": since_s if math.isfinite(since_s) else NAN,
            "since_half_court_s": since_half_court_s(view, m),
        },
        score=score,
        traits={
            "side": "side" if abs(v) > rule.side_v_ft else "middle",
            "sent": way,
            "contact": UNKNOWN if math.isnan(contact) else IN_WORDS[contact <= rule.contact_ft],
            "slipped": slipped(view, s, (m, touched), contact, slowest(view, meeting, rule), rule),
            "again": IN_WORDS[since_s <= rule.again_within_s],
            "live_dribble": live_dribble(view, h, m, rule),
            "left_early": UNKNOWN if math.isnan(speed) else IN_WORDS[speed > rule.moving_ft_s],
            "coverage": coverage(view, (h, s, meeting.guard, meeting.screener_guard), m, way, settings),
            "phase": phase(view, t),
        },
    )
