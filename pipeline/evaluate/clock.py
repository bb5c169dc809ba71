"""How right the game's clock was read, against the truth of a simulated film."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa


def clock_scores(true_clock: pa.Table, found_clock: pa.Table, nearest: np.ndarray, reach_s: float) -> dict[str, Any]:
    """Clock, period and shot clock on analysed frames whose picture shows the score graphic.

    Parameters
    ----------
    true_clock : pa.Table
        :data:`~pipeline.film.tables.CLOCK` of every true frame; ``hidden`` where the graphic is not shown whole.
    found_clock : pa.Table
        The same of the analysed frames.
    nearest : ndarray of shape (N,), int
        True frame of each analysed frame, -1 for none.
    reach_s : float
        A clock is right when it is no farther off than this, seconds.

    Returns
    -------
    dict
        ``right`` (share of the shown frames; an unknown clock is wrong), ``shown_frames``, ``off_s`` (median of those
        known), ``period_right``, ``running_right``, ``shot_clock_right`` (of frames on which one is on),
        ``hidden_frames`` and ``hidden_told`` (the share of them that the found table calls ``read``). Null where there
        is nothing to divide by.
    """
    kept = nearest >= 0
    true = true_clock.take(pa.array(nearest[kept]))
    found = found_clock.filter(pa.array(kept))
    shown = np.array(true["status"].to_pylist(), dtype=object) == "read"
    clock, seen_clock = _numbers(true, "game_clock_s"), _numbers(found, "game_clock_s")
    shot, seen_shot = _numbers(true, "shot_clock_s"), _numbers(found, "shot_clock_s")
    with np.errstate(invalid="ignore"):
        off = np.abs(clock - seen_clock)
        right = off <= reach_s + 1e-6
        shot_right = np.abs(shot - seen_shot) <= reach_s + 1e-6
    period = _numbers(true, "period") == _numbers(found, "period")
    running = _numbers(true, "running") == _numbers(found, "running")
    told = np.array(found["status"].to_pylist(), dtype=object) == "read"
    known = shown & np.isfinite(off)
    return {
        "right": _share(right, shown),
        "shown_frames": int(shown.sum()),
        "off_s": float(np.median(off[known])) if known.any() else None,
        "period_right": _share(period, shown),
        "running_right": _share(running, shown),
        "shot_clock_right": _share(shot_right, shown & np.isfinite(shot)),
        "hidden_frames": int((~shown).sum()),
        "hidden_told": _share(told, ~shown),
    }


def _numbers(table: pa.Table, column: str) -> np.ndarray:
    return np.array([np.nan if v is None else float(v) for v in table[column].to_pylist()], dtype=np.float64)


def _share(right: np.ndarray, among: np.ndarray) -> float | None:
    return float(right[among].mean()) if among.any() else None
