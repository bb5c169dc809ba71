"""How much room there is, moment by moment: hulls, distances between teammates, sides, bodies in the paint."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.actions.view import NOBODY, PossessionView
from pipeline.spacing.paint import others_in_paint
from pipeline.spacing.settings import SpacingSettings
from pipeline.spacing.tables import SPACING

FIVE = 5
"""A hull or a centroid is that of a whole team; with one player missing it is unknown."""

_APART = 1e-7
"""Places are moved by at most 25 times this, feet, so that no three of a team lie on one line."""


@dataclass(frozen=True, slots=True, eq=False)
class SpacingMeasures:
    """Spacing of one possession, T moments and N players.

    Attributes
    ----------
    in_paint : ndarray (T, N) of bool
        A foot in the attacked paint; the handler never counts.
    hull_attack_ft2, hull_defence_ft2 : ndarray (T,)
        Area of the convex hull of the five; NaN where not all five are placed.
    centroid_attack_ft, centroid_defence_ft : ndarray (T,)
        Mean distance of the five to their centroid; NaN likewise.
    perimeter : ndarray (T, N) of bool
        Attackers at most ``perimeter_inside_arc_ft`` inside the three-point line.
    nearest_teammate_ft : ndarray (T, N)
        Of every perimeter player the distance to the nearest other attacker; NaN for everybody else.
    on_ball_side : ndarray (T, N) of bool
        Stands on the ball's side; who stands in the middle stands on neither.
    """

    in_paint: np.ndarray
    hull_attack_ft2: np.ndarray
    hull_defence_ft2: np.ndarray
    centroid_attack_ft: np.ndarray
    centroid_defence_ft: np.ndarray
    perimeter: np.ndarray
    nearest_teammate_ft: np.ndarray
    on_ball_side: np.ndarray

    def perimeter_gaps_ft(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean and least of the perimeter players' distances to their nearest teammate, (T,) each; NaN for nobody."""
        counted = np.isfinite(self.nearest_teammate_ft).sum(axis=1)
        total = np.nansum(self.nearest_teammate_ft, axis=1)
        mean = np.where(counted > 0, total / np.maximum(counted, 1), np.nan)
        return mean, np.fmin.reduce(self.nearest_teammate_ft, axis=1, initial=np.nan)


def measure_spacing(view: PossessionView, settings: SpacingSettings) -> SpacingMeasures:
    """Measure the spacing at every moment of a possession."""
    attack, defence = view.uv_ft[:, view.attackers], view.uv_ft[:, view.defenders]
    perimeter = perimeter_players(view, settings)
    side = view.ball_side
    v = view.uv_ft[..., 1]
    return SpacingMeasures(
        in_paint=others_in_paint(view, settings.foot_ft),
        hull_attack_ft2=_of_five(attack, hull_area_ft2),
        hull_defence_ft2=_of_five(defence, hull_area_ft2),
        centroid_attack_ft=_of_five(attack, centroid_distance_ft),
        centroid_defence_ft=_of_five(defence, centroid_distance_ft),
        perimeter=perimeter,
        nearest_teammate_ft=np.where(perimeter, nearest_teammate_ft(view), np.nan),
        on_ball_side=(np.sign(v) == side[:, None]) & (np.abs(v) >= settings.middle_within_ft) & (side != 0)[:, None],
    )


def hull_area_ft2(places_ft: np.ndarray) -> np.ndarray:
    """Area of the convex hull of N points at each of T moments.

    A pair of points is an edge of the hull when all others lie to its left; half the sum of the edges' cross
    products is the area (the shoelace formula).

    Parameters
    ----------
    places_ft : ndarray (T, N, 2)

    Returns
    -------
    ndarray (T,)
        NaN where a place is not known.
    """
    count = places_ft.shape[1]
    k = np.arange(count)
    points = places_ft + _APART * np.column_stack([k, k * k])  # points on a parabola: no three on one line
    area = np.zeros(len(points))
    for i in range(count):
        for j in range(count):
            if i == j:
                continue
            others = [n for n in range(count) if n not in (i, j)]
            way = points[:, j] - points[:, i]
            off = points[:, others] - points[:, i : i + 1]
            left = (way[:, None, 0] * off[..., 1] - way[:, None, 1] * off[..., 0] > 0).all(axis=1)
            cross = points[:, i, 0] * points[:, j, 1] - points[:, i, 1] * points[:, j, 0]
            area += np.where(left, cross / 2, 0.0)
    return np.where(np.isfinite(places_ft).all(axis=(1, 2)), np.abs(area), np.nan)


