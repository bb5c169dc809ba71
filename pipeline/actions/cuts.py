"""Cuts: what a run without the ball is called.

Every run is parted at its bends (``runs``); the longest parts are tried first, against the kinds of :data:`CUTS` in
their order. A moment of a run belongs to at most one cut. What no kind fits is running, and no cut.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.evidence import NAN, event_of, place_of, yes_no
from pipeline.actions.runs import Run, parts, run_between, runs_of
from pipeline.actions.settings import ActionSettings, CutSettings
from pipeline.actions.view import NOBODY, PossessionView
from pipeline.actions.vocabulary import UNKNOWN

SCREEN = "off_ball_screen"


@dataclass(frozen=True, slots=True)
class Setting:
    """What a cut is judged in: the possession, what was found before, and the rule."""

    view: PossessionView
    earlier: Sequence[Event]
    rule: CutSettings

    def of(self, kind: str, role: str, column: int) -> list[Event]:
        """Earlier events of a kind with a player in a role."""
        track = int(self.view.tracks[column])
        return [e for e in self.earlier if e.kind == kind and e.actor(role) == track]


@dataclass(frozen=True, slots=True)
class Named:
    """What a kind says of a run: measures and traits of its own, and a screener where it needs one."""

    measures: dict[str, float] = field(default_factory=dict)
    traits: dict[str, str] = field(default_factory=dict)
    screener: int | None = None


Rule = Callable[[Setting, Run], Named | None]
"""Says whether a run is of a kind, and with what evidence."""


class Cuts:
    """Finds cuts of every kind. The score is the certainty of the cutter's places."""

    needs: tuple[str, ...] = ("tracks", "touches", "possessions", "pass", "handoff", "denial", SCREEN)

    @property
    def kinds(self) -> tuple[str, ...]:
        """All kinds of cuts."""
        return tuple(CUTS)

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Cuts of one possession's attackers."""
        setting = Setting(view, earlier, settings.cut)
        found = []
        # after the shot men go for the rebound: that is no cut
        until_s = min([view.end_s, *(a.start_s for a in view.story.attempts if a.end_s >= view.end_s - 0.5)])
        for column in np.flatnonzero(view.attackers):
            for run in runs_of(view, int(column), settings.cut):
                last = min(run.last, view.at(until_s))
                if view.start_s - 1e-6 <= view.t_s[run.first] < until_s and last > run.first:
                    until = run if last == run.last else run_between(view, run.column, run.first, last, settings.cut)
                    found.extend(_named(setting, until))
        return found


def _named(setting: Setting, run: Run) -> list[Event]:
    """The cuts that a run is made of."""
    taken = np.zeros(run.last - run.first + 1, bool)
    found = []
    every = list(parts(run, setting.rule))
    for kind, rule in CUTS.items():
        for part in every:
            span = slice(part.first - run.first + 1, part.last - run.first)
            if taken[span].any():
                continue
            named = rule(setting, part)
            if named is not None:
                taken[span] = True
                found.append(_cut(setting, kind, part, named))
    return found


def _cut(setting: Setting, kind: str, run: Run, named: Named) -> Event:
    view = setting.view
    speed = view.speed_ft_s[run.first : run.last + 1, run.column]
    moment = (run.first + run.last) // 2
    guard = view.guard_of(run.first, run.column)
    last_guard = view.guard_of(run.last, run.column)
    after = NAN if last_guard is None else float(view.gap_ft[run.last, run.column, last_guard])
    screens = _screens(setting, run)
    screener = named.screener
    if screener is None and screens:
        found = np.flatnonzero(view.tracks == screens[0].actor("screener"))
        screener = int(found[0]) if len(found) else None
    return event_of(
        view, kind, (float(view.t_s[run.first]), float(view.t_s[moment]), float(view.t_s[run.last])),
        [("cutter", run.column), ("cutter_defender", guard), ("screener", screener)],
        run.path[moment - run.first],
        measures={
            "length_ft": run.length_ft, "top_speed_ft_s": float(np.nanmax(speed)),
            "start_u_ft": float(run.start[0]), "start_v_ft": float(run.start[1]),
            "end_u_ft": float(run.end[0]), "end_v_ft": float(run.end[1]),
            "end_separation_ft": after, **named.measures,
        },
        traits={
            "from_place": place_of(view, run.start), "to_place": place_of(view, run.end),
            "off_screen": yes_no(screener is not None), **named.traits,
        },
        tolerance_ft=setting.rule.tolerance_ft,
    )  # fmt: skip


