"""What sort of off-ball screen it was, and what the cutter and his defender did with it.

Decided here, as a coach would (all common practice, no source):

* The type goes by what the screen does for the cutter, seen in his way from a second before it to a little more than a
  second after it. Asked in this order: **pin-in** (his defender sags on the weak side and is held there), **cross**
  (below the free-throw line, more across the floor than up or down, and over the middle of the lane), **back** (he goes
  to the ring, and the screener came from below him), **flare** (he fades away from the ball and stays outside),
  **down** (he comes up, off a screener who stood or came down above his start), else other.
* Two screeners at one spot are a double; if the cutter goes between them and they close up behind him, an elevator. Two
  screens in a row for one cutter within 1.5 s are a stagger.
* The side of the screen on which somebody passed is the side of the cutter's way on which he was as he passed it. A
  defender who passes on the cutter's side after him, or runs in his footsteps, trails; on the other side before him he
  shoots the gap; otherwise he went the high side (farther from the ring than the screener) or the low side.
* The cutter read it right when he passed on the side that the defender did not take; when the defender trails, if he
  left him behind.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pipeline.actions.coverage import changed_men
from pipeline.actions.screen_settings import ScreenTypeSettings
from pipeline.actions.settings import ActionSettings
from pipeline.actions.view import NOBODY, PossessionView
from pipeline.actions.vocabulary import UNKNOWN

NAN = float("nan")
Who = tuple[int, int, int, int]
"""Columns of screener, cutter, cutter's defender and screener's defender; ``NOBODY`` where not known."""


def swept_deg(around_ft: np.ndarray, path_ft: np.ndarray) -> float:
    """By how much a path (T, 2) turns about a point, degrees, with its sign; NaN if less than two places are known."""
    known = path_ft[np.isfinite(path_ft).all(axis=1)] - around_ft
    if len(known) < 2:
        return NAN
    angle = np.unwrap(np.arctan2(known[:, 1], known[:, 0]))
    return float(np.degrees(angle[-1] - angle[0]))


def screen_type(view: PossessionView, who: Who, moment: int, rule: ScreenTypeSettings) -> str:
    """One of the types of the vocabulary; unknown where the cutter's way was not seen."""
    screener, cutter, _, _ = who
    t = view.t_s[moment]
    first, last = view.at(t - rule.start_s), view.at(t + rule.end_s)
    start, end = view.uv_ft[first, cutter], view.uv_ft[last, cutter]
    screen, came_from = view.uv_ft[moment, screener], view.uv_ft[view.at(t - rule.from_s), screener]
    if not np.isfinite([*start, *end, *screen]).all():
        return UNKNOWN
    rise, across = float(end[0] - start[0]), float(abs(end[1] - start[1]))
    nearer = float(np.linalg.norm(start) - np.linalg.norm(end))
    if _pinned(view, who, first, last, moment, rule):
        return "pin_in"
    over_middle = start[1] * end[1] < 0 or min(abs(start[1]), abs(end[1])) < view.book.lane_width_ft / 4
    by_lane = abs(screen[1]) <= view.book.lane_width_ft / 2 + rule.lane_margin_ft
    if across > abs(rise) and over_middle and by_lane and max(screen[0], start[0]) < view.free_throw_u_ft:
        return "cross"
    below = np.isfinite(came_from).all() and np.linalg.norm(came_from) < np.linalg.norm(start)
    to_ring = nearer >= rule.rise_ft and np.linalg.norm(end) <= rule.ring_within_ft
    if to_ring and (below or np.linalg.norm(screen) < np.linalg.norm(start)):
        return "back"
    if rise >= rule.rise_ft and screen[0] > start[0]:
        return "down"
    if _fades(view, first, last, cutter, rule):
        return "flare"
    return "other"


def _pinned(view: PossessionView, who: Who, first: int, last: int, moment: int, rule: ScreenTypeSettings) -> bool:
    """Whether the defender of a man who stays outside on the weak side sags, and so is screened inside."""
    _, cutter, guard, _ = who
    side = view.ball_side[moment]
    if guard == NOBODY or side == 0 or view.uv_ft[moment, cutter, 1] * side >= 0:
        return False
    outside = min(view.ring_ft[first, cutter], view.ring_ft[last, cutter]) >= rule.fades_outside_ft
    sags = view.gap_ft[first, cutter, guard] >= rule.pinned_ft
    inside = view.ring_ft[first, cutter] - view.ring_ft[first, guard] >= rule.pinned_nearer_ft
    return bool(outside and sags and inside)


