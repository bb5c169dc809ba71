"""Off-ball screens: a cutter without the ball uses a teammate who stands in the way of his defender and changes it.

Each condition is graded (:class:`OffBallScreenSettings`), and the product of the grades is the score. The cutter uses
the screener: he passes him, fast, and leaves. The screener stands in the way of the cutter's defender
(:mod:`chased_way`), and that changes what he does: he loses ground, or has to take the other side. As for the screen on
the ball, the screener came to that defender, or had him brought to him (teammates who stand about are passed all the
time), the attack has settled, and the ball is still in play: what happens after the last shot is rebounding.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.actions.chased_way import in_way, runs_after_ft_s
from pipeline.actions.events import Event
from pipeline.actions.grades import HALF, at_least, at_most
from pipeline.actions.on_ball_grades import pair_sigma_ft
from pipeline.actions.on_ball_screens import closest_approaches, usual_guard
from pipeline.actions.screen_settings import OffBallScreenSettings, ScreenTypeSettings
from pipeline.actions.screen_types import (
    group,
    line_off_deg,
    read,
    route,
    screen_type,
    set_up_ft,
    swept_deg,
    takes_other_side,
)
from pipeline.actions.settings import ActionSettings
from pipeline.actions.view import NOBODY, PossessionView
from pipeline.actions.vocabulary import IN_WORDS, UNKNOWN
from pipeline.court.places import place_names

OFF_BALL_SCREEN = "off_ball_screen"
NAN = float("nan")


@dataclass(frozen=True, slots=True)
class Pass:
    """A cutter at his closest approach to a screener, by column and moment; -1 where a defender is not known."""

    screener: int
    cutter: int
    guard: int
    screener_guard: int
    moment: int


class OffBallScreens:
    """Finds screens set for a teammate without the ball.

    The score is the product of the grades of what makes a screen, each widened by the uncertainty of the places.
    """

    kinds: tuple[str, ...] = (OFF_BALL_SCREEN,)
    needs: tuple[str, ...] = ("tracks", "ball", "touches", "possessions")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Off-ball screens of one possession; ``earlier`` is not used."""
        del earlier
        rule = settings.off_ball_screen
        graded = [
            (max(_score(view, one, rule, settings.screen_type), _brushed_score(view, one, rule)), one)
            for one in _passes(view, settings)
        ]
        sure = [g for g in graded if g[0] >= _least(view, g[1], rule)]
        rest = [(_in_a_row_score(view, g[1], rule), g[1]) for g in graded if g not in sure]
        rest = [g for g in rest if g[0] >= _least(view, g[1], rule)]
        in_a_row = [g for g in rest if _comes_off_another(view, g[1], sure, rest, settings)]
        kept = _apart(view, [*sure, *in_a_row], rule)
        screens = [(one.screener, one.cutter, one.moment) for _, one in kept]
        return [
            _event(view, one, score, group(view, n, screens, settings), settings) for n, (score, one) in enumerate(kept)
        ]


def _passes(view: PossessionView, settings: ActionSettings) -> Iterator[Pass]:
    """Every closest approach of two attackers without the ball while it is in play, each as screener and as cutter."""
    rule = settings.off_ball_screen
    last_touch = max((t.end_s for t in view.touches), default=-math.inf)
    first_s = -math.inf if math.isnan(view.half_court_s) else view.half_court_s
    apart = view.steps(rule.same_within_s / 2)
    for screener in np.flatnonzero(view.attackers):
        for cutter in np.flatnonzero(view.attackers):
            if cutter == screener:
                continue
            for moment in closest_approaches(view.gap_ft[:, cutter, screener], rule.looked_at_ft, apart):
                t = float(view.t_s[moment])
                about = view.handler[view.span(t - rule.ball_away_s, t + rule.ball_away_s)]
                if (
                    not first_s <= t <= last_touch
                    or view.uv_ft[moment, screener, 0] > rule.within_u_ft
                    or np.isin(about, (screener, cutter)).any()
                ):
                    continue
                before = view.span(t - rule.guards_from_s, t - rule.guards_to_s)
                own, his = (usual_guard(view, int(column), before) for column in (cutter, screener))
                yield Pass(int(screener), int(cutter), own, his, moment)


def _least(view: PossessionView, one: Pass, rule: OffBallScreenSettings) -> float:
    """Least score of a screen: less where the places are unsure, since every grade is then nearer to a half."""
    beyond_ft = pair_sigma_ft(view, one.moment, one.screener, one.cutter) - rule.sure_sigma_ft
    return rule.least_score * float(np.clip(1.0 - beyond_ft / rule.unsure_over_ft, 0.5, 1.0))


