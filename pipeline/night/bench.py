"""How long a film takes: decoding alone, the whole chain by stages, and ultralytics' own tracking call beside it.

Each of the three runs in a process of its own, one after the other, so that each has its own peak memory and nothing
one of them loaded (PyTorch above all) weighs on another. Of several runs the one with the median time is shown whole.
"""

from __future__ import annotations

import multiprocessing
import os
import platform
import resource
import threading
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import av
import psutil

from pipeline.backends import Device, chosen_device, gpu_name, processor_threads
from pipeline.errors import FilmError
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
        Most memory that it and its worker processes took at a time, looked at every second; what processes share
        (proportional set size) counts once.
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
    all_s : tuple of float
        Seconds of every run; this one is that with the median.
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
    all_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Machine:
    """What was measured on."""

    processor: str
    cores: int
    memory_gb: float
    gpu: str
    device: Device


@dataclass(frozen=True, slots=True)
class Bench:
    """A film's costs, and what it was measured on.

    Attributes
    ----------
    film_s : float
        The film's length.
    machine : Machine
    rate : float
        Frames of film a second that the networks look at.
    decoding, chain, tracking : Cost
    longer : tuple of (float, Cost)
        Seconds of the same film shown several times over, and what the chain took for it.
    """

    film_s: float
    machine: Machine
    rate: float
    decoding: Cost
    chain: Cost
    tracking: Cost
    longer: tuple[tuple[float, Cost], ...] = ()

    def times_real_time(self, seconds: float) -> float:
        """Seconds of film in a second."""
        return self.film_s / seconds if seconds else float("inf")