# ---- kinds ---------------------------------------------------------------------------------------------------------


def zipper(setting: Setting, run: Run) -> Named | None:
    """From the block or low lane up the lane line to slot or top, or curled, faded or rejected on the way.

    A curl turns round the screen: back to the ring, or, when it is wide, across the floor and no farther out. A fade
    ends on the wing of its own side. Rejected is a zipper past a teammate who stands there to screen, on his inner
    side and so that no screen came of it.
    """
    rule, path = setting.rule, run.path
    if run.start[0] > rule.low_u_ft or abs(run.start[1]) > rule.zipper_start_v_ft:
        return None
    top = int(path[:, 0].argmax())
    rise = float(path[top, 0] - run.start[0])
    up = path[: top + 1]
    climbing = up[up[:, 0] <= setting.view.free_throw_u_ft]
    if rise < rule.curl_rise_ft or np.abs(climbing[:, 1]).max(initial=0.0) > rule.zipper_start_v_ft:
        return None
    least = min(rise, rule.zipper_rise_ft)
    first = up[: int(np.argmax(up[:, 0] - run.start[0] >= least - 1e-9)) + 1]
    if np.hypot(*np.diff(first, axis=0).T).sum() > rule.straight_up * least:
        return None
    back = float(run.ring_ft[top:].max() - run.ring_ft[-1])
    off_deg = _off_ring_deg(setting, run)
    way = _last_way(setting, run)
    inwards = way[1] * run.start[1] < 0
    turned = inwards and float(np.degrees(np.arctan2(abs(way[1]), way[0]))) >= rule.curls_deg
    if (back >= rule.turn_back_ft and off_deg <= rule.points_deg) or turned:
        end = "curl"
    elif rise < rule.zipper_rise_ft:
        return None
    elif abs(run.end[1]) > rule.middle_v_ft:
        end = "fade"
    elif run.end[0] >= rule.high_u_ft:
        end = "straight"
    else:
        return None
    if end == "straight" and _passes_inside(setting, run):
        end = "rejected"
    if end == "straight" and np.abs(up[:, 1]).max() > rule.middle_v_ft:
        return None
    trails = _trails(setting, run, top)
    right = None if trails is None or end not in ("curl", "straight", "fade") else (end == "curl") == trails
    return Named(
        {"rise_ft": rise, "turn_off_ring_deg": off_deg, "turn_radius_ft": _turn_radius_ft(setting, run)},
        {"end": end, "defender_trails": yes_no(trails), "end_right": yes_no(right)},
    )


def iverson(setting: Setting, run: Run) -> Named | None:
    """From one wing across both elbows to the other."""
    rule, path = setting.rule, run.path
    if not (_side(run.start) * _side(run.end) < 0 and min(abs(run.start[1]), abs(run.end[1])) >= rule.wing_v_ft):
        return None
    middle = path[np.abs(path[:, 1]) <= setting.view.book.lane_width_ft / 2]
    line = setting.view.free_throw_u_ft
    fits = len(middle) and (middle[:, 0] >= line - 4).all() and (middle[:, 0] <= line + 8).all()
    return Named() if fits else None