def _touch(view: PossessionView, one: Pass, rule: OffBallScreenSettings) -> tuple[float, int]:
    """Least distance of the screener to the cutter's defender about the screen, and when."""
    if one.guard == NOBODY:
        return NAN, one.moment
    t = view.t_s[one.moment]
    around = view.span(t - rule.touch_within_s, t + rule.touch_within_s)
    gap = view.gap_ft[around, one.screener, one.guard]
    if not np.isfinite(gap).any():
        return NAN, one.moment
    return float(np.nanmin(gap)), around.start + int(np.nanargmin(gap))


def _separation(view: PossessionView, one: Pass, after_s: float) -> float:
    """The cutter's distance to his defender so long after the screen; NaN where not known or outside the view."""
    t = view.t_s[one.moment] + after_s
    if one.guard == NOBODY or not view.t_s[0] - view.step_s <= t <= view.t_s[-1] + view.step_s:
        return NAN
    return float(view.gap_ft[view.at(t), one.cutter, one.guard])


def _score(view: PossessionView, one: Pass, rule: OffBallScreenSettings, types: ScreenTypeSettings) -> float:
    """Product of the grades: the cutter uses the screener, who stands in the way of the defender and changes it."""
    m = one.moment
    t = view.t_s[m]
    sigma = pair_sigma_ft(view, m, one.screener, one.cutter)
    touch, at = _touch(view, one, rule)
    touch_sigma = pair_sigma_ft(view, at, one.screener, one.guard)
    closest = float(view.gap_ft[m, one.screener, one.cutter])
    lost = _lost_ft(view, one, rule)
    nearer, his_ft = _other_is_nearer(view, one, rule)
    chases = at_most(_separation(view, one, -rule.before_s), rule.chases_ft, rule.chases_soft_ft, touch_sigma)
    rubbed = (
        at_most(closest, rule.rub_ft, rule.rub_soft_ft, sigma),
        at_most(_slowest(view, one, rule), rule.stands_ft_s, rule.stands_soft_ft_s),
        max(
            at_most(touch, rule.rub_touch_ft, rule.rub_soft_ft, touch_sigma) * chases,
            at_most(touch, rule.round_touch_ft, rule.rub_soft_ft, touch_sigma)
            * at_least(lost, rule.round_lost_ft, rule.lost_soft_ft, touch_sigma)
            * chases,
            at_most(touch, rule.sags_touch_ft, rule.rub_soft_ft, touch_sigma),
        ),
    )
    held_up = (
        at_most(closest, rule.held_ft, rule.closest_soft_ft, sigma),
        at_most(_slowest(view, one, rule), rule.screener_speed_ft_s, rule.screener_soft_ft_s),
        at_most(touch, rule.held_touch_ft, rule.touch_soft_ft, touch_sigma),
        at_least(lost, rule.held_lost_ft, rule.lost_soft_ft, touch_sigma),
        chases,
    )
    in_way_of_him = (
        at_most(touch, rule.touch_ft, rule.touch_soft_ft, touch_sigma),
        _in_way(view, one, touch, lost, touch_sigma, rule),
        _changed(view, one, touch, lost, touch_sigma, rule, types),
    )
    came = at_least(_came(view, one, touch, rule), rule.came_ft, rule.came_soft_ft, touch_sigma)
    return math.prod(
        (
            _uses(view, one, lost, rule),
            max(math.prod(in_way_of_him), math.prod(rubbed), math.prod(held_up)),
            _follows(view, one, lost, touch_sigma, rule),
            at_least(_fastest(view, one, rule), rule.cutter_speed_ft_s, rule.speed_soft_ft_s),
            max(came, rubbed[0]) if t - view.t_s[0] >= rule.seen_before_s else HALF,
            at_least(_gone_ft(view, one, rule), rule.leaves_ft, rule.leaves_soft_ft, sigma),
            max(
                at_most(nearer, rule.others_nearer_ft, rule.chases_soft_ft, touch_sigma),
                at_least(his_ft, rule.others_within_ft, rule.chases_soft_ft, touch_sigma),
            ),
        )
    )


