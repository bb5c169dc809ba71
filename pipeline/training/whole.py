"""Render the training set, train both networks side by side, and leave the weights in one folder.

    python -m pipeline.training.whole --real DIR --work DIR --out DIR --render-minutes 7 --train-minutes 11

Every step can be repeated: pictures rendered before are kept and added to, and `--steps` picks what to run. The
detector trains on the first GPU, the court network on the second (or both on the only one). What happens is written to
``OUT/progress.log``; ``OUT/finished`` appears when everything is there.
"""

import argparse
import os
import subprocess
import sys
import time
from pathlib import Path

STEPS = ("render", "train")
CHUNK = 24
"""Pictures a renderer makes before it looks at the clock."""


def render(work: Path, *, minutes: float, processes: int, seed: int, say) -> None:  # type: ignore[no-untyped-def]
    """Fill ``WORK/renders`` with as many pictures as the minutes allow."""
    folder = work / "renders"
    folder.mkdir(parents=True, exist_ok=True)
    logs = work / "logs"
    logs.mkdir(exist_ok=True)
    deadline = time.time() + 60 * minutes
    running = []
    for number in range(processes):
        command = [
            sys.executable,
            "-m",
            "pipeline.training.whole",
            "--renderer",
            f"{number},{seed},{deadline}",
            "--work",
            str(work),
        ]
        log = (logs / f"render_{number}.log").open("w")
        running.append(subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, env=_single_thread()))
    while any(p.poll() is None for p in running):
        time.sleep(5)
        if time.time() > deadline + 45:
            for p in running:
                if p.poll() is None:
                    p.kill()
    failed = [n for n, p in enumerate(running) if p.returncode not in (0, -9)]
    made = sum(1 for _ in folder.glob("*/images/*.jpg"))
    say(f"rendered {made} pictures; {len(failed)} of {processes} renderers failed")
    if failed:
        say("first failure: " + (logs / f"render_{failed[0]}.log").read_text()[-1500:])


def renderer(work: Path, number: int, seed: int, deadline: float) -> None:
    """One renderer: chunk after chunk, each in a folder of its own, until the deadline."""
    from pipeline.sim.stills import render_stills

    gpus = len(list(Path("/dev").glob("nvidia[0-9]*")))
    device = number % gpus if gpus > 1 else None
    turn = 0
    while time.time() < deadline - 3:
        part = work / "renders" / f"part_{number:02d}_{turn:03d}"
        if not (part / "images").is_dir():
            began = time.time()
            render_stills(part, CHUNK, seed + 1_000 * number + turn, device_index=device)
            print(f"{part.name}: {CHUNK} pictures in {time.time() - began:.1f} s on device {device}", flush=True)  # noqa: T201
        turn += 1


def train_both(args: argparse.Namespace, say) -> bool:  # type: ignore[no-untyped-def]
    """Train the detector and the court network side by side; True when both succeeded."""
    gpus = _gpu_count()
    running = {}
    workers = max(2, (os.cpu_count() or 4) // 2 - 2)
    for task in args.tasks:
        command = [sys.executable, "-m", "pipeline.training.train", "--task", task, "--out", str(args.out)]
        if args.real:
            command += ["--real", str(args.real)]
        if any((args.work / "renders").glob("*/images/*.jpg")):
            command += ["--renders", str(args.work / "renders")]
        device = "cpu" if not gpus else str(0 if task == "detector" else gpus - 1)
        command += ["--minutes", str(args.train_minutes), "--device", device, "--workers", str(workers)]
        earlier = getattr(args, f"{task}_weights")
        if earlier:
            command += ["--weights", str(earlier)]
        for extra in args.train_option:
            command += extra.split("=", 1) if "=" in extra else [extra]
        for extra in getattr(args, f"{task}_option"):
            command += extra.split("=", 1)
        log = (args.out / f"train_{task}.log").open("w")
        say(f"training {task}: {' '.join(command[1:])}")
        running[task] = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, env=_single_thread())
    good = True
    for task, process in running.items():
        code = process.wait()
        text = (args.out / f"train_{task}.log").read_text(errors="replace")
        say(f"{task} ended with {code}: …{text[-800:]}")
        good &= code == 0
    return good


def _gpu_count() -> int:
    import torch

    return torch.cuda.device_count()


def _single_thread() -> dict[str, str]:
    return {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


def main(arguments: list[str] | None = None) -> int:
    """Read the command line and run the steps."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.training.whole", description=__doc__)
    parser.add_argument("--work", type=Path, required=True, help="where renders and logs go")
    parser.add_argument("--out", type=Path, help="where weights go")
    parser.add_argument("--real", type=Path, help="training folder of labelled real frames")
    parser.add_argument("--steps", nargs="+", choices=STEPS, default=list(STEPS))
    parser.add_argument("--tasks", nargs="+", choices=["detector", "areas"], default=["detector", "areas"])
    parser.add_argument("--render-minutes", type=float, default=7.0)
    parser.add_argument("--train-minutes", type=float, default=11.0)
    parser.add_argument("--processes", type=int, default=max(1, (os.cpu_count() or 2) - 2))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--train-option", action="append", default=[], help="passed to both trainings, as --batch=96")
    parser.add_argument("--detector-option", action="append", default=[], help="passed to the detector's training")
    parser.add_argument("--areas-option", action="append", default=[], help="passed to the court network's training")
    parser.add_argument("--detector-weights", type=Path, help="earlier detector weights (.pt) to continue from")
    parser.add_argument("--areas-weights", type=Path, help="earlier court network weights (.pt) to continue from")
    parser.add_argument("--renderer", help=argparse.SUPPRESS)
    args = parser.parse_args(arguments)
    args.work.mkdir(parents=True, exist_ok=True)
    if args.renderer:
        number, seed, deadline = args.renderer.split(",")
        renderer(args.work, int(number), int(seed), float(deadline))
        return 0
    if args.out is None:
        parser.error("--out is needed")
    args.out.mkdir(parents=True, exist_ok=True)

    def say(text: str) -> None:
        with (args.out / "progress.log").open("a") as log:
            log.write(f"{time.strftime('%H:%M:%S')} {text}\n")

    good = True
    if "render" in args.steps:
        render(args.work, minutes=args.render_minutes, processes=args.processes, seed=args.seed, say=say)
    if "train" in args.steps:
        good = train_both(args, say)
    (args.out / "finished").write_text("done\n" if good else "failed\n")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