def ucla(setting: Setting, run: Run) -> Named | None:
    """The passer to the wing cuts over a screener at the high post to the block."""
    rule = setting.rule
    thrown = _passed(setting, run)
    outside = run.start[0] >= setting.view.free_throw_u_ft and abs(run.start[1]) <= rule.middle_v_ft
    if thrown is None or not outside or run.end[0] > rule.low_u_ft or run.ring_ft[-1] > rule.low_u_ft + 4:
        return None
    screener = _high_screener(setting, run)
    return None if screener is None else Named(screener=screener)


def loop(setting: Setting, run: Run) -> Named | None:
    """After his pass from top or slot by way of the high post or below to the wing opposite the pass."""
    rule, path = setting.rule, run.path
    thrown = _passed(setting, run)
    outside = run.start[0] >= rule.high_u_ft - 3 and abs(run.start[1]) <= rule.middle_v_ft + 1
    if thrown is None or not outside or abs(run.end[1]) < rule.wing_v_ft:
        return None
    if run.end[1] * thrown.measures["catch_v_ft"] >= 0:
        return None
    middle = path[np.abs(path[:, 1]) <= setting.view.book.lane_width_ft / 2]
    return Named() if len(middle) and middle[:, 0].min() <= rule.through_u_ft else None


def back_cut(setting: Setting, run: Run) -> Named | None:
    """Denied, then behind the defender towards the ring; off a screen, or past one who stands high, it is none."""
    rule, view = setting.rule, setting.view
    start_s = view.t_s[run.first]
    denied = any(
        d.start_s <= start_s + 0.3 and d.end_s >= start_s - rule.denied_before_s
        for d in setting.of("denial", "receiver", run.column)
    )
    if not denied or run.ring_ft[0] < rule.from_ft or not _to_ring(setting, run):
        return None
    screened = _screens(setting, run) or _high_screener(setting, run) is not None
    return None if screened else Named()


def deep_cut(setting: Setting, run: Run) -> Named | None:
    """To the baseline side, then back out to about where he was."""
    rule, path = setting.rule, run.path
    low = int(path[:, 0].argmin())
    down, out = run.start[0] - path[low, 0], run.end[0] - path[low, 0]
    outside = run.ring_ft[0] >= rule.from_ft and run.ring_ft[-1] >= rule.from_ft
    back = math.dist(run.start, run.end) <= rule.deep_back_ft
    fits = back and path[low, 0] <= rule.deep_u_ft and down >= rule.deep_ft and out >= rule.deep_ft
    return Named() if outside and fits else None


def basket_cut(setting: Setting, run: Run) -> Named | None:
    """From outside straight to the ring; where the ball goes with him he drives, whoever is said to have it."""
    fits = run.ring_ft[0] >= setting.rule.from_ft and _to_ring(setting, run)
    return Named() if fits and not _ball_goes_along(setting, run) else None


def flash(setting: Setting, run: Run) -> Named | None:
    """From below or the weak side towards the ball, to an elbow, the high post or the middle of the paint.

    He comes nearer to the ball by his own run, not by a pass or a dribble that comes his way; who goes from one elbow
    to the other was there already. With a screen it is a cut off that screen, and no flash.
    """
    rule, view = setting.rule, setting.view
    if _screens(setting, run):
        return None
    ball = view.ball_uv_ft[[run.first, run.last]]
    if not np.isfinite(ball).all():
        return None
    nearer = math.dist(run.start, ball[1]) - math.dist(run.end, ball[1])
    side = int(view.ball_side[run.first])
    weak = side != 0 and run.start[1] * side < 0 and run.start[0] <= rule.weak_u_ft
    low = run.start[0] <= rule.low_u_ft and abs(run.start[1]) <= rule.zipper_start_v_ft
    there, arrives = (
        abs(at[1]) <= view.book.lane_width_ft / 2 + 3.5 and rule.deep_u_ft <= at[0] <= rule.through_u_ft
        for at in (run.start, run.end)
    )
    ball_outside = float(np.hypot(*ball[1])) > float(run.ring_ft[-1])
    comes = low or (weak and not there)
    return Named() if comes and arrives and ball_outside and nearer >= rule.nearer_ball_ft else None


