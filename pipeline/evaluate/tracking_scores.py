"""Tracking scores by TrackEval: HOTA, identity and CLEAR over any similarity.

The scoring itself is TrackEval's (Luiten et al. 2021, *HOTA: A Higher Order Metric for Evaluating
Multi-object Tracking*, IJCV 129; Ristani et al. 2016 for IDF1; Bernardin & Stiefelhagen 2008 for
CLEAR). Here only its input is built and its output is named.
"""

from __future__ import annotations

import contextlib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.errors import MissingExtraError, ShapeError


@dataclass(frozen=True, slots=True, eq=False)
class SequenceMatch:
    """One sequence ready to be scored.

    Attributes
    ----------
    truth_ids, found_ids : tuple of ndarray of shape (n_t,), int
        Identities in each frame, any integers, each at most once in a frame.
    similarities : tuple of ndarray of shape (truth n_t, found n_t)
        0..1 between each true and each found body of the frame.
    """

    truth_ids: tuple[np.ndarray, ...]
    found_ids: tuple[np.ndarray, ...]
    similarities: tuple[np.ndarray, ...]

    def __post_init__(self) -> None:
        for truth, found, similarity in zip(self.truth_ids, self.found_ids, self.similarities, strict=True):
            if similarity.shape != (len(truth), len(found)):
                raise ShapeError(
                    f"similarity is {similarity.shape} for {len(truth)} true and {len(found)} found bodies; "
                    "rows are truth, columns are found."
                )
            if len(np.unique(truth)) != len(truth) or len(np.unique(found)) != len(found):
                raise ShapeError("An identity occurs twice in one frame; give every body of a frame its own.")


def iou(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Intersection over union of every pair of boxes: (N, 4) and (M, 4) corners to (N, M)."""
    low = np.maximum(first[:, None, :2], second[None, :, :2])
    high = np.minimum(first[:, None, 2:], second[None, :, 2:])
    inner = np.prod(np.clip(high - low, 0, None), axis=2)
    areas = [np.prod(np.clip(b[:, 2:] - b[:, :2], 0, None), axis=1) for b in (first, second)]
    union = areas[0][:, None] + areas[1][None, :] - inner
    return np.divide(inner, union, out=np.zeros_like(inner), where=union > 0)


def floor_similarity(first_ft: np.ndarray, second_ft: np.ndarray, reach_ft: float = 6.0) -> np.ndarray:
    """Similarity of floor positions: ``max(0, 1 - distance / reach_ft)``, (N, 2) and (M, 2) to (N, M).

    With the default reach two bodies 3 ft apart (about one stride, and more than the width of a body) have
    similarity 0.5, the threshold that IDF1 and the switches use; HOTA averages over thresholds 0.05 (5.7 ft)
    to 0.95 (0.3 ft).
    """
    distance = np.linalg.norm(first_ft[:, None, :] - second_ft[None, :, :], axis=2)
    return np.clip(1.0 - distance / reach_ft, 0.0, 1.0)


def _data(match: SequenceMatch) -> dict[str, Any]:
    """The dictionary that TrackEval's metrics read: identities renumbered from 0."""
    empty = np.zeros(0, dtype=np.int64)
    truth_names = np.unique(np.concatenate([empty, *match.truth_ids]))
    found_names = np.unique(np.concatenate([empty, *match.found_ids]))
    return {
        "gt_ids": [np.searchsorted(truth_names, ids) for ids in match.truth_ids],
        "tracker_ids": [np.searchsorted(found_names, ids) for ids in match.found_ids],
        "similarity_scores": [np.asarray(s, dtype=np.float64) for s in match.similarities],
        "num_gt_dets": int(sum(len(i) for i in match.truth_ids)),
        "num_tracker_dets": int(sum(len(i) for i in match.found_ids)),
        "num_gt_ids": len(truth_names),
        "num_tracker_ids": len(found_names),
        "num_timesteps": len(match.truth_ids),
    }


def score_sequences(sequences: Mapping[str, SequenceMatch] | Sequence[SequenceMatch]) -> dict[str, float | int]:
    """Scores over all sequences together, combined as TrackEval combines sequences.

    Returns
    -------
    dict
        ``HOTA``, ``AssA``, ``DetA`` (means over the nineteen thresholds), ``LocA``, ``IDF1``, ``switches``,
        ``truth`` and ``found`` (bodies over all frames). NaN scores when there is neither truth nor find.
    """
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            from trackeval.metrics import CLEAR, HOTA, Identity
    except ImportError as error:
        raise MissingExtraError(
            "Tracking scores need the package 'trackeval': install elbowroom with the extra [test]."
        ) from error
    named = dict(sequences) if isinstance(sequences, Mapping) else {str(i): s for i, s in enumerate(sequences)}
    data = {name: _data(match) for name, match in named.items()}
    truth = sum(d["num_gt_dets"] for d in data.values())
    found = sum(d["num_tracker_dets"] for d in data.values())
    if not truth and not found:
        nothing = float("nan")
        return dict.fromkeys(("HOTA", "AssA", "DetA", "LocA", "IDF1"), nothing) | {
            "switches": 0,
            "truth": 0,
            "found": 0,
        }
    hota, clear, identity = HOTA(), CLEAR({"PRINT_CONFIG": False}), Identity({"PRINT_CONFIG": False})
    results = {
        metric: metric.combine_sequences({name: metric.eval_sequence(d) for name, d in data.items()})
        for metric in (hota, clear, identity)
    }
    return {
        **{key: float(np.mean(results[hota][key])) for key in ("HOTA", "AssA", "DetA", "LocA")},
        "IDF1": float(results[identity]["IDF1"]),
        "switches": int(results[clear]["IDSW"]),
        "truth": int(truth),
        "found": int(found),
    }
