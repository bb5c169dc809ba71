"""On-ball screens: a teammate comes to the handler's defender, and the handler goes.

Frame of the rule: the glossary's, after McQueen, Wiens and Guttag (MIT Sloan 2014): one handler for 0.52 s, a teammate
within 10 ft of him who is not in the paint and at most 2 ft farther from the ring, a defender within 12 ft, the ball
outside the paint; the moment is their closest approach. That alone is right about half of the time. So what a coach
looks at is graded besides (``on_ball_grades``): the screener gets to the handler's defender and came to him (or had
him brought to him), he slows down, he is in that defender's way, and the handler goes. The score is the product of the
grades.

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
from dataclasses import replace

import numpy as np

from pipeline.actions.coverage import coverage
from pipeline.actions.events import Event
from pipeline.actions.grades import HALF
from pipeline.actions.on_ball_grades import (
    Grade,
    Meeting,
    brush_grade,
    grade_of,
    handles,
    off_way,
    pair_sigma_ft,
    slowest,
    touch,
)
from pipeline.actions.screen_settings import OnBallScreenSettings
from pipeline.actions.screen_use import early_s, goes_at, live_dribble, phase, sent, since_half_court_s, slipped
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stretches import stretches
from pipeline.actions.view import NOBODY, PossessionView
from pipeline.actions.vocabulary import IN_WORDS, UNKNOWN

SCREEN = "on_ball_screen"
NAN = float("nan")


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
        graded = [(_best(view, meeting, rule), meeting) for meeting in _meetings(view, settings)]
        least = rule.least_score
        sure = [meeting for grade, meeting in graded if grade.score >= least]
        graded = [
            (max(grade, brush_grade(view, meeting, rule, rule.second_ft), key=lambda g: g.score), meeting)
            if grade.score < least and _follows(view, meeting, sure, rule)
            else (grade, meeting)
            for grade, meeting in graded
        ]
        found = [(g.score, meeting) for g, meeting in _apart(view, graded, settings) if g.score >= least]
        events: list[Event] = []
        last: dict[tuple[int, int], float] = {}
        for score, meeting in sorted(found, key=lambda g: g[1].moment):
            pair = (meeting.handler, meeting.screener)
            t = float(view.t_s[meeting.moment])
            events.append(_event(view, meeting, score, t - last.get(pair, -math.inf), settings))
            last[pair] = t
        return events


def _best(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> Grade:
    brush = brush_grade(view, meeting, rule, rule.rub_ft)
    return max(grade_of(view, meeting, rule), brush, key=lambda grade: grade.score)


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


def _follows(view: PossessionView, meeting: Meeting, sure: Sequence[Meeting], rule: OnBallScreenSettings) -> bool:
    """Whether the handler has just come off somebody else's screen: the second of a double drag."""
    return any(
        first.handler == meeting.handler
        and first.screener != meeting.screener
        and 0 < view.t_s[meeting.moment] - view.t_s[first.moment] <= rule.second_within_s
        for first in sure
    )


def _apart(
    view: PossessionView, graded: list[tuple[Grade, Meeting]], settings: ActionSettings
) -> list[tuple[Grade, Meeting]]:
    """One meeting per screen.

    Meetings of two players close in time are one, the better of them, whoever of the two has the ball. So are those of
    a screener who has not moved on and whom the handler has not passed meanwhile: a handler who steps away first and
    then uses the screen meets him twice, and the later meeting is the use.
    """
    rule = settings.on_ball_screen
    kept: list[tuple[Grade, Meeting]] = []
    for grade, meeting in sorted(graded, key=lambda g: (g[1].moment, g[1].handler, g[1].screener)):
        pair = {meeting.handler, meeting.screener}
        last = next((n for n in reversed(range(len(kept))) if {kept[n][1].handler, kept[n][1].screener} == pair), None)
        if last is None:
            kept.append((grade, meeting))
            continue
        earlier, before = kept[last]
        if before.screener != meeting.screener and min(grade.score, earlier.score) < rule.least_score:
            # no screen with the parts changed: it parts no meetings of those who had them right
            if grade.score > earlier.score:
                kept[last] = (grade, meeting)
            continue
        apart_s = float(view.t_s[meeting.moment] - view.t_s[before.moment])
        waits = (
            before.screener == meeting.screener
            and _stayed(view, before, meeting, rule)
            and not _passed(view, before, meeting, rule)
        )
        if apart_s <= rule.same_within_s:
            if grade.score > earlier.score:
                kept[last] = (grade, meeting)
        elif apart_s <= rule.same_if_stays_s and waits and _close_by(view, meeting, rule):
            kept[last] = (grade.better(earlier), meeting)
        elif apart_s <= rule.again_within_s and earlier.score >= rule.least_score:
            gap = view.gap_ft[before.moment : meeting.moment + 1, meeting.handler, meeting.screener]
            parted = before.moment + int(np.nanargmax(gap))
            stayed = before.screener == meeting.screener and _stayed(view, before, meeting, rule)
            anew = replace(meeting, since=parted, came_since=0 if stayed else parted)
            kept.append((grade_of(view, anew, rule), anew))
        else:
            kept.append((grade, meeting))
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
            "off_way_ft": off_way(view, meeting, rule),
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
