"""How long a film takes: decoding alone, the whole chain by stages, and ultralytics' own tracking call beside it.

Each of the three runs in a process of its own, one after the other, so that each has its own peak memory and nothing
one of them loaded (PyTorch above all) weighs on another.
"""

from __future__ import annotations

import multiprocessing
import os
import resource
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from pipeline.backends import Device, chosen_device, processor_threads
from pipeline.film.decode import decode
from pipeline.film.probe import probe
from pipeline.networks import shipped_weights
from pipeline.settings import Settings


@dataclass(frozen=True, slots=True)
class Cost:
    """What one process took.

    Attributes
    ----------
    seconds : float
        From its first line to its last, imports and opening of networks included.
    cpu_s : float
        Processor time of all its threads, and of its worker processes.
    peak_mb : float
        Largest resident memory; with workers the sum of everybody's largest, which is more than was ever taken at a
        time, and counts what they share once for each.
    workers : int
        Worker processes that it had, beside the one that they were split off from.
    parts_s : dict of float
        Seconds of its parts, in order.
    inside_s : dict of float
        Seconds of work within the vision pass, over all threads; these run side by side, so they come to more than it.
    live_s : float
        Live play in the film, where that was found out.
    frames : int
        Frames it looked at.
    missing : str
        Why it was not run; empty if it was.
    """

    seconds: float = 0.0
    cpu_s: float = 0.0
    peak_mb: float = 0.0
    workers: int = 0
    parts_s: dict[str, float] = field(default_factory=dict)
    inside_s: dict[str, float] = field(default_factory=dict)
    live_s: float = 0.0
    frames: int = 0
    missing: str = ""


@dataclass(frozen=True, slots=True)
class Bench:
    """A film's costs, and what it was measured on."""

    film_s: float
    device: Device
    cores: int
    rate: float
    decoding: Cost
    chain: Cost
    tracking: Cost

    def times_real_time(self, seconds: float) -> float:
        """Seconds of film in a second."""
        return self.film_s / seconds if seconds else float("inf")


def bench_film(film: Path, settings: Settings, on_part: Callable[[str], None]) -> Bench:
    """Measure a film.

    Parameters
    ----------
    film : Path
    settings : Settings
    on_part : callable
        Called with the name of each of the three parts as it begins.

    Raises
    ------
    FilmError
        If the film cannot be read.
    """
    device = chosen_device(settings.night.device)
    info = probe(film, settings.film.decode)
    costs = []
    for name, work in (("decoding alone", _decode), ("whole chain", _run_chain), ("ultralytics track", _track)):
        on_part(name)
        costs.append(_in_process(work, film, settings))
    rate = settings.night.analysed_frames_per_s
    return Bench(info.duration_s, device, processor_threads(0), rate, *costs)


def _in_process(work: Callable[[Path, Settings], dict[str, Any]], film: Path, settings: Settings) -> Cost:
    # No pool of the multiprocessing module: its processes may not have workers of their own.
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as one:
        return one.submit(_measured, work, film, settings).result()


def _measured(work: Callable[[Path, Settings], dict[str, Any]], film: Path, settings: Settings) -> Cost:
    began = time.perf_counter()
    found = work(film, settings)
    seconds = time.perf_counter() - began
    own, workers = resource.getrusage(resource.RUSAGE_SELF), found.pop("used", ())
    cpu_s = own.ru_utime + own.ru_stime + sum(worker.cpu_s for worker in workers)
    peak_mb = own.ru_maxrss / 1024 + sum(worker.peak_mb for worker in workers)
    return Cost(seconds=seconds, cpu_s=cpu_s, peak_mb=peak_mb, workers=max(0, len(workers) - 1), **found)


def _decode(film: Path, settings: Settings) -> dict[str, Any]:
    return {"frames": sum(1 for _ in decode(film, settings=settings.film.decode))}


