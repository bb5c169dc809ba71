"""How well holders' touches and possessions were told: found tables against the truth of the same film."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

Row = Mapping[str, Any]
GIVEN = ("pass", "handoff")


def counted(right: int, found: int, true: int) -> dict[str, float | int | None]:
    """Precision, recall and F1 with their counts; null where there is nothing to divide by."""
    precision = right / found if found else None
    recall = right / true if true else None
    both = 2 * right / (found + true) if found + true else None
    return {"precision": precision, "recall": recall, "f1": both, "right": right, "found": found, "truth": true}


def matched(found: Sequence[Row], true: Sequence[Row], fits: Callable[[Row, Row], bool]) -> list[tuple[int, int]]:
    """Pairs of rows that fit, one to one, as many as can be."""
    gain = np.array([[float(fits(f, t)) for t in true] for f in found]).reshape(len(found), len(true))
    rows, columns = linear_sum_assignment(-gain)
    return [(int(r), int(c)) for r, c in zip(rows, columns, strict=True) if gain[r, c] > 0]


def touch_scores(
    found: Sequence[Row], true: Sequence[Row], actor_of: Mapping[int, int], reach_s: float
) -> dict[str, dict[str, float | int | None]]:
    """Passes, handoffs, shots and rebounds.

    Parameters
    ----------
    found, true : sequence of mapping
        Rows of ``touches``; the true ones in live view only.
    actor_of : mapping of int to int
        True actor of each found track.
    reach_s : float
        A touch is right when it starts or ends within this time of the true one's start or end and its players are the
        true ones.

    Returns
    -------
    dict
        ``passes`` counts passes and handoffs together, since a short pass is told from a handoff by a foot or a tenth
        of a second; an official's throw is no pass. ``handoffs`` counts those found as handoffs against those that
        were; ``dribble`` is in seconds.
    """

    def players(row: Row) -> tuple[int | None, int | None]:
        return actor_of.get(row["track"]), actor_of.get(row["to_track"])

    def fits(f: Row, t: Row) -> bool:
        away = min(abs(f["start_s"] - t["start_s"]), abs(f["end_s"] - t["end_s"]))
        return players(f) == (t["track"], t["to_track"]) and away <= reach_s

    result = {}
    for name, kinds in (
        ("passes", GIVEN),
        ("handoffs", ("handoff",)),
        ("shots", ("shot",)),
        ("rebounds", ("rebound",)),
    ):
        mine, theirs = ([r for r in rows if r["kind"] in kinds and r["team"] >= 0] for rows in (found, true))
        result[name] = counted(len(matched(mine, theirs, fits)), len(mine), len(theirs))
    return result | {"dribble": _shared_time(found, true, actor_of, "dribble")}


def _shared_time(
    found: Sequence[Row], true: Sequence[Row], actor_of: Mapping[int, int], kind: str
) -> dict[str, float | int | None]:
    """Precision and recall of the time of one kind of touch, by the same player, in seconds."""
    mine, theirs = ([r for r in rows if r["kind"] == kind] for rows in (found, true))
    shared = sum(
        max(min(f["end_s"], t["end_s"]) - max(f["start_s"], t["start_s"]), 0.0)
        for f in mine
        for t in theirs
        if actor_of.get(f["track"]) == t["track"]
    )
    lasts = [sum(r["end_s"] - r["start_s"] for r in rows) for rows in (mine, theirs)]
    return {
        "precision": shared / lasts[0] if lasts[0] else None,
        "recall": shared / lasts[1] if lasts[1] else None,
        "found_s": lasts[0],
        "truth_s": lasts[1],
    }


def possession_scores(found: Sequence[Row], true: Sequence[Row], least_overlap: float) -> dict[str, Any]:
    """Possessions, right when they attack the true ring and share enough of their time; and their half-court phase.

    Parameters
    ----------
    found, true : sequence of mapping
        Rows of ``possessions``; the true ones in live view only.
    least_overlap : float
        Least share of shared time in the whole of both.
    """

    def fits(f: Row, t: Row) -> bool:
        shared = min(f["end_s"], t["end_s"]) - max(f["start_s"], t["start_s"])
        whole = max(f["end_s"], t["end_s"]) - min(f["start_s"], t["start_s"])
        return f["attacked_end"] == t["attacked_end"] and whole > 0 and shared / whole >= least_overlap

    pairs = matched(found, true, fits)
    both = [(found[i]["half_court_s"], true[j]["half_court_s"]) for i, j in pairs]
    off = [abs(f - t) for f, t in both if f is not None and t is not None]
    return {
        "possessions": counted(len(pairs), len(found), len(true)),
        "half_court": {"median_off_s": float(np.median(off)) if off else None, "count": len(off)},
    }