def shallow(setting: Setting, run: Run) -> Named | None:
    """Along the outside, away from a handler who dribbles towards where the cutter was."""
    rule, view = setting.rule, setting.view
    if run.path[:, 0].min() < view.free_throw_u_ft or run.length_ft < rule.shallow_ft:
        return None
    if run.ring_ft.min() < rule.high_u_ft:
        return None
    handlers = view.handler[run.first : run.last + 1]
    handler = int(handlers[0])
    if handler in (NOBODY, run.column) or not (handlers == handler).all():
        return None
    way = view.uv_ft[[run.first, run.last], handler]
    came = math.dist(way[0], run.start) - math.dist(way[1], run.start)
    return Named() if came >= rule.dribble_at_ft else None


CUTS: dict[str, Rule] = {
    "zipper_cut": zipper,
    "ucla_cut": ucla,
    "loop_cut": loop,
    "iverson_cut": iverson,
    "back_cut": back_cut,
    "deep_cut": deep_cut,
    "basket_cut": basket_cut,
    "flash_cut": flash,
    "shallow_cut": shallow,
}
"""Kinds of cuts in the order in which they are tried: the special before the general."""


# ---- what the kinds look at ----------------------------------------------------------------------------------------


def _side(uv: np.ndarray) -> float:
    return float(np.sign(uv[1]))


def _last_way(setting: Setting, run: Run) -> np.ndarray:
    """Velocity shortly before a run slows down, (2,)."""
    return setting.view.velocity_ft_s[run.first + _before_slowing(setting, run), run.column]


def _before_slowing(setting: Setting, run: Run) -> int:
    view, rule = setting.view, setting.rule
    fast = np.flatnonzero(view.speed_ft_s[run.first : run.last + 1, run.column] > rule.slows_ft_s)
    last = int(fast[-1]) if len(fast) else len(run.path) - 1
    return max(last - view.steps(rule.before_slow_s), 0)


def _off_ring_deg(setting: Setting, run: Run) -> float:
    """Angle between a run's way shortly before it slows down and the ring, degrees."""
    way, to_ring = _last_way(setting, run), -run.path[_before_slowing(setting, run)]
    lengths = float(np.hypot(*way) * np.hypot(*to_ring))
    return float(np.degrees(np.arccos(np.clip(way @ to_ring / lengths, -1, 1)))) if lengths > 0 else NAN


def _to_ring(setting: Setting, run: Run) -> bool:
    """Ends near the ring, having come nearer all the way."""
    rule, ring = setting.rule, run.ring_ft
    return bool(ring[-1] <= rule.ring_ft and ring[0] - ring[-1] >= 0.75 * run.length_ft)


def _ball_goes_along(setting: Setting, run: Run) -> bool:
    """Whether the ball was seen within the runner's reach for a while: he has it, or is who has it, seen twice."""
    view, rule = setting.view, setting.rule
    span = slice(run.first, run.last + 1)
    away = np.hypot(*(run.path - view.ball_uv_ft[span]).T)
    with np.errstate(invalid="ignore"):
        his = view.ball_seen[span] & (away <= rule.reach_ft)
    return int(his.sum()) * view.step_s >= rule.reach_for_s


def _passed(setting: Setting, run: Run) -> Event | None:
    """The cutter's own pass just before the run."""
    start_s = setting.view.t_s[run.first]
    rule = setting.rule
    return next(
        (
            p
            for p in reversed(setting.of("pass", "passer", run.column))
            if -rule.pause_s <= start_s - p.start_s <= rule.after_pass_s
        ),
        None,
    )