def _fades(view: PossessionView, first: int, last: int, cutter: int, rule: ScreenTypeSettings) -> bool:
    ball = view.ball_uv_ft[first]
    if not np.isfinite(ball).all():
        return False
    before, after = (float(np.linalg.norm(view.uv_ft[m, cutter] - ball)) for m in (first, last))
    return after - before >= rule.fades_ft and bool(view.ring_ft[last, cutter] >= rule.fades_outside_ft)


def group(view: PossessionView, number: int, screens: Sequence[tuple[int, int, int]], settings: ActionSettings) -> str:
    """Whether a screen stands alone.

    Parameters
    ----------
    view : PossessionView
    number : int
        Which of ``screens``.
    screens : sequence of (screener, cutter, moment)
        All of the possession, in order of time.
    settings : ActionSettings
    """
    rule = settings.screen_type
    screener, cutter, moment = screens[number]
    answer = "single"
    for n, (other, for_whom, when) in enumerate(screens):
        if n == number or for_whom != cutter or other == screener:
            continue
        apart_s = abs(view.t_s[when] - view.t_s[moment])
        if apart_s <= rule.double_s and view.gap_ft[moment, screener, other] <= rule.double_ft:
            first, last = sorted((moment, when))
            return "elevator" if _door(view, (screener, other), cutter, first, last, rule) else "double"
        if apart_s <= rule.stagger_s:
            answer = "stagger"
    return answer


def _door(
    view: PossessionView, pair: tuple[int, int], cutter: int, first: int, last: int, rule: ScreenTypeSettings
) -> bool:
    """Whether a cutter goes between two teammates who close up behind him."""
    around = view.span(view.t_s[first] - rule.double_s, view.t_s[last] + rule.double_s)
    one, two, own = (view.uv_ft[around, c] for c in (*pair, cutter))
    along = two - one
    length = np.linalg.norm(along, axis=1)
    share = ((own - one) * along).sum(axis=1) / np.where(length > 0, length, np.nan) ** 2
    beside = (own - one)[:, 0] * along[:, 1] - (own - one)[:, 1] * along[:, 0]
    crossing = np.flatnonzero(beside[:-1] * beside[1:] <= 0)
    between = [k for k in crossing if 0.0 < share[k] < 1.0]
    if not between:
        return False
    at = around.start + between[0]
    later = view.gap_ft[at : view.at(view.t_s[at] + 2 * rule.double_s) + 1, pair[0], pair[1]]
    return bool(np.isfinite(later).any() and later[0] - np.nanmin(later) >= rule.door_ft)


def set_up_ft(view: PossessionView, cutter: int, moment: int, rule: ScreenTypeSettings) -> float:
    """How far the cutter first went against the way that he then took past the screen; NaN where not known."""
    t = view.t_s[moment]
    path = view.uv_ft[view.span(t - rule.set_up_s, t), cutter]
    way = _way(view, cutter, moment, rule)
    if way is None or not np.isfinite(path).all():
        return NAN
    along = path @ way
    return float((np.maximum.accumulate(along) - along).max())


def _way(view: PossessionView, cutter: int, moment: int, rule: ScreenTypeSettings) -> np.ndarray | None:
    """Direction in which the cutter passes the screen, (2,); None where not known or he stands."""
    t = view.t_s[moment]
    step = view.uv_ft[view.at(t + rule.double_s), cutter] - view.uv_ft[view.at(t - rule.double_s), cutter]
    length = float(np.linalg.norm(step))
    return step / length if np.isfinite(length) and length > 0 else None


def _side(view: PossessionView, column: int, who: Who, moment: int, rule: ScreenTypeSettings) -> tuple[float, int]:
    """On which side of the cutter's way a player passes the screen's place (feet to the left), and when; NaN if not."""
    screener, cutter, _, _ = who
    way = _way(view, cutter, moment, rule)
    if way is None:
        return NAN, moment
    t = view.t_s[moment]
    span = view.span(t - rule.start_s, t + rule.passes_within_s)
    path = view.uv_ft[span, column] - view.uv_ft[moment, screener]
    along, across = path @ way, path @ np.array([-way[1], way[0]])
    crossing = np.flatnonzero((along[:-1] < 0) & (along[1:] >= 0))
    if not len(crossing):
        return NAN, moment
    at = int(crossing[np.argmin(np.abs(span.start + crossing - moment))]) + 1
    return float(across[at]), span.start + at


