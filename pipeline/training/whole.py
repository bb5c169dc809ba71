"""Render the training set and train both networks meanwhile, and leave the weights in one folder.

    python -m pipeline.training.whole --real DIR --spool DIR --out DIR --minutes 8

Renderers fill ``SPOOL`` with packs on all but a few processors; the detector trains on one GPU and the court network
on another (or both on the only one). With two GPUs all renderers draw on the one that the court network has, which
needs it less. Packs that lie in ``SPOOL`` from an earlier run are used too. What happens goes to ``OUT/progress.log``.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from pathlib import Path

from pipeline.training.rendering import ONE_THREAD, start_renderers

RENDERED_SHARE = 0.75
"""Rendering ends when so much of the time is over: what comes later would hardly be learnt."""


def start_training(task: str, given: argparse.Namespace, device: str) -> subprocess.Popen:
    """Start one trainer; its output goes to ``OUT/train_TASK.log``."""
    command = [sys.executable, "-m", "pipeline.training.train", "--task", task, "--device", device]
    command += ["--spool", str(given.spool), "--out", str(given.out), "--minutes", str(given.minutes)]
    for option, value in (
        ("--real", given.real),
        ("--weights", getattr(given, f"{task}_weights")),
        ("--folds", given.folds if task == "areas" else None),
    ):
        command += [option, str(value)] if value else []
    command += ["--weights-only"] if given.weights_only else []
    with (given.out / f"train_{task}.log").open("w") as log:
        return subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, env={**os.environ, **ONE_THREAD})


def main(arguments: list[str] | None = None) -> int:
    """Read the command line and run everything."""
    import torch

    parser = argparse.ArgumentParser(prog="python -m pipeline.training.whole", description=__doc__)
    parser.add_argument("--spool", type=Path, required=True, help="where packs of renders go; best in memory")
    parser.add_argument("--out", type=Path, required=True, help="where weights and logs go")
    parser.add_argument("--real", type=Path, help="training folder of labelled real frames")
    parser.add_argument("--folds", type=Path, help="further games of real frames, see `pipeline.training.train`")
    parser.add_argument("--tasks", nargs="*", choices=["detector", "areas"], default=["detector", "areas"])
    parser.add_argument("--minutes", type=float, default=8.0, help="time budget of the training")
    parser.add_argument("--processes", type=int, default=max(1, (os.cpu_count() or 2) - 4), help="renderers")
    parser.add_argument("--seed", type=int, default=1, help="of the renders; another seed gives other looks")
    parser.add_argument("--detector-weights", type=Path, help="earlier detector weights (.pt) to continue from")
    parser.add_argument("--areas-weights", type=Path, help="earlier court network weights (.pt) to continue from")
    parser.add_argument("--weights-only", action="store_true", help="write no ONNX")
    given = parser.parse_args(arguments)
    given.out.mkdir(parents=True, exist_ok=True)

    def say(text: str) -> None:
        with (given.out / "progress.log").open("a") as log:
            log.write(f"{time.strftime('%H:%M:%S')} {text}\n")

    gpus = torch.cuda.device_count()
    renderers = start_renderers(
        given.spool,
        minutes=given.minutes * RENDERED_SHARE,
        processes=given.processes,
        seed=given.seed,
        device_index=1 if gpus > 1 else None,
    )
    places = {"detector": "0", "areas": str(max(gpus - 1, 0))} if gpus else {"detector": "cpu", "areas": "cpu"}
    trainers = {task: start_training(task, given, places[task]) for task in given.tasks}
    failed = [task for task, process in trainers.items() if process.wait()]
    stopped = [number for number, process in enumerate(renderers) if process.wait()]
    for task in failed:
        say(f"{task} failed: …{(given.out / f'train_{task}.log').read_text(errors='replace')[-1500:]}")
    if stopped:
        log = given.spool / "logs" / f"render_{stopped[0]:02d}.log"
        say(f"{len(stopped)} of {len(renderers)} renderers failed: …{log.read_text(errors='replace')[-1500:]}")
    say(f"rendered {sum(1 for _ in (given.spool / 'detector').glob('*.npz'))} packs")
    say("failed" if failed else "done")
    return 1 if failed or len(stopped) == len(renderers) > 0 else 0


if __name__ == "__main__":
    sys.exit(main())