def _run_chain(film: Path, settings: Settings) -> dict[str, Any]:
    from pipeline.film.tables import FRAMES
    from pipeline.library.games import Library
    from pipeline.night.looking import Stopwatch
    from pipeline.night.networks import film_networks
    from pipeline.night.run import run_film

    watch = Stopwatch()
    with TemporaryDirectory() as folder:
        ran = run_film(
            film,
            Library(Path(folder) / "library"),
            film_networks(settings),
            settings,
            book=None,
            progress=lambda _stage: lambda _done, _total: None,
            stopwatch=watch,
        )
        frames = FRAMES.read(ran.game.tables).num_rows
    return {
        "parts_s": {stage.stage: stage.seconds for stage in ran.stages},
        "inside_s": watch.seconds,
        "used": tuple(watch.workers.values()),
        "live_s": ran.live_s,
        "frames": frames,
    }


def _track(film: Path, settings: Settings) -> dict[str, Any]:
    """Ultralytics' track call with our detector, its own default tracker, and every n-th frame for our rate."""
    missing = [name for name in ("torch", "lap") if find_spec(name) is None]
    if missing:
        return {"missing": f"{' and '.join(missing)} not installed"}
    os.environ.setdefault("YOLO_OFFLINE", "1")
    from ultralytics import YOLO

    info = probe(film, settings.film.decode)
    rate = (len(info.times_s) - 1) / (info.times_s[-1] - info.times_s[0]) if len(info.times_s) > 1 else 1.0
    on_gpu = chosen_device(settings.night.device) is Device.CUDA
    model = YOLO(str(shipped_weights("detector", "pt")), task="detect")
    seen = model.track(
        source=str(film),
        stream=True,
        vid_stride=max(1, round(rate / settings.night.analysed_frames_per_s)),
        imgsz=960,
        device="cuda" if on_gpu else "cpu",
        **({"half": True} if on_gpu else {}),
        verbose=False,
        save=False,
    )
    return {"frames": sum(1 for _ in seen)}


def bench_as_json(bench: Bench) -> dict[str, Any]:
    """Everything that was measured, as JSON-ready values."""

    def cost(of: Cost) -> dict[str, Any]:
        if of.missing:
            return {"missing": of.missing}
        found: dict[str, Any] = {
            "seconds": round(of.seconds, 2),
            "times_real_time": round(bench.times_real_time(of.seconds), 2),
            "cpu_s": round(of.cpu_s, 2),
            "peak_mb": round(of.peak_mb),
            "workers": of.workers,
            "frames": of.frames,
        }
        for name, parts in (("stages_s", of.parts_s), ("within_vision_s", of.inside_s)):
            if parts:
                found[name] = {part: round(seconds, 2) for part, seconds in parts.items()}
        return found

    return {
        "film_s": round(bench.film_s, 2),
        "live_s": round(bench.chain.live_s, 2),
        "device": bench.device.value,
        "cores": bench.cores,
        "analysed_frames_per_s": bench.rate,
        "decoding": cost(bench.decoding),
        "chain": cost(bench.chain),
        "ultralytics_track": cost(bench.tracking),
    }


def bench_lines(bench: Bench) -> list[str]:
    """The same as lines of text."""
    live = bench.chain.live_s / bench.film_s
    lines = [
        f"{bench.film_s:.1f} s of film, {live:.0%} of it live play, {bench.rate:g} frames a second looked at; "
        f"{bench.device.value}, {bench.cores} core(s), {bench.chain.workers or 'no'} worker processes",
        f"{'':<26}{'seconds':>9}{'x real time':>13}{'cpu s':>9}{'peak MB':>9}",
    ]

    def line(name: str, seconds: float, cost: Cost | None = None) -> str:
        rest = "" if cost is None else f"{cost.cpu_s:>9.1f}{cost.peak_mb:>9.0f}"
        return f"{name:<26}{seconds:>9.1f}{bench.times_real_time(seconds):>13.2f}{rest}"

    lines.append(line("decoding alone", bench.decoding.seconds, bench.decoding))
    lines += [line(f"  stage {name}", seconds) for name, seconds in bench.chain.parts_s.items()]
    lines.append(line("whole chain", bench.chain.seconds, bench.chain))
    if bench.tracking.missing:
        lines.append(f"ultralytics track: not run, {bench.tracking.missing}")
    else:
        lines.append(line("ultralytics track", bench.tracking.seconds, bench.tracking))
    lines.append("Work within the vision pass, seconds over all threads (they run side by side):")
    inside = sorted(bench.chain.inside_s.items(), key=lambda part: -part[1])
    lines += [f"  {name:<24}{seconds:>9.1f}" for name, seconds in inside]
    return lines
