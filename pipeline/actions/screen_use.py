"""What the handler makes of an on-ball screen, and when: the words and times that a coach judges it by."""

from __future__ import annotations

import math

import numpy as np

from pipeline.actions.grades import HALF, at_least
from pipeline.actions.screen_settings import OnBallScreenSettings
from pipeline.actions.stretches import stretches
from pipeline.actions.view import NOBODY, PossessionView
from pipeline.actions.vocabulary import IN_WORDS, UNKNOWN


def sent(view: PossessionView, handler: int, screener: int, moment: int, rule: OnBallScreenSettings) -> str:
    """Which way the handler went: past the screener to the middle or the sideline, or rejected; else unknown.

    Sides are seen along the line from where the handler starts to the ring. Past it he is when he was on one side of
    the place of the screen and ends beyond it on the other; a screen straight on that line has no side: whichever way
    he leaves it, he used it.
    """
    t = view.t_s[moment]
    start = goes_at(view, handler, moment, rule)
    from_s = t - rule.goes_before_s / 2 if start is None else min(view.t_s[start], t)
    until_s = max(t, t if start is None else view.t_s[start]) + rule.used_over_s
    begin, end = view.uv_ft[view.at(from_s), handler], view.uv_ft[view.at(until_s), handler]
    screen = view.uv_ft[moment, screener]
    away = float(np.linalg.norm(begin))
    if not np.isfinite([*begin, *end, *screen]).all() or away == 0:
        return UNKNOWN
    if np.linalg.norm(end - begin) < rule.went_ft:
        return UNKNOWN
    # to the sideline (and on round to the baseline) of whichever side he is on, across his line to the ring
    outward = np.array([-begin[1], begin[0]]) / away * math.copysign(1.0, begin[1])
    screen_side, went = float(outward @ (screen - begin)), float(outward @ (end - begin))
    if abs(screen_side) >= rule.side_on_line_ft:
        past = went > screen_side if screen_side > 0 else went < screen_side
        if not past:
            return "rejected"
    return "sideline" if went > 0 else "middle"


def goes_at(view: PossessionView, handler: int, moment: int, rule: OnBallScreenSettings) -> int | None:
    """Moment at which the handler starts off the screen: fast from then to the closest approach, or first after it.

    None where his speed is not known or he never goes.
    """
    t = view.t_s[moment]
    around = view.span(t - rule.goes_before_s, t + rule.goes_within_s)
    fast = view.speed_ft_s[around, handler] > rule.off_ft_s
    here = moment - around.start
    runs = list(stretches(fast))
    on_way = next((a for a, b in runs if a <= here < b), None)
    if on_way is None:
        on_way = next((a for a, _ in runs if a > here), None)
    return None if on_way is None else around.start + on_way


def early_s(view: PossessionView, screener: int, moment: int, goes: int | None, rule: OnBallScreenSettings) -> float:
    """How long before the screener stood the handler left; 0 when he stood, NaN if he never did or it is not known."""
    if goes is None or not np.isfinite(view.speed_ft_s[goes, screener]):
        return float("nan")
    if view.speed_ft_s[goes, screener] <= rule.moving_ft_s:
        return 0.0
    until = view.at(view.t_s[moment] + rule.touch_after_s) + 1
    still = view.speed_ft_s[goes:until, screener] <= rule.moving_ft_s
    stood = next((a for a, b in stretches(still) if (b - a) * view.step_s >= rule.stands_for_s), None)
    return float("nan") if stood is None else stood * view.step_s


def dives(view: PossessionView, screener: int, at: int, rule: OnBallScreenSettings) -> float:
    """Grade of the screener turning and diving to the ring when he is nearest to the defender, or a moment later."""
    t = view.t_s[at]
    moments = range(at, view.at(t + rule.slip_within_s) + 1, max(view.steps(rule.stands_for_s), 1))
    return max(
        at_least(_turn_deg(view, screener, m, rule), rule.slip_turn_deg, rule.slip_soft_deg)
        * at_least(_dives_ft_s(view, screener, m, rule), rule.slip_dive_ft_s, rule.speed_soft_ft_s)
        for m in moments
    )


