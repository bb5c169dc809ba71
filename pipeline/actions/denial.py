"""Denial: a defender keeps a possible receiver from the ball."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr

from pipeline.actions.events import Event
from pipeline.actions.evidence import event_of, place_of
from pipeline.actions.on_ball_grades import pair_sigma_ft
from pipeline.actions.settings import ActionSettings, DenialSettings
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import NOBODY, PossessionView


class Denials:
    """Finds spells in which a defender stands near a possible receiver and near the line of the pass to him.

    A possible receiver is a teammate of the handler in the front court, not deep in the paint (a block is not deep, so
    a fronted post is denied) and within a pass of the ball. His defender must stand between the two, along the line,
    not behind the receiver: who trails him denies nothing. A step too far (``slack_ft``) between two spells does not
    part them, and it is told from the first to the last moment at which he is as much inside the limits (less where
    places are unsure): that is what an eye takes for its beginning and end. Where the ball was hardly seen meanwhile,
    though elsewhere it was, it is not known who had it, and no denial is claimed. The score is the certainty of the
    three places.
    """

    kinds = ("denial",)
    needs: tuple[str, ...] = ("tracks", "touches", "possessions")

    def find(self, view: PossessionView, earlier: Sequence[Event], settings: ActionSettings) -> list[Event]:
        """Denials of one possession."""
        del earlier
        rule = settings.denial
        found = []
        watched = bool(view.ball_seen.any())
        for column in np.flatnonzero(view.attackers):
            chance, nearly, gap, line = denied_moments(view, int(column), rule)
            strict = list(stretches(bridged(chance >= rule.least_chance, view.t_s, rule.pause_s)))
            strict = [(a, b) for a, b in strict if _sure_s(view, chance[a:b], rule) >= rule.for_s - 1e-6]
            for start, stop in stretches(bridged(nearly, view.t_s, rule.pause_s)):
                inside = [(a, b) for a, b in strict if start <= a and b <= stop]
                if not inside:
                    continue
                first, last = inside[0][0], inside[-1][1]
                if watched and float(view.ball_seen[first:last].mean()) < rule.ball_seen:
                    continue
                guard = _most(view.guard[first:last, column])
                room_ft = max(rule.slack_ft - pair_sigma_ft(view, first, int(column), guard), 0.0)
                clear = (gap <= rule.within_ft - room_ft) & (line <= rule.line_within_ft - room_ft)
                first, last = _clearly(first, last, clear & (chance >= rule.least_chance))
                start_s, end_s = float(view.t_s[first]), float(view.t_s[last - 1])
                handler = _most(view.handler[first:last])
                uv = view.uv_ft[first, column]
                found.append(
                    event_of(
                        view, self.kinds[0], (start_s, start_s, end_s),
                        [("receiver", int(column)), ("receiver_defender", guard), ("handler", handler)], uv,
                        measures={
                            "lasted_s": end_s - start_s,
                            "gap_ft": float(np.nanmean(gap[first:last])),
                            "line_gap_ft": float(np.nanmean(line[first:last])),
                        },
                        traits={"place": place_of(view, uv)},
                        tolerance_ft=rule.tolerance_ft,
                    )
                )  # fmt: skip
        return found


def denied_moments(
    view: PossessionView, column: int, rule: DenialSettings
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Chance that a player is denied, and whether nearly so; his defender's distance from him and the pass; (T,) each.

    The chance is 0 or 1 where the places are sure; else that of each limit being kept by a place that is off by a
    normal error of its sigma. Nearly is a little too far off, wherever the receiver is: a spell does not end with it.
    """
    moments = np.arange(len(view.t_s))
    guard, handler = view.guard[:, column], view.handler
    known = (guard != NOBODY) & (handler != NOBODY) & (handler != column)
    man = view.uv_ft[:, column]
    defender = view.uv_ft[moments, np.maximum(guard, 0)]
    ball = view.uv_ft[moments, np.maximum(handler, 0)]
    way = ball - man
    length = np.hypot(way[:, 0], way[:, 1])
    rel = defender - man
    with np.errstate(invalid="ignore", divide="ignore"):
        along = (rel * way).sum(axis=1) / length
        to_line = rel - way * (np.clip(along, 0.0, length) / length)[:, None]
        line = np.hypot(to_line[:, 0], to_line[:, 1])
        gap = np.hypot(rel[:, 0], rel[:, 1])
        deep_v_ft = view.book.lane_width_ft / 2 - rule.block_ft
        in_paint = (np.abs(man[:, 1]) <= deep_v_ft) & (man[:, 0] <= view.free_throw_u_ft)
        possible = (
            known
            & (view.t_s >= (view.start_s if np.isnan(view.half_court_s) else view.half_court_s) - 1e-6)
            & (view.t_s <= view.end_s + 1e-6)
            & ~in_paint
            & (man[:, 0] <= rule.front_u_ft)
        )
        spread = np.hypot(*(_sigma_ft(view, moments, c) for c in (np.full(len(guard), column), guard)))
        kept = (rule.within_ft - gap, rule.line_within_ft - line, along - rule.ahead_ft)
        reach = (length - rule.pass_from_ft, rule.pass_to_ft - length)
        chance = np.where(possible, np.prod([_chance(room, spread) for room in (*kept, *reach)], axis=0), 0.0)
        slack = rule.slack_ft + rule.slack_sigmas * spread
        nearly = known & (gap <= rule.within_ft + slack) & (line <= rule.line_within_ft + slack)
    return chance, (chance >= rule.least_chance) | nearly, gap, line


def _clearly(first: int, last: int, clear: np.ndarray) -> tuple[int, int]:
    """The part of a spell from its first to past its last clear moment; all of it where none is clear."""
    moments = first + np.flatnonzero(clear[first:last])
    return (int(moments[0]), int(moments[-1]) + 1) if len(moments) else (first, last)


def _sigma_ft(view: PossessionView, moments: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """Uncertainty of a player's place at each moment, (T,); 0 where none is given."""
    return np.nan_to_num(view.sigma_ft[moments, np.maximum(columns, 0)])


def _chance(room_ft: np.ndarray, sigma_ft: np.ndarray) -> np.ndarray:
    """Chance that a limit is kept that is so far away, (T,)."""
    sure = np.where(room_ft >= -1e-9, np.inf, -np.inf)
    return np.where(
        np.isfinite(room_ft), ndtr(np.where(sigma_ft > 0, room_ft / np.where(sigma_ft > 0, sigma_ft, 1.0), sure)), 0.0
    )


def _sure_s(view: PossessionView, chance: np.ndarray, rule: DenialSettings) -> float:
    """Expected time of a denial; holes up to ``pause_s`` count, as much as the rest of it."""
    counted = chance[chance >= rule.least_chance]
    return float(counted.mean()) * (len(chance) - 1) * view.step_s


def _most(columns: np.ndarray) -> int:
    """The column that appears most; ``NOBODY`` only where nothing else does."""
    named = columns[columns != NOBODY]
    return int(np.bincount(named).argmax()) if len(named) else NOBODY
