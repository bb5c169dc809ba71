"""Render training pictures into packs until the time is over.

    python -m pipeline.training.rendering --spool DIR --minutes 6 --processes 28 --seed 4

Each process draws look after look; the moments of one look become one pack for each task in ``DIR/detector`` and
``DIR/areas``. Trainers may read them meanwhile.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from pathlib import Path

import cv2
import numpy as np

from pipeline.sim.render.labels import CLASS_NAMES, FrameLabels
from pipeline.sim.render.renderer import PictureQuality
from pipeline.sim.stills import LOOKS_PER_SEED, STILLS_PER_LOOK, kept_boxes, stills_of_look
from pipeline.training.packs import HIDDEN_BALL, SIZES, pack_of, padded, write_pack

LEAST_SEEN_OF_HIDDEN = 0.04
"""A ball with less of it visible than this is no ball at all to the detector; with more it is not counted a fault."""

ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


def labels_of(labels: FrameLabels) -> tuple[np.ndarray, np.ndarray]:
    """Padded boxes and classes of one still: what can be asked for, and a ball mostly hidden as such."""
    kept = kept_boxes(labels)
    rows = [(box.box_px, CLASS_NAMES.index(box.name)) for box in kept]
    rows += [
        (box.box_px, HIDDEN_BALL)
        for box in labels.boxes
        if box.name == "ball" and box not in kept and box.visible > LEAST_SEEN_OF_HIDDEN
    ]
    boxes = np.array([b for b, _ in rows], np.float32).reshape(-1, 4)
    return padded(boxes, np.array([c for _, c in rows], np.int8))


def render_look(spool: Path, look_seed: int, count: int, device_index: int | None) -> None:
    """Draw one look's moments and write its two packs."""
    pictures, boxes, masks = [], [], []
    for picture, labels, frame, _ in stills_of_look(
        look_seed, count, SIZES["detector"], PictureQuality(), device_index
    ):
        pictures.append(picture)
        masks.append(labels.areas)
        nothing = frame.view in ("crowd", "graphic")
        boxes.append(labels_of(FrameLabels((), labels.areas) if nothing else labels))
    name = f"{look_seed:07d}.npz"
    write_pack(pack_of(pictures, boxes, "detector"), spool / "detector" / name)
    write_pack(pack_of(pictures, boxes, "areas", masks), spool / "areas" / name)


def renderer(spool: Path, seed: int, number: int, processes: int, until: float, device_index: int | None) -> None:
    """One process: every `processes`-th look until the clock says so."""
    cv2.setNumThreads(1)
    turn = number
    while time.time() < until:
        began = time.time()
        render_look(spool, seed * LOOKS_PER_SEED + turn, STILLS_PER_LOOK, device_index)
        print(f"look {turn}: {(time.time() - began) / STILLS_PER_LOOK:.3f} s a picture", flush=True)  # noqa: T201
        turn += processes


def start_renderers(
    spool: Path, *, minutes: float, processes: int, seed: int, device_index: int | None
) -> list[subprocess.Popen]:
    """Start the processes; their logs lie in ``SPOOL/logs``."""
    for name in ("detector", "areas", "logs"):
        (spool / name).mkdir(parents=True, exist_ok=True)
    until = time.time() + 60 * minutes
    running = []
    for number in range(processes):
        command = [sys.executable, "-m", "pipeline.training.rendering", "--spool", str(spool), "--seed", str(seed)]
        command += ["--one", f"{number}/{processes}/{until}"]
        if device_index is not None:
            command += ["--device", str(device_index)]
        with (spool / "logs" / f"render_{number:02d}.log").open("w") as log:
            running.append(
                subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, env={**os.environ, **ONE_THREAD})
            )
    return running


def main(arguments: list[str] | None = None) -> int:
    """Read the command line and render."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.training.rendering", description=__doc__)
    parser.add_argument("--spool", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=6.0)
    parser.add_argument("--processes", type=int, default=max(1, (os.cpu_count() or 2) - 4))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--device", type=int, help="EGL device on a machine with several")
    parser.add_argument("--one", help=argparse.SUPPRESS)
    given = parser.parse_args(arguments)
    if given.one:
        number, processes, until = given.one.split("/")
        renderer(given.spool, given.seed, int(number), int(processes), float(until), given.device)
        return 0
    running = start_renderers(
        given.spool, minutes=given.minutes, processes=given.processes, seed=given.seed, device_index=given.device
    )
    return max(abs(process.wait()) for process in running)


if __name__ == "__main__":
    sys.exit(main())