def centroid_distance_ft(places_ft: np.ndarray) -> np.ndarray:
    """Mean distance of N points (T, N, 2) to their centroid, (T,)."""
    return np.linalg.norm(places_ft - places_ft.mean(axis=1, keepdims=True), axis=2).mean(axis=1)


def perimeter_players(view: PossessionView, settings: SpacingSettings) -> np.ndarray:
    """Attackers at most ``perimeter_inside_arc_ft`` inside the three-point line, or out to ``perimeter_out_to_ft``.

    Shape (T, N).
    """
    outside = view.ring_ft >= view.book.arc_radius_ft - settings.perimeter_inside_arc_ft
    return outside & (view.uv_ft[..., 0] <= settings.perimeter_out_to_ft) & view.attackers


def nearest_teammate_ft(view: PossessionView) -> np.ndarray:
    """Distance of every attacker to the nearest other one that is placed, (T, N); NaN for defenders and loners."""
    nearest = np.full(view.uv_ft.shape[:2], np.nan)
    columns = np.flatnonzero(view.attackers)
    if len(columns) < 2:
        return nearest
    gap = view.gap_ft[:, columns][:, :, columns].copy()
    gap[:, np.arange(len(columns)), np.arange(len(columns))] = np.nan
    nearest[:, columns] = np.fmin.reduce(gap, axis=2)
    return nearest


def spacing_table(views: Sequence[PossessionView], settings: SpacingSettings) -> pa.Table:
    """Spacing measures of every moment of every possession, as the ``spacing`` table."""
    parts = [_rows(view, measure_spacing(view, settings)) for view in views]
    return pa.concat_tables(parts) if parts else SPACING.empty()


def _rows(view: PossessionView, m: SpacingMeasures) -> pa.Table:
    inside = m.in_paint
    known_side = view.ball_side != 0
    mean, least = m.perimeter_gaps_ft()
    return SPACING.from_columns(
        {
            "frame": view.frame,
            "t_s": view.t_s,
            "shot": np.full(len(view.t_s), view.shot),
            "handler": [None if h == NOBODY else int(view.tracks[h]) for h in view.handler],
            "attacked_end": [view.end] * len(view.t_s),
            "paint_attack": inside[:, view.attackers].sum(axis=1),
            "paint_defence": inside[:, view.defenders].sum(axis=1),
            "paint_unknown": inside[:, view.teams < 0].sum(axis=1),
            "possession": np.full(len(view.t_s), view.possession),
            "hull_attack_ft2": _or_null(m.hull_attack_ft2),
            "hull_defence_ft2": _or_null(m.hull_defence_ft2),
            "centroid_attack_ft": _or_null(m.centroid_attack_ft),
            "centroid_defence_ft": _or_null(m.centroid_defence_ft),
            "perimeter_gap_ft": _or_null(mean),
            "perimeter_least_gap_ft": _or_null(least),
            "ball_side": [{1: "right", -1: "left", 0: None}[s] for s in view.ball_side.tolist()],
            "ball_side_attack": _counts(m.on_ball_side[:, view.attackers].sum(axis=1), known_side),
            "ball_side_defence": _counts(m.on_ball_side[:, view.defenders].sum(axis=1), known_side),
        }
    )


def _of_five(places_ft: np.ndarray, measure: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """A measure of a team's places (T, N, 2) at the moments at which exactly five are placed; NaN elsewhere."""
    out = np.full(len(places_ft), np.nan)
    placed = np.isfinite(places_ft).all(axis=2)
    whole = placed.sum(axis=1) == FIVE
    if whole.any():
        out[whole] = measure(places_ft[whole][placed[whole]].reshape(-1, FIVE, 2))
    return out


def _or_null(values: np.ndarray) -> pa.Array:
    return pa.array(values, pa.float32(), mask=~np.isfinite(values))


def _counts(values: np.ndarray, known: np.ndarray) -> pa.Array:
    return pa.array(values.astype(np.int16), pa.int16(), mask=~known)