def _follows(view: PossessionView, one: Pass, lost_ft: float, sigma_ft: float, rule: OffBallScreenSettings) -> float:
    """Grade of the defender trying to stay with the cutter: he runs after him, or keeps up with him anyhow.

    One who stays to watch the ball, or leaves to help, loses his man whoever stands in his way.
    """
    who = (one.screener, one.cutter, one.guard)
    return max(
        at_least(runs_after_ft_s(view, who, one.moment, rule), rule.follows_ft_s, rule.follows_soft_ft_s),
        at_most(lost_ft, rule.keeps_up_ft, rule.lost_soft_ft, sigma_ft),
    )


def _brushed_score(view: PossessionView, one: Pass, rule: OffBallScreenSettings) -> float:
    """Product of the grades of a screen shoulder to shoulder past one who came and stands, whose man trails round him.

    As a further screen in a row, and besides the screener came to the defender, who was on his man.
    """
    touch, at = _touch(view, one, rule)
    sigma = pair_sigma_ft(view, at, one.screener, one.guard)
    t = view.t_s[one.moment]
    return math.prod(
        (
            _in_a_row_score(view, one, rule),
            at_least(_came(view, one, touch, rule), rule.came_ft, rule.came_soft_ft, sigma)
            if t - view.t_s[0] >= rule.seen_before_s
            else HALF,
            at_most(_separation(view, one, -rule.before_s), rule.chases_ft, rule.chases_soft_ft, sigma),
            _follows(view, one, _lost_ft(view, one, rule), sigma, rule),
        )
    )


def _lost_ft(view: PossessionView, one: Pass, rule: OffBallScreenSettings) -> float:
    """How much farther from the cutter his defender is after the screen than before it, each over a step's time."""
    before, after = (
        np.mean([_separation(view, one, s) for s in times])
        for times in ((-rule.before_s, 0.0), (rule.after_s, rule.lost_after_s))
    )
    return float(after - before)


def _turned_deg(view: PossessionView, one: Pass, rule: OffBallScreenSettings) -> float:
    """By how much the cutter's place turns about the screener's as he passes."""
    t = view.t_s[one.moment]
    path = view.uv_ft[view.span(t - rule.passes_over_s, t + rule.passes_over_s), one.cutter]
    return abs(swept_deg(view.uv_ft[one.moment, one.screener], path))


def _uses(view: PossessionView, one: Pass, lost_ft: float, rule: OffBallScreenSettings) -> float:
    """Grade of the cutter passing the screener: close by, or wide round a defender who sags and is held there.

    Half of each where the three were not seen apart for long enough to say who passed whom.
    """
    m = one.moment
    t = view.t_s[m]
    span = view.span(t - rule.passes_over_s, t + rule.passes_over_s)
    pairs = ((one.screener, one.cutter), (one.screener, one.guard), (one.cutter, one.guard))
    gaps = np.array([view.gap_ft[span, a, b] for a, b in pairs if NOBODY not in (a, b)])
    if np.isfinite(gaps).all(axis=0).mean() < rule.seen_share:
        return HALF * HALF
    sigma = pair_sigma_ft(view, m, one.screener, one.cutter)
    closest, turned = float(view.gap_ft[m, one.screener, one.cutter]), _turned_deg(view, one, rule)
    turn_sigma = math.degrees(math.atan2(sigma, closest)) if math.isfinite(sigma + closest) else 0.0
    soft_deg = rule.passes_soft_deg
    near = at_most(closest, rule.closest_within_ft, rule.closest_soft_ft, sigma) * at_least(
        turned, rule.passes_deg, soft_deg, turn_sigma
    )
    wide = (
        at_most(closest, rule.wide_ft, rule.closest_soft_ft, sigma),
        at_least(turned, rule.wide_turn_deg, soft_deg, turn_sigma),
        at_least(lost_ft, rule.wide_lost_ft, rule.lost_soft_ft, sigma),
    )
    return max(near, math.prod(wide))


def _in_way(
    view: PossessionView, one: Pass, touch_ft: float, lost_ft: float, sigma_ft: float, rule: OffBallScreenSettings
) -> float:
    """Grade of the screener standing in the defender's way, or walking into it, with contact that costs ground."""
    who = (one.screener, one.cutter, one.guard)
    stands, walks = (
        in_way(view, who, one.moment, rule, limit).grade for limit in (rule.screener_speed_ft_s, rule.moving_ft_s)
    )
    moving = (
        at_most(touch_ft, rule.bump_ft, rule.bump_soft_ft, sigma_ft),
        at_least(lost_ft, rule.moving_lost_ft, rule.lost_soft_ft, sigma_ft),
        at_most(_separation(view, one, -rule.before_s), rule.chases_ft, rule.chases_soft_ft, sigma_ft),
    )
    return max(stands, walks * math.prod(moving))


