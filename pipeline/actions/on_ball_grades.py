"""What makes a meeting of handler and teammate a screen on the ball, graded.

The frame and what a coach looks at besides are told in ``on_ball_screens``; every limit stands in
:class:`OnBallScreenSettings`. A screen is *set*: the screener gets to the handler's defender, came to him (or had him
brought to him) and slows down; or the handler rubs past one who stands; or he slips. And it is *used*: he is in the
defender's way (``in_the_way``) and the handler goes. Where the defence answers before bodies meet, the screener shows
it alone (``brush_grade``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipeline.actions.grades import at_least, at_most
from pipeline.actions.in_the_way import off_way_ft
from pipeline.actions.screen_settings import OnBallScreenSettings
from pipeline.actions.screen_use import dives, sent
from pipeline.actions.view import NOBODY, PossessionView

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


@dataclass(frozen=True, slots=True)
class Grade:
    """How surely a meeting is a screen, in two parts: that one was set, and that it was used.

    A screener who keeps his place may be met when he sets himself and used later; then each part counts from the
    meeting that shows it better.
    """

    setting: float
    use: float

    @property
    def score(self) -> float:
        """Their product."""
        return self.setting * self.use

    def better(self, other: Grade) -> Grade:
        """The better of each part."""
        return Grade(max(self.setting, other.setting), max(self.use, other.use))


def grade_of(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> Grade:
    """Grade of a meeting as a screen of its own."""
    h, s, m = meeting.handler, meeting.screener, meeting.moment
    t = view.t_s[m]
    sigma = pair_sigma_ft(view, m, h, s)
    least, at = touch(view, meeting, rule)
    touch_sigma = pair_sigma_ft(view, at, s, meeting.guard)
    came = NAN
    if meeting.guard >= 0:
        before = view.gap_ft[_from(meeting.came_since, view.span(t - rule.came_over_s, t)), s, meeting.guard]
        came = float(np.nanmax(before)) - least if np.isfinite(before).any() else NAN
        if t - view.t_s[0] < rule.came_known_s and came < rule.came_ft:
            came = NAN
    closest = float(view.gap_ft[m, h, s])
    always = (*frame(view, meeting, rule), guarded(view, meeting, rule))
    came_far = at_least(came, rule.slip_came_ft, rule.came_soft_ft, touch_sigma)
    set_screen = Grade(
        at_most(closest, rule.closest_within_ft, rule.closest_soft_ft, sigma)
        * at_least(came, rule.came_ft, rule.came_soft_ft, touch_sigma),
        in_the_way(view, meeting, rule, (rule.touch_within_ft, rule.screener_speed_ft_s)),
    )
    rub = Grade(
        at_most(closest, rule.rub_ft, rule.closest_soft_ft, sigma) * came_far,
        in_the_way(view, meeting, rule, (rule.rub_touch_ft, rule.moving_ft_s)),
    )
    slip = Grade(
        at_most(closest, rule.slip_closest_ft, rule.closest_soft_ft, sigma)
        * came_far
        * at_least(_came_up_ft(view, meeting, rule), rule.slip_came_ft, rule.came_soft_ft, sigma)
        * dives(view, s, at, rule),
        in_the_way(view, meeting, rule, (rule.slip_touch_ft, math.inf)),
    )
    goes = max(_goes(view, meeting, rule), _stays(view, meeting, rule))
    if sent(view, h, s, m, rule) == "rejected":
        # he goes where the screener is in nobody's way: only one who touches the defender has screened him
        touches = at_most(least, rule.way.touching_ft, rule.way.soft_ft, touch_sigma)
        goes *= max(touches, at_most(closest, rule.rub_ft, rule.closest_soft_ft, sigma))
    best = max(set_screen, rub, slip, key=lambda way: way.score)
    return Grade(math.prod(always) * best.setting, goes * best.use)


def brush_grade(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings, near_ft: float) -> Grade:
    """Grade of a screen that the defence answers before bodies meet: the handler brushes past one who waits for him.

    His defender has been switched, trails behind another screen, or still runs back, so that he is met late or not at
    all. That a screen was set shows in the screener, who has come and stands on the ground that the defender would have
    to cross, and in the handler, who goes by within ``near_ft`` of him. Common practice, no source.
    """
    h, s, m = meeting.handler, meeting.screener, meeting.moment
    sigma = pair_sigma_ft(view, m, h, s)
    setting = (
        *frame(view, meeting, rule),
        at_most(float(view.gap_ft[m, h, s]), near_ft, rule.place_soft_ft, sigma),
        at_most(slowest(view, meeting, rule), rule.brush_slow_ft_s, rule.screener_soft_ft_s),
        at_least(_came_up_ft(view, meeting, rule), rule.brush_came_ft, rule.came_soft_ft, sigma),
    )
    way = at_most(off_way(view, meeting, rule), rule.way.off_ft, rule.place_soft_ft, sigma)
    return Grade(math.prod(setting), way * _goes(view, meeting, rule))


def frame(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> tuple[float, ...]:
    """Grades of what every screen on the ball must have: a handler with the ball and the right places."""
    h, s, m = meeting.handler, meeting.screener, meeting.moment
    sigma = pair_sigma_ft(view, m, h, s)
    behind = float(view.ring_ft[m, s] - view.ring_ft[m, h])
    return (
        handles(view, h, m, rule),
        at_least(held_before_s(view, h, m, rule), rule.held_before_s, rule.time_soft_s),
        at_most(float(view.uv_ft[m, [h, s], 0].max()), view.half_court_u_ft, rule.front_court_soft_ft),
        1.0 - handed_over(view, h, s, float(view.t_s[m]), rule),
        at_most(paint_depth_ft(view, m, s), 0.0, rule.place_soft_ft, sigma),
        at_most(paint_depth_ft(view, m, h), 0.0, rule.place_soft_ft, sigma),
        at_most(behind, rule.farther_from_ring_ft, rule.place_soft_ft, sigma),
    )


def guarded(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    """Grade of the handler being guarded as the screen comes: who sags far off guards no ball."""
    sigma = pair_sigma_ft(view, meeting.moment, meeting.handler, meeting.screener)
    return at_most(guarded_ft(view, meeting, rule), rule.guarded_ft, rule.place_soft_ft, sigma)


def guarded_ft(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    """How far off the handler his defender is as the screen comes; NaN where not known."""
    if meeting.guard < 0:
        return NAN
    return float(view.gap_ft[view.at(view.t_s[meeting.moment] - rule.guarded_before_s), meeting.handler, meeting.guard])


def in_the_way(
    view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings, limits: tuple[float, float]
) -> float:
    """Grade of the screener standing near the handler's defender and in his way, all three at one moment.

    ``limits``: how near (feet) and how slow (feet per second) he is then.
    """
    s, g = meeting.screener, meeting.guard
    sigma = pair_sigma_ft(view, meeting.moment, s, meeting.handler, g)
    moments, off = _off_way_ft(view, meeting, rule)
    gap = view.gap_ft[moments, s, g] if g >= 0 else np.full(len(moments), NAN)
    speed = view.speed_ft_s[moments, s]
    moves = at_least(_goes_ft(view, meeting, rule, before_s=rule.used_over_s), rule.went_ft, rule.place_soft_ft)
    on_him = at_most(guarded_ft(view, meeting, rule), rule.on_him_ft, rule.place_soft_ft, sigma)
    return max(_at_one_moment(at, limits, on_him, moves, sigma, rule) for at in zip(off, gap, speed, strict=True))


def _at_one_moment(
    at: tuple[float, float, float],
    limits: tuple[float, float],
    on_him: float,
    moves: float,
    sigma: float,
    rule: OnBallScreenSettings,
) -> float:
    """Grade of being in the way, near and slow at once.

    He may still be slowing down, and on the move he may be who is in contact with a defender who was on his man, or
    who runs into him, where the handler moves too: one who curls past a handler who stands is a cutter.
    """
    off_ft, gap_ft, speed_ft_s = (float(x) for x in at)
    within_ft, slow_ft_s = limits
    bump = at_most(gap_ft, rule.bump_ft, rule.way.soft_ft, sigma) * max(
        on_him, at_most(gap_ft, rule.hit_ft, rule.way.soft_ft / 2, sigma)
    )
    soft = rule.screener_soft_ft_s
    stands = max(
        at_most(speed_ft_s, min(slow_ft_s, rule.moving_ft_s), soft),
        moves * at_most(speed_ft_s, slow_ft_s, soft),
        moves * at_most(speed_ft_s, rule.bump_speed_ft_s, soft) * bump,
    )
    in_way = at_most(off_ft, rule.way.off_ft, rule.way.soft_ft, sigma)
    return in_way * stands * at_most(gap_ft, within_ft, rule.touch_soft_ft, sigma)


def off_way(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    """How far off the way of the handler's defender the screener stands when he is best in it, feet."""
    _, off = _off_way_ft(view, meeting, rule)
    return float(np.nanmin(off)) if np.isfinite(off).any() else NAN


