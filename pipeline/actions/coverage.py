"""How the defence covers an on-ball screen.

Told in this order: a trap (both defenders on the handler), a switch (they change men), iced (at a side screen the
handler's defender stands on the screener's side and the handler does not come off it), and else on which side of the
screen the handler's defender passed: with the handler (over) or behind the screener (under). A defender who never gets
past the screen, or whose way was not seen, leaves it unknown. All common practice, no source, but the trap's distance
and time, which are the glossary's.
"""

from __future__ import annotations

import math

import numpy as np

from pipeline.actions.screen_settings import CoverageSettings
from pipeline.actions.screen_use import goes_at
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stretches import stretches
from pipeline.actions.view import PossessionView
from pipeline.actions.vocabulary import UNKNOWN


def coverage(
    view: PossessionView, who: tuple[int, int, int, int], moment: int, went: str, settings: ActionSettings
) -> str:
    """The coverage of one screen.

    Parameters
    ----------
    view : PossessionView
    who : tuple of int
        Columns of handler, screener, on-ball defender and screener's defender; -1 where not known.
    moment : int
        The closest approach.
    went : str
        Which way the handler went (trait ``sent``).
    settings : ActionSettings
    """
    rule = settings.coverage
    handler, screener, guard, big = who
    if guard < 0:
        return UNKNOWN
    if big >= 0 and _trapped(view, handler, (guard, big), moment, rule):
        return "trap"
    if big >= 0 and changed_men(view, who, moment, rule):
        return "switch"
    side_screen = abs(view.uv_ft[moment, screener, 1]) > settings.on_ball_screen.side_v_ft
    goes = goes_at(view, handler, moment, settings.on_ball_screen)
    then = moment if goes is None else max(moment, goes)
    if side_screen and went in ("rejected", "sideline") and _on_screen_side(view, who, then, rule):
        return "iced"
    return _route(view, handler, screener, guard, moment, rule)


def _trapped(view: PossessionView, handler: int, pair: tuple[int, int], moment: int, rule: CoverageSettings) -> bool:
    t = view.t_s[moment]
    after = view.span(t + rule.trap_after_s, t + rule.trap_within_s)
    held = view.handler[after] == handler
    gains = -np.einsum("td,td->t", view.velocity_ft_s[after, handler], _unit(view.uv_ft[after, handler]))
    near = (
        (view.gap_ft[after, handler][:, list(pair)] <= rule.trap_ft).all(axis=1) & held & (gains <= rule.trap_gain_ft_s)
    )
    return any((b - a) * view.step_s >= rule.trap_s for a, b in stretches(near))


def changed_men(view: PossessionView, who: tuple[int, int, int, int], moment: int, rule: CoverageSettings) -> bool:
    """Whether two defenders change men: first attacker, second attacker, first's defender, second's defender."""
    handler, screener, guard, big = who
    t = view.t_s[moment]
    if view.t_s[-1] < t + rule.switch_from_s:
        return False
    after = view.span(t + rule.switch_from_s, t + rule.switch_to_s)
    gap = view.gap_ft[after]
    on_handler = gap[:, handler, guard] - gap[:, handler, big]
    on_screener = gap[:, screener, big] - gap[:, screener, guard]
    known = np.isfinite(on_handler) & np.isfinite(on_screener)
    if not known.any():
        return False
    first, second = float(np.median(on_handler[known])), float(np.median(on_screener[known]))
    return first > 0 and second > 0 and first + second >= rule.switch_nearer_ft


def _on_screen_side(view: PossessionView, who: tuple[int, int, int, int], moment: int, rule: CoverageSettings) -> bool:
    """Before the screen: seen from the handler, the defender stands rather towards the screener than the ring."""
    handler, screener, guard, _ = who
    t = view.t_s[moment]
    before = view.span(t - rule.before_s / 2, t)
    own = view.uv_ft[before, handler]
    to_guard, to_screener = view.uv_ft[before, guard] - own, view.uv_ft[before, screener] - own
    off_screen, off_ring = _off_deg(to_guard, to_screener), _off_deg(to_guard, -own)
    known = np.isfinite(off_screen) & np.isfinite(off_ring)
    if not known.any():
        return False
    beside = (off_screen < rule.ice_deg) & (off_ring > off_screen)
    return bool(beside[known].mean() > 0.5)


def _unit(a: np.ndarray) -> np.ndarray:
    length = np.linalg.norm(a, axis=1, keepdims=True)
    return a / np.where(length > 0, length, np.nan)


def _off_deg(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.degrees(np.arccos(np.clip((_unit(a) * _unit(b)).sum(axis=1), -1, 1)))


def _route(view: PossessionView, handler: int, screener: int, guard: int, moment: int, rule: CoverageSettings) -> str:
    """Over or under: the side of the screen on which the defender passed it, compared with the handler's."""
    t = view.t_s[moment]
    span = view.span(t - rule.over_within_s / 2, t + rule.over_within_s)
    screen = view.uv_ft[moment, screener]
    own, his = view.uv_ft[span, handler] - screen, view.uv_ft[span, guard] - screen
    known = np.isfinite(own).all(axis=1)
    if known.sum() < 2:
        return UNKNOWN
    way = own[known][-1] - own[known][0]
    length = float(np.linalg.norm(way))
    if length == 0:
        return UNKNOWN
    way = way / length
    sides = [_passes(path, way) for path in (own, his)]
    if any(math.isnan(s) for s in sides):
        return UNKNOWN
    return "over" if sides[0] * sides[1] > 0 else "under"


def _passes(path: np.ndarray, way: np.ndarray) -> float:
    """How far to the left of the screen (the origin) a path goes by as it passes along ``way``; NaN if it does not."""
    along, across = path @ way, path @ np.array([-way[1], way[0]])
    crossing = np.flatnonzero((along[:-1] < 0) & (along[1:] >= 0))
    return float(across[crossing[-1] + 1]) if len(crossing) else float("nan")
