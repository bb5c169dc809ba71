"""Fit where a body stands in its box to rendered bodies.

    python -m pipeline.training.stance --looks 200 --seed 7310000 --out pipeline/players/stance.npz

Renders a few moments of each look, takes every body's box with a detector's error, and fits both parts of the stance by
ridge regression (Hoerl & Kennard 1970, *Technometrics* 12) on the silhouette. Prints how far the truth is off before
and after, on looks that were left out of the fit.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import cv2
import numpy as np

from pipeline.players.body_looks import silhouette_features, silhouettes_of, windows
from pipeline.sim.render.renderer import PictureQuality
from pipeline.sim.stills import kept_boxes, stills_of_look

STILLS = 5
"""Moments of each look."""

EDGE_ERRORS = (0.01, 0.02, 0.045)
"""Errors of the boxes' edges, shares of their height; one is drawn for each box (Student's t, 4 degrees of freedom)."""

RIDGE = 30.0
"""Weight of the penalty; features are shares."""

MOST_ACROSS = 0.2
"""Targets are held to this: what lies beyond is another body's box."""

AWAY_BOUNDS_FT = (-2.0, 3.0)
"""The same for the distance behind the lowest point."""


def samples(look_seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Silhouettes (N, 12, 16), across (N,) in box heights and away (N,) in feet of the bodies in one look's stills."""
    rng = np.random.default_rng(look_seed)
    size_px = (1280, 720) if rng.random() < 0.8 else (960, 540)
    body, across, away = [], [], []
    for drawn, labels, frame, _ in stills_of_look(look_seed, STILLS, size_px, PictureQuality()):
        if frame.view != "court":
            continue
        coded = cv2.imencode(".jpg", drawn, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(40, 95))])[1]
        picture = cv2.imdecode(coded, cv2.IMREAD_COLOR)
        assert picture is not None
        boxes, feet = [], []
        for box in kept_boxes(labels):
            if box.name not in ("player", "official"):
                continue
            x1, y1, x2, y2 = box.box_px
            wide, tall = x2 - x1, y2 - y1
            for _ in range(2):
                error = rng.standard_t(4, 4) * rng.choice(EDGE_ERRORS) * np.array([1.5 * wide, tall, 1.5 * wide, tall])
                moved = np.array(box.box_px) + error
                if moved[2] - moved[0] >= 0.3 * wide and moved[3] - moved[1] >= 0.5 * tall:
                    boxes.append(moved)
                    feet.append(box.feet_px)
        if not boxes:
            continue
        corners, feet_px = np.array(boxes), np.array(feet)
        middle = (corners[:, 0] + corners[:, 2]) / 2
        seen = frame.camera.to_floor(np.column_stack([middle, corners[:, 3]]))
        place = frame.camera.to_floor(feet_px)
        ray = place - frame.camera.centre_ft[:2]
        behind = np.sum((place - seen) * ray / np.linalg.norm(ray, axis=1, keepdims=True), axis=1)
        good = np.isfinite(behind)
        body.append(silhouettes_of(windows(picture, corners[good])))
        across.append(((feet_px[:, 0] - middle) / (corners[:, 3] - corners[:, 1]))[good])
        away.append(behind[good])
    if not body:
        return np.zeros((0, 12, 16)), np.zeros(0), np.zeros(0)
    return np.concatenate(body), np.concatenate(across), np.concatenate(away)


def _ridge(features: np.ndarray, target: np.ndarray) -> np.ndarray:
    return np.linalg.solve(features.T @ features + RIDGE * np.eye(features.shape[1]), features.T @ target)


def fit(body: np.ndarray, across: np.ndarray, away: np.ndarray) -> dict[str, np.ndarray]:
    """Weights of both parts of the stance from silhouettes (N, 12, 16) and targets (N,)."""
    seen, turned = silhouette_features(body), silhouette_features(body[:, :, ::-1])
    away = np.clip(away, *AWAY_BOUNDS_FT)
    even = 0.5 * (seen + turned)
    typical = np.median(away)
    weights = _ridge(np.column_stack([even, np.ones(len(even))]), away - typical)
    return {
        "across": _ridge(0.5 * (seen - turned), np.clip(across, -MOST_ACROSS, MOST_ACROSS)).astype(np.float32),
        "away": weights[:-1].astype(np.float32),
        "away_ft": np.array(typical + weights[-1]),
    }


def errors(weights: dict[str, np.ndarray], body: np.ndarray, across: np.ndarray, away: np.ndarray) -> str:
    """One line: mean absolute errors of both parts without and with the silhouette."""
    seen, turned = silhouette_features(body), silhouette_features(body[:, :, ::-1])
    found_across = 0.5 * (seen - turned) @ weights["across"]
    found_away = float(weights["away_ft"]) + 0.5 * (seen + turned) @ weights["away"]
    return (
        f"{len(body)} bodies: "
        f"across {np.abs(across).mean():.4f} -> {np.abs(across - found_across).mean():.4f} heights, "
        f"away {np.abs(away - np.median(away)).mean():.3f} -> {np.abs(away - found_away).mean():.3f} ft"
    )


def main(arguments: list[str] | None = None) -> None:
    """Command line of `python -m pipeline.training.stance`."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.training.stance", description="Fit stances.")
    parser.add_argument("--looks", type=int, default=200, help="looks rendered; every fifth is left out of the check")
    parser.add_argument("--seed", type=int, default=7_310_000, help="seed of the first look")
    parser.add_argument("--out", type=Path, required=True, help="file to write")
    given = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    looks = [samples(given.seed + number) for number in range(given.looks)]
    fitted = fit(*(np.concatenate(part) for part in zip(*(s for k, s in enumerate(looks) if k % 5), strict=True)))
    print(errors(fitted, *(np.concatenate(part) for part in zip(*looks[::5], strict=True))))  # noqa: T201
    whole = fit(*(np.concatenate(part) for part in zip(*looks, strict=True)))
    np.savez(given.out, across=whole["across"], away=whole["away"], away_ft=whole["away_ft"])


if __name__ == "__main__":
    main()