def _off_way_ft(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> tuple[np.ndarray, np.ndarray]:
    return off_way_ft(view, (meeting.screener, meeting.handler, meeting.guard), meeting.moment, rule.way)


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


def slowest(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    t = view.t_s[meeting.moment]
    around = _from(meeting.since, view.span(t - rule.touch_before_s, t + rule.touch_after_s))
    speed = view.speed_ft_s[around, meeting.screener]
    return float(np.nanmin(speed)) if np.isfinite(speed).any() else NAN


def _goes(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    """Grade of the handler going off the screen."""
    return at_least(_goes_ft(view, meeting, rule), rule.goes_ft, rule.place_soft_ft)


def _goes_ft(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings, before_s: float = 0.0) -> float:
    """How far the handler gets until shortly after the meeting, from it or from a time before it."""
    t = view.t_s[meeting.moment]
    begin, end = (view.uv_ft[view.at(x), meeting.handler] for x in (t - before_s, t + rule.used_over_s))
    return float(np.linalg.norm(end - begin))


def _stays(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    """Grade of a handler who stays at the screen, rid of a defender who was on him or whom the screener ran into."""
    sigma = pair_sigma_ft(view, meeting.moment, meeting.handler, meeting.screener)
    closest = float(view.gap_ft[meeting.moment, meeting.handler, meeting.screener])
    off = guarded_ft(view, meeting, rule)
    near = at_most(closest, rule.stays_within_ft, rule.closest_soft_ft, sigma)
    moments, _ = _off_way_ft(view, meeting, rule)
    gap = view.gap_ft[moments, meeting.screener, meeting.guard] if meeting.guard >= 0 else np.array([NAN])
    hit = float(np.nanmin(gap)) if np.isfinite(gap).any() else NAN
    return max(
        near * at_most(off, rule.on_him_ft, rule.place_soft_ft, sigma),
        at_most(hit, rule.hit_ft, rule.way.soft_ft / 2, sigma),
    )


def _came_up_ft(view: PossessionView, meeting: Meeting, rule: OnBallScreenSettings) -> float:
    """How far off the screener was from where he meets the handler; NaN where not known."""
    t = view.t_s[meeting.moment]
    way = view.uv_ft[_from(meeting.came_since, view.span(t - rule.came_over_s, t)), meeting.screener]
    off = np.linalg.norm(way - view.uv_ft[meeting.moment, meeting.screener], axis=1)
    return float(np.nanmax(off)) if np.isfinite(off).any() else NAN


def paint_depth_ft(view: PossessionView, moment: int, column: int) -> float:
    """How far inside the attacked paint a player stands; negative outside."""
    u, v = view.uv_ft[moment, column]
    book = view.book
    return float(min(book.lane_length_ft - book.ring_to_baseline_ft - u, book.lane_width_ft / 2 - abs(v)))


def pair_sigma_ft(view: PossessionView, moment: int, *columns: int) -> float:
    """Uncertainty of a distance between players; what is not given counts as none."""
    sigma = np.nan_to_num(view.sigma_ft[moment, [c for c in columns if c >= 0]])
    return float(np.sqrt((sigma**2).sum()))


def _from(since: int, span: slice) -> slice:
    """What is left of a span from a moment on."""
    return slice(max(since, span.start), span.stop)
