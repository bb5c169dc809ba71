"""Measures kept of every possession: its passes and touches, how soon it began, and its mean spacing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from pipeline.actions.events import Event
from pipeline.actions.view import PossessionView
from pipeline.spacing.measures import measure_spacing
from pipeline.spacing.settings import SpacingSettings
from pipeline.spacing.tables import POSSESSION_MEASURES

FIRST_ACTIONS = frozenset(
    {
        "handoff",
        "drive",
        "post_up",
        "on_ball_screen",
        "off_ball_screen",
        "zipper_cut",
        "loop_cut",
        "back_cut",
        "flash_cut",
        "basket_cut",
        "ucla_cut",
        "iverson_cut",
    }
)
"""What begins an attack: something that makes the defence move its feet. Passes, holds and shallow runs do not."""

TEN = 10


def possession_measures_table(
    views: Sequence[PossessionView], actions: Sequence[Event], settings: SpacingSettings
) -> pa.Table:
    """One row per possession view, in their order; the ``possession_measures`` table."""
    rows = []
    for view in views:
        here = [e for e in actions if e.possession == view.possession and e.shot == view.shot]
        rows.append(_row(view, here, settings))
    return POSSESSION_MEASURES.from_rows(rows)


def _row(view: PossessionView, actions: Sequence[Event], settings: SpacingSettings) -> dict[str, object]:
    m = measure_spacing(view, settings)
    settled = view.half_court_s
    start_s, end_s = view.start_s, view.end_s
    begins_s = settled if np.isfinite(settled) else start_s
    phase = (view.t_s >= begins_s) & (view.t_s <= end_s)
    attack, defence = view.attackers, view.defenders
    placed = np.isfinite(view.uv_ft[:, attack | defence]).all(axis=2).sum(axis=1) >= TEN
    touches = [e for e in actions if e.kind == "touch"]
    passes = [e for e in actions if e.kind == "pass"]
    held = [e.measures["held_s"] for e in touches if np.isfinite(e.measures["held_s"])]
    began = [e for e in actions if e.kind in FIRST_ACTIONS and e.t_s >= begins_s]
    first = min(began, key=lambda e: e.t_s, default=None)
    gap_means, gap_least = m.perimeter_gaps_ft()
    known_side = view.ball_side != 0

    def over(values: np.ndarray, known: np.ndarray | None = None) -> float | None:
        fits = phase & np.isfinite(values) if known is None else phase & known
        return float(values[fits].mean()) if fits.any() else None

    return {
        "possession": view.possession,
        "shot": view.shot,
        "team": view.team,
        "attacked_end": view.end,
        "start_s": start_s,
        "end_s": end_s,
        "settled_s": settled if np.isfinite(settled) else None,
        "placed_share": float(placed.mean()),
        "touches": len(touches),
        "passes": len(passes),
        "handoffs": sum(e.kind == "handoff" for e in actions),
        "reversals": sum(e.traits.get("type") == "reversal" for e in passes),
        "seconds_per_touch_s": float(np.mean(held)) if held else None,
        "first_action": first.kind if first else None,
        "first_action_s": first.t_s - settled if first and np.isfinite(settled) else None,
        "hull_attack_ft2": over(m.hull_attack_ft2),
        "hull_defence_ft2": over(m.hull_defence_ft2),
        "centroid_attack_ft": over(m.centroid_attack_ft),
        "centroid_defence_ft": over(m.centroid_defence_ft),
        "perimeter_gap_ft": over(gap_means),
        "perimeter_least_gap_ft": over(gap_least),
        "paint_attack": over(m.in_paint[:, attack].sum(axis=1).astype(float)),
        "paint_defence": over(m.in_paint[:, defence].sum(axis=1).astype(float)),
        "paint_most": int(m.in_paint[phase].sum(axis=1).max(initial=0)),
        "ball_side_attack": over(m.on_ball_side[:, attack].sum(axis=1).astype(float), known_side),
        "ball_side_defence": over(m.on_ball_side[:, defence].sum(axis=1).astype(float), known_side),
    }