def _changed(
    view: PossessionView, one: Pass, touch_ft: float, lost_ft: float, sigma_ft: float, rule: OffBallScreenSettings,
    types: ScreenTypeSettings,
) -> float:  # fmt: skip
    """Grade of the screen changing what the defender does: he is bumped, loses ground, or has to take its other side.

    One who sags has nothing to lose by either: the cutter is far from him anyway.
    """
    before = _separation(view, one, -rule.before_s)
    who = (one.screener, one.cutter, one.guard, one.screener_guard)
    chases, close = (
        at_most(before, limit, rule.chases_soft_ft, sigma_ft) for limit in (rule.chases_ft, rule.close_chase_ft)
    )
    return max(
        chases * at_least(lost_ft, rule.lost_ft, rule.lost_soft_ft, sigma_ft),
        chases * at_most(touch_ft, rule.bump_ft, rule.bump_soft_ft, sigma_ft),
        close * takes_other_side(view, who, one.moment, types),
    )


def _comes_off_another(
    view: PossessionView,
    one: Pass,
    sure: Sequence[tuple[float, Pass]],
    rest: Sequence[tuple[float, Pass]],
    settings: ActionSettings,
) -> bool:
    """Whether the cutter has just used somebody else's screen, or goes through between two who stand together."""
    rule = settings.screen_type
    after_s = [
        float(view.t_s[one.moment] - view.t_s[first.moment])
        for _, first in sure
        if first.cutter == one.cutter and first.screener != one.screener
    ]
    return any(0 < s <= rule.stagger_s for s in after_s) or any(
        other.cutter == one.cutter
        and other.screener != one.screener
        and abs(float(view.t_s[one.moment] - view.t_s[other.moment])) <= rule.double_s
        and view.gap_ft[one.moment, one.screener, other.screener] <= rule.double_ft
        for _, other in (*sure, *rest)
    )


def _in_a_row_score(view: PossessionView, one: Pass, rule: OffBallScreenSettings) -> float:
    """Product of the grades of a further screen for a cutter whose defender the one before has held up.

    That defender trails and comes by late, or goes another way: it is enough that the screener stands, the cutter goes
    past his shoulder and the defender has to get by him too.
    """
    m = one.moment
    t = view.t_s[m]
    sigma = pair_sigma_ft(view, m, one.screener, one.cutter)
    closest = float(view.gap_ft[m, one.screener, one.cutter])
    after = view.span(t - rule.touch_within_s, t + rule.row_touch_s)
    gap = view.gap_ft[after, one.screener, one.guard] if one.guard != NOBODY else np.array([NAN])
    touch = float(np.nanmin(gap)) if np.isfinite(gap).any() else NAN
    return math.prod(
        (
            at_most(closest, rule.row_ft, rule.rub_soft_ft, sigma),
            at_least(_turned_deg(view, one, rule), rule.passes_deg, rule.passes_soft_deg),
            at_most(_slowest(view, one, rule), rule.stands_ft_s, rule.stands_soft_ft_s),
            at_most(touch, rule.row_touch_ft, rule.touch_soft_ft, sigma),
            at_least(_lost_ft(view, one, rule), 0.0, rule.lost_soft_ft, sigma),
            at_least(_fastest(view, one, rule), rule.cutter_speed_ft_s, rule.speed_soft_ft_s),
            at_least(_gone_ft(view, one, rule), rule.leaves_ft, rule.leaves_soft_ft, sigma),
        )
    )


def _other_is_nearer(view: PossessionView, one: Pass, rule: OffBallScreenSettings) -> tuple[float, float]:
    """By how much the screener's defender was nearer to the cutter before than the cutter's own, and how near."""
    if NOBODY in (one.guard, one.screener_guard):
        return -math.inf, math.inf
    before = view.at(view.t_s[one.moment] - rule.others_before_s)
    own, his = (float(view.gap_ft[before, one.cutter, who]) for who in (one.guard, one.screener_guard))
    return own - his, his


def _gone_ft(view: PossessionView, one: Pass, rule: OffBallScreenSettings) -> float:
    """How far from the screener the cutter is a moment later; NaN where not known or the view ends before."""
    t = view.t_s[one.moment] + rule.leaves_s
    return float(view.gap_ft[view.at(t), one.cutter, one.screener]) if t <= view.t_s[-1] + view.step_s else NAN


