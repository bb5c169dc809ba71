"""Full-screen graphics that cover the court: invented statistics boards and title cards."""

from __future__ import annotations

import cv2
import numpy as np

from pipeline.sim.looks import LETTERS, Look
from pipeline.sim.render.floor import emblem_mask, word_mask


def full_graphic(look: Look, size_px: tuple[int, int], number: int) -> np.ndarray:
    """An invented title card or table in the look's colours, (H, W, 3) uint8 BGR; another `number`, another card."""
    rng = np.random.default_rng([look.seed, 61, number])
    width, height = size_px
    first = np.array(look.arena.accent[::-1]) * 255
    second = np.array(look.arena.accent_2[::-1]) * 255
    ramp = np.linspace(0, 1, width)[None, :, None] * 0.6 + np.linspace(0, 0.4, height)[:, None, None]
    picture = (first * (1 - ramp) * 0.8 + second * ramp * 0.8).astype(np.uint8)
    for _ in range(int(rng.integers(1, 5))):
        x = int(rng.integers(-height, width))
        tone = (first if rng.random() < 0.5 else second) * rng.uniform(0.5, 1.2)
        cv2.fillPoly(
            picture,
            [np.array([[x, height], [x + height // 2, 0], [x + height // 2 + 60, 0], [x + 60, height]])],
            np.clip(tone, 0, 255).tolist(),
        )
    if rng.random() < 0.5:
        rows = int(rng.integers(4, 9))
        top, step = height * 0.22, height * 0.66 / rows
        cv2.rectangle(
            picture, (int(width * 0.2), int(top)), (int(width * 0.8), int(top + rows * step)), (25, 25, 30), -1
        )
        for row in range(rows):
            y = int(top + (row + 0.7) * step)
            words = "".join(LETTERS[int(rng.integers(len(LETTERS)))] for _ in range(7))
            for text, share in ((words, 0.24), (str(int(rng.integers(99))), 0.55), (str(int(rng.integers(99))), 0.7)):
                cv2.putText(
                    picture,
                    text,
                    (int(width * share), y),
                    cv2.FONT_HERSHEY_DUPLEX,
                    step / 45,
                    (235, 235, 235),
                    1,
                    cv2.LINE_AA,
                )
    else:
        for mask, cy in ((emblem_mask(rng, int(height * 0.4)), 0.42), (word_mask(rng, int(height * 0.12)), 0.8)):
            x, y = (width - mask.shape[1]) // 2, int(height * cy - mask.shape[0] / 2)
            if x < 0 or y < 0:
                continue
            region = picture[y : y + mask.shape[0], x : x + mask.shape[1]]
            region[mask[: region.shape[0]] > 128] = 240
    return picture