def bench_film(
    film: Path,
    settings: Settings,
    on_part: Callable[[str], None],
    *,
    runs: int = 1,
    times: int = 1,
) -> Bench:
    """Measure a film.

    Parameters
    ----------
    film : Path
    settings : Settings
    on_part : callable
        Called with the name of each part as it begins.
    runs : int
        How often each of the three is run.
    times : int
        With 2 or more the chain also runs once on the film shown so many times over.

    Raises
    ------
    FilmError
        If the film cannot be read.
    """
    info = probe(film, settings.film.decode)
    costs = []
    for name, work in (("decoding alone", _decode), ("whole chain", _run_chain), ("ultralytics track", _track)):
        found = []
        for run in range(runs):
            on_part(name if runs == 1 else f"{name}, {run + 1} of {runs}")
            found.append(_in_process(work, film, settings))
            if found[-1].missing:
                break
        ranked = sorted(found, key=lambda cost: cost.seconds)
        costs.append(replace(ranked[(len(ranked) - 1) // 2], all_s=tuple(round(cost.seconds, 2) for cost in found)))
    longer = []
    if times > 1:
        on_part(f"whole chain, the film {times} times over")
        with TemporaryDirectory() as folder:
            long_film = Path(folder) / f"film{film.suffix}"
            repeat_film(film, long_film, times)
            length_s = probe(long_film, settings.film.decode).duration_s
            longer.append((length_s, _in_process(_run_chain, long_film, settings)))
    decoding, chain, tracking = costs
    rate = settings.night.analysed_frames_per_s
    return Bench(info.duration_s, this_machine(settings), rate, decoding, chain, tracking, tuple(longer))


def this_machine(settings: Settings) -> Machine:
    """The machine that this process runs on."""
    device = chosen_device(settings.night.device)
    return Machine(
        _processor(),
        processor_threads(0),
        psutil.virtual_memory().total / 2**30,
        gpu_name() if device is Device.CUDA else "",
        device,
    )


def _processor() -> str:
    """The processor's name, as far as the system tells it."""
    try:
        told = Path("/proc/cpuinfo").read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        told = []
    names = [line.partition(":")[2].strip() for line in told if line.startswith("model name")]
    return names[0] if names else platform.processor() or platform.machine()


def repeat_film(film: Path, to: Path, times: int) -> None:
    """Write a film that shows another one's pictures so many times over; nothing is encoded anew.

    Raises
    ------
    FilmError
        If the container cannot be written so.
    """
    try:
        with av.open(str(film)) as source, av.open(str(to), "w") as target:
            stream = source.streams.video[0]
            packets = [packet for packet in source.demux(stream) if packet.size]
            stamps = [packet.pts for packet in packets if packet.pts is not None]
            spans = [packet.duration or 0 for packet in packets]
            span = max(stamps) - min(stamps) + max(spans)
            copy = target.add_stream_from_template(stream)
            for turn in range(times):
                for packet in packets:
                    again = av.Packet(bytes(packet))
                    again.pts = None if packet.pts is None else packet.pts + turn * span
                    again.dts = None if packet.dts is None else packet.dts + turn * span
                    again.duration, again.is_keyframe = packet.duration, packet.is_keyframe
                    again.time_base, again.stream = packet.time_base, copy
                    target.mux(again)
    except (av.error.FFmpegError, ValueError, IndexError) as reason:
        raise FilmError(f"{film} cannot be put after itself ({reason}); measure it without --times.") from reason


def _in_process(work: Callable[[Path, Settings], dict[str, Any]], film: Path, settings: Settings) -> Cost:
    # No pool of the multiprocessing module: its processes may not have workers of their own.
    with (
        ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as one,
        _MemoryTaken() as memory,
    ):
        cost = one.submit(_measured, work, film, settings).result()
    return replace(cost, peak_mb=max(memory.peak_mb, cost.peak_mb if not cost.workers else 0.0))


class _MemoryTaken:
    """Most memory that the processes below this one take at a time, while it is a context."""

    def __init__(self) -> None:
        self.peak_mb = 0.0
        self._ends = threading.Event()
        self._watcher = threading.Thread(target=self._watch, daemon=True, name="memory")

    def __enter__(self) -> _MemoryTaken:
        self._watcher.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ends.set()
        self._watcher.join()

    def _watch(self) -> None:
        own = psutil.Process()
        while not self._ends.wait(1.0):
            self.peak_mb = max(self.peak_mb, sum(map(_memory_mb, own.children(recursive=True))))


def _memory_mb(process: psutil.Process) -> float:
    """Memory of a process; what it shares with others only for its part, where the system tells that."""
    try:
        memory = process.memory_full_info()
    except psutil.Error:  # it has ended, or is another user's
        return 0.0
    return float(getattr(memory, "pss", memory.rss)) / 2**20


def _measured(work: Callable[[Path, Settings], dict[str, Any]], film: Path, settings: Settings) -> Cost:
    began = time.perf_counter()
    found = work(film, settings)
    seconds = time.perf_counter() - began
    own, workers = resource.getrusage(resource.RUSAGE_SELF), found.pop("used", ())
    cpu_s = own.ru_utime + own.ru_stime + sum(worker.cpu_s for worker in workers)
    return Cost(seconds=seconds, cpu_s=cpu_s, peak_mb=own.ru_maxrss / 1024, workers=max(0, len(workers) - 1), **found)


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
            "runs_s": list(of.all_s),
        }
        for name, parts in (("stages_s", of.parts_s), ("within_vision_s", of.inside_s)):
            if parts:
                found[name] = {part: round(seconds, 2) for part, seconds in parts.items()}
        return found

    return {
        "film_s": round(bench.film_s, 2),
        "live_s": round(bench.chain.live_s, 2),
        "device": bench.machine.device.value,
        "processor": bench.machine.processor,
        "cores": bench.machine.cores,
        "memory_gb": round(bench.machine.memory_gb, 1),
        "gpu": bench.machine.gpu,
        "analysed_frames_per_s": bench.rate,
        "decoding": cost(bench.decoding),
        "chain": cost(bench.chain),
        "ultralytics_track": cost(bench.tracking),
        "longer": [{"film_s": round(length_s, 2), **cost(of)} for length_s, of in bench.longer],
    }


def bench_lines(bench: Bench) -> list[str]:
    """The same as lines of text: a table, and where the time of the chain goes."""
    live, machine, chain = bench.chain.live_s / bench.film_s, bench.machine, bench.chain
    lines = [
        f"{machine.processor}, {machine.cores} core(s), {machine.memory_gb:.0f} GB"
        + (f", {machine.gpu}" if machine.gpu else ""),
        f"{bench.film_s:.1f} s of film, {live:.0%} of it live play, {bench.rate:g} frames a second looked at; "
        f"networks on {machine.device.value}, {chain.workers or 'no'} worker processes"
        + (f"; medians of {len(chain.all_s)} runs" if len(chain.all_s) > 1 else ""),
        f"{'':<26}{'seconds':>9}{'x real time':>13}{'x track':>9}{'x decoding':>12}{'cpu s':>9}{'peak MB':>9}",
    ]

    def line(name: str, seconds: float, cost: Cost | None = None, film_s: float = bench.film_s) -> str:
        text = f"{name:<26}{seconds:>9.1f}{film_s / seconds if seconds else float('inf'):>13.2f}"
        if cost is None or film_s != bench.film_s:
            return text if cost is None else f"{text}{'':>21}{cost.cpu_s:>9.1f}{cost.peak_mb:>9.0f}"
        beside = "" if bench.tracking.missing else f"{bench.tracking.seconds / seconds:.2f}"
        return f"{text}{beside:>9}{bench.decoding.seconds / seconds:>12.2f}{cost.cpu_s:>9.1f}{cost.peak_mb:>9.0f}"

    lines.append(line("decoding alone", bench.decoding.seconds, bench.decoding))
    lines += [line(f"  stage {name}", seconds) for name, seconds in chain.parts_s.items()]
    lines.append(line("whole chain", chain.seconds, chain))
    if bench.tracking.missing:
        lines.append(f"ultralytics track: not run, {bench.tracking.missing}")
    else:
        lines.append(line("ultralytics track", bench.tracking.seconds, bench.tracking))
    lines += [line(f"chain, {length_s:.0f} s of film", cost.seconds, cost, length_s) for length_s, cost in bench.longer]
    if len(chain.all_s) > 1:
        for name, cost in (("decoding", bench.decoding), ("chain", chain), ("track", bench.tracking)):
            lines.append(f"runs of {name}, seconds: {', '.join(f'{seconds:.1f}' for seconds in cost.all_s)}")
    lines.append("Work within the vision pass, seconds over all threads (they run side by side):")
    inside, whole = sorted(chain.inside_s.items(), key=lambda part: -part[1]), sum(chain.inside_s.values()) or 1.0
    lines += [f"  {name:<24}{seconds:>9.1f}{seconds / whole:>8.0%}" for name, seconds in inside]
    return lines