def _screens(setting: Setting, run: Run) -> list[Event]:
    """Off-ball screens for this cutter during the run."""
    t, rule = setting.view.t_s, setting.rule
    return [
        e
        for e in setting.of(SCREEN, "cutter", run.column)
        if t[run.first] - rule.screen_s <= e.t_s <= t[run.last] + rule.screen_s
    ]


def _passes_inside(setting: Setting, run: Run) -> bool:
    """Whether a run goes by a standing teammate between him and the middle, and no screen came of it."""
    if _screens(setting, run):
        return False
    view, rule = setting.view, setting.rule
    for mate in np.flatnonzero(view.attackers):
        gap = view.gap_ft[run.first : run.last + 1, run.column, mate]
        if mate == run.column or not np.isfinite(gap).any():
            continue
        at = int(np.nanargmin(gap))
        place = view.uv_ft[run.first + at, mate]
        stands = view.speed_ft_s[run.first + at, mate] <= rule.moving_ft_s
        on_the_way = run.start[0] < place[0] < run.path[:, 0].max() and gap[at] <= rule.screen_ft
        inner = abs(run.path[at, 1]) < abs(place[1]) and run.path[at, 1] * place[1] > 0
        if stands and on_the_way and inner and abs(place[1]) <= rule.zipper_start_v_ft:
            return True
    return False


def _high_screener(setting: Setting, run: Run) -> int | None:
    """A slow teammate at the high post or an elbow whom the run passes closely."""
    view, rule = setting.view, setting.rule
    span = slice(run.first, run.last + 1)
    best, least = None, rule.screen_ft
    for mate in np.flatnonzero(view.attackers):
        if mate == run.column:
            continue
        gap = view.gap_ft[span, run.column, mate]
        if not np.isfinite(gap).any():
            continue
        at = int(np.nanargmin(gap))
        place, speed = view.uv_ft[run.first + at, mate], view.speed_ft_s[run.first + at, mate]
        high = abs(place[0] - view.free_throw_u_ft) <= 7 and abs(place[1]) <= view.book.lane_width_ft / 2 + 5
        if high and speed <= rule.moving_ft_s and gap[at] <= least:
            best, least = int(mate), float(gap[at])
    return best


def _trails(setting: Setting, run: Run, top: int) -> bool | None:
    """Whether the defender follows behind the cutter; None where that is not known.

    The screen's route says it where there was a screen; else whether he follows the cutter's own way, in most moments
    of the upper half of the rise.
    """
    view = setting.view
    routes = [e.traits["route"] for e in _screens(setting, run) if e.traits["route"] != UNKNOWN]
    if routes:
        return routes[0] == "trails"
    guard = view.guard_of(run.first, run.column)
    if guard is None or top < 2:
        return None
    votes = []
    for at in range(top // 2, top + 1, max(top // 8, 1)):
        place = view.uv_ft[run.first + at, guard]
        away = np.hypot(*(run.path[: at + 1] - place).T)
        if np.isfinite(place).all():
            # on the way that the cutter has come, not beside or ahead of where he is
            votes.append(away.argmin() < at and away.min() <= setting.rule.trails_ft)
    return bool(np.mean(votes) > 0.5) if votes else None


def _turn_radius_ft(setting: Setting, run: Run) -> float:
    """Radius of the tightest part of a run, feet; NaN where it hardly turns.

    Speed over turning rate, where he moves.
    """
    view, rule = setting.view, setting.rule
    velocity = view.velocity_ft_s[run.first : run.last + 1, run.column]
    speed = view.speed_ft_s[run.first : run.last + 1, run.column]
    heading = np.unwrap(np.arctan2(velocity[:, 1], velocity[:, 0]))
    if len(heading) < 3 or np.degrees(np.ptp(heading[speed > rule.moving_ft_s])) < rule.turns_deg:
        return NAN
    rate = np.abs(np.gradient(heading, view.step_s))
    radius = np.where(speed > rule.moving_ft_s, speed / np.maximum(rate, 1e-3), np.inf)
    return float(radius.min())