def _came(view: PossessionView, one: Pass, touch_ft: float, rule: OffBallScreenSettings) -> float:
    """By how much screener and cutter's defender came nearer to each other before."""
    if one.guard == NOBODY:
        return NAN
    t = view.t_s[one.moment]
    before = view.gap_ft[view.span(t - rule.came_over_s, t), one.screener, one.guard]
    return float(np.nanmax(before)) - touch_ft if np.isfinite(before).any() else NAN


def _fastest(view: PossessionView, one: Pass, rule: OffBallScreenSettings) -> float:
    """Top speed of the cutter about the screen."""
    t = view.t_s[one.moment]
    speed = view.speed_ft_s[view.span(t - rule.passes_over_s / 2, t + rule.passes_over_s), one.cutter]
    return float(np.nanmax(speed)) if np.isfinite(speed).any() else NAN


def _slowest(view: PossessionView, one: Pass, rule: OffBallScreenSettings) -> float:
    """Least mean speed of the screener over ``slow_for_s`` as the cutter passes."""
    t = view.t_s[one.moment]
    speed = view.speed_ft_s[view.span(t - rule.slow_around_s, t + rule.slow_around_s), one.screener]
    width = max(view.steps(rule.slow_for_s), 1)
    if len(speed) < width or not np.isfinite(speed).any():
        return NAN
    windows = np.lib.stride_tricks.sliding_window_view(speed, width).mean(axis=1)
    return float(np.nanmin(windows)) if np.isfinite(windows).any() else NAN


def _apart(
    view: PossessionView, graded: list[tuple[float, Pass]], rule: OffBallScreenSettings
) -> list[tuple[float, Pass]]:
    """The best of passes that are one screen: those of two players close in time, whoever of them screens."""
    kept: list[tuple[float, Pass]] = []
    for score, one in sorted(graded, key=lambda g: (-g[0], g[1].moment)):
        same = (
            k
            for _, k in kept
            if {k.screener, k.cutter} == {one.screener, one.cutter}
            and abs(view.t_s[k.moment] - view.t_s[one.moment]) <= rule.same_within_s
        )
        if next(same, None) is None:
            kept.append((score, one))
    return sorted(kept, key=lambda g: g[1].moment)


def _event(view: PossessionView, one: Pass, score: float, grouped: str, settings: ActionSettings) -> Event:
    rule = settings.off_ball_screen
    m, who = one.moment, (one.screener, one.cutter, one.guard, one.screener_guard)
    t = float(view.t_s[m])
    touch, _ = _touch(view, one, rule)
    stepped = set_up_ft(view, one.cutter, m, settings.screen_type)
    u, v = (float(x) for x in view.uv_ft[m, one.screener])
    way = route(view, who, m, settings)
    roles = zip(("screener", "cutter", "cutter_defender", "screener_defender"), who, strict=True)
    name = place_names(view.uv_ft[m, one.screener][None], view.book)[0]
    return Event(
        kind=OFF_BALL_SCREEN,
        shot=view.shot,
        possession=view.possession,
        start_s=float(view.t_s[view.at(t - rule.touch_within_s)]),
        end_s=float(view.t_s[view.at(t + rule.after_s)]),
        t_s=t,
        actors=tuple((role, int(view.tracks[column])) for role, column in roles if column != NOBODY),
        place_ft=view.court_place_ft(m, one.screener),
        attacked_end=view.end,
        measures={
            "u_ft": u,
            "v_ft": v,
            "sigma_ft": pair_sigma_ft(view, m, one.screener, one.cutter),
            "contact_ft": touch,
            "closest_ft": float(view.gap_ft[m, one.screener, one.cutter]),
            "screener_speed_ft_s": float(view.speed_ft_s[m, one.screener]),
            "off_way_ft": in_way(view, who[:3], m, rule, rule.screener_speed_ft_s).off_ft,
            "line_off_deg": line_off_deg(view, who, m, settings),
            "set_up_ft": stepped,
            "separation_before_ft": _separation(view, one, -rule.before_s),
            "separation_at_ft": _separation(view, one, 0.0),
            "separation_after_ft": _separation(view, one, rule.after_s),
        },
        score=score,
        traits={
            "type": screen_type(view, who, m, settings.screen_type),
            "group": grouped,
            "route": way,
            "read": read(view, who, m, way, settings),
            "set_up": UNKNOWN if math.isnan(stepped) else IN_WORDS[stepped >= settings.screen_type.set_up_ft],
            "place": name or "none",
        },
    )