def _turn_deg(view: PossessionView, screener: int, at: int, rule: OnBallScreenSettings) -> float:
    """By how much the screener's way turns about a moment; NaN where his ways before or after are not known."""
    t = view.t_s[at]
    ends = [view.uv_ft[view.at(t + d), screener] for d in (-rule.slip_over_s, 0.0, rule.slip_over_s)]
    before, after = ends[1] - ends[0], ends[2] - ends[1]
    lengths = float(np.linalg.norm(before) * np.linalg.norm(after))
    if not np.isfinite(lengths) or lengths == 0:
        return float("nan")
    return float(np.degrees(np.arccos(np.clip(before @ after / lengths, -1, 1))))


def _dives_ft_s(view: PossessionView, screener: int, at: int, rule: OnBallScreenSettings) -> float:
    """How fast the screener comes nearer to the ring after a moment, on average; NaN where not known."""
    later = view.at(view.t_s[at] + rule.slip_over_s)
    took_s = (later - at) * view.step_s
    return float((view.ring_ft[at, screener] - view.ring_ft[later, screener]) / took_s) if took_s > 0 else float("nan")


def slipped(
    view: PossessionView,
    screener: int,
    moments: tuple[int, int],
    contact_ft: float,
    slowest_ft_s: float,
    rule: OnBallScreenSettings,
) -> str:
    """Whether the screener turned and dived before contact, or ran through without ever slowing down.

    ``moments`` are those of the closest approach to the handler and to his defender.
    """
    if math.isnan(contact_ft):
        return UNKNOWN
    moment, touched = moments
    after = view.speed_ft_s[view.span(view.t_s[moment], view.t_s[moment] + rule.slip_within_s), screener]
    if not np.isfinite(after).any():
        return UNKNOWN
    ran = slowest_ft_s > rule.runs_ft_s and float(np.nanmax(after)) > rule.slip_ft_s
    return IN_WORDS[ran or (contact_ft > rule.contact_ft and dives(view, screener, touched, rule) >= HALF)]


def live_dribble(view: PossessionView, handler: int, moment: int, rule: OnBallScreenSettings) -> str:
    """Whether the dribble was alive at the screen: one is seen about it, or one came back later in the same hold.

    No: the ball was seen without a dribble throughout. A handler who starts off the screen with his first dribble
    counts as alive. Unknown where the ball's height was not seen.
    """
    t = view.t_s[moment]
    own = view.handler == handler
    later = view.span(t, t + rule.goes_within_s)
    before = view.span(t - rule.dribble_s, t)
    near = np.concatenate([view.dribble[before][own[before]], view.dribble[later][own[later]]])
    if (near == 1).any():
        return IN_WORDS[True]
    return IN_WORDS[False] if len(near) and (near == 0).mean() > 0.5 else UNKNOWN


def phase(view: PossessionView, t_s: float) -> str:
    """Before or after the attack had settled; unknown where the possession does not say when it did."""
    if math.isnan(view.half_court_s):
        return UNKNOWN
    return "half_court" if t_s >= view.half_court_s else "transition"


def since_half_court_s(view: PossessionView, moment: int) -> float:
    """Time since the ball last came over the half-court line in somebody's hands; NaN where that was not seen."""
    held = np.flatnonzero(view.handler[: moment + 1] != NOBODY)
    u = view.uv_ft[held, view.handler[held], 0]
    held, u = held[np.isfinite(u)], u[np.isfinite(u)]
    over = np.flatnonzero((u[:-1] > view.half_court_u_ft) & (u[1:] <= view.half_court_u_ft))
    return float(view.t_s[moment] - view.t_s[held[over[-1] + 1]]) if len(over) else float("nan")