def takes_other_side(view: PossessionView, who: Who, moment: int, rule: ScreenTypeSettings) -> bool:
    """Whether the cutter's defender gets past the screen on the side on which the cutter does not."""
    _, cutter, guard, _ = who
    if guard == NOBODY:
        return False
    (own, _), (his, _) = (_side(view, column, who, moment, rule) for column in (cutter, guard))
    return own * his < 0


def route(view: PossessionView, who: Who, moment: int, settings: ActionSettings) -> str:
    """Which way the cutter's defender went; unknown where he does not get past the screen or was not seen."""
    rule = settings.screen_type
    screener, cutter, guard, big = who
    if guard == NOBODY:
        return UNKNOWN
    if big != NOBODY and changed_men(view, (cutter, screener, guard, big), moment, settings.coverage):
        return "switches"
    own, when = _side(view, cutter, who, moment, rule)
    his, then = _side(view, guard, who, moment, rule)
    later_s = view.t_s[then] - view.t_s[when]
    if (own * his > 0 and later_s >= rule.trails_s) or _follows(view, cutter, guard, moment, rule):
        return "trails"
    if math.isnan(his):
        return UNKNOWN
    if own * his < 0 and later_s <= -rule.trails_s:
        return "shoots_gap"
    return "high_side" if view.ring_ft[then, guard] > view.ring_ft[moment, screener] else "low_side"


def _follows(view: PossessionView, cutter: int, guard: int, moment: int, rule: ScreenTypeSettings) -> bool:
    """Whether the defender runs in the cutter's footsteps, a moment behind him."""
    t = view.t_s[moment]
    span = view.span(t - rule.double_s, t + rule.double_s)
    path = view.uv_ft[span, cutter]
    for back in range(view.steps(rule.follows_s[0]), view.steps(rule.follows_s[1]) + 1):
        later = view.uv_ft[span.start + back : span.stop + back, guard]
        off = np.linalg.norm(later - path[: len(later)], axis=1)
        if len(later) and np.isfinite(off).all() and off.mean() <= rule.follows_ft:
            return True
    return False


def read(view: PossessionView, who: Who, moment: int, way: str, settings: ActionSettings) -> str:
    """Whether the cutter went to the side that the defender did not; when he trails, whether he left him behind."""
    rule = settings.screen_type
    _, cutter, guard, _ = who
    if way in (UNKNOWN, "switches"):
        return UNKNOWN
    if way == "trails":
        t = view.t_s[moment]
        before, after = (view.gap_ft[view.at(x), cutter, guard] for x in (t - rule.double_s, t + rule.double_s))
        return UNKNOWN if not np.isfinite(before + after) else ("right" if after >= before else "wrong")
    own, _ = _side(view, cutter, who, moment, rule)
    his, _ = _side(view, guard, who, moment, rule)
    return UNKNOWN if math.isnan(own * his) else ("right" if own * his < 0 else "wrong")


def line_off_deg(view: PossessionView, who: Who, moment: int, settings: ActionSettings) -> float:
    """How far the screen stands off the line that the defender has to take to his man, degrees; NaN where not known.

    From where the defender is a little before the screen: the angle between the way to the screener and the way to
    where the cutter comes out. 0: squarely in his way.
    """
    rule = settings.off_ball_screen
    screener, cutter, guard, _ = who
    if guard == NOBODY:
        return NAN
    t = view.t_s[moment]
    own = view.uv_ft[view.at(t - rule.before_s), guard]
    to_screen, to_man = view.uv_ft[moment, screener] - own, view.uv_ft[view.at(t + rule.after_s), cutter] - own
    lengths = float(np.linalg.norm(to_screen) * np.linalg.norm(to_man))
    if not np.isfinite(lengths) or lengths == 0:
        return NAN
    return float(np.degrees(np.arccos(np.clip(to_screen @ to_man / lengths, -1, 1))))
