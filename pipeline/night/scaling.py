"""How much faster a film goes with more workers of a cluster: the whole chain for each count, and without a cluster.

Each run is a process of its own with a new library, so that every one opens its networks and connects anew.
"""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

from pipeline.film.probe import probe
from pipeline.night.cluster import cluster_at
from pipeline.night.stages import file_digest
from pipeline.settings import Settings

ALONE = 0
"""Count of workers of the run that is one process and knows no cluster."""


@dataclass(frozen=True, slots=True)
class Scaled:
    """A film with so many workers.

    Attributes
    ----------
    workers : int
        Of the cluster; `ALONE` for one process without it.
    seconds, vision_s : float
        Medians of the whole run, and of the pass that looks at the pictures.
    machines : int
        On how many of them workers were.
    other_tables : tuple of str
        Tables that are not, to the byte, those of the first run.
    """

    workers: int
    seconds: float
    vision_s: float
    machines: int
    other_tables: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Scaling:
    """A film with several counts of workers."""

    film_s: float
    rows: tuple[Scaled, ...]


@dataclass(frozen=True, slots=True)
class _Ran:
    seconds: float
    vision_s: float
    machines: int
    tables: dict[str, str]


def scaling_of(
    film: Path, address: str, counts: Sequence[int], settings: Settings, on_part: Callable[[str], None], runs: int = 1
) -> Scaling:
    """Run a film in one process, then with each count of workers of a cluster.

    Parameters
    ----------
    film : Path
    address : str
        See `pipeline.night.cluster.RayCrew`.
    counts : sequence of int
        Of workers.
    settings : Settings
    on_part : callable
        Called with what is run as it begins.
    runs : int
        How often each; medians are given.

    Raises
    ------
    FilmError
        If the film cannot be read.
    ClusterError
        If the cluster does not answer.
    """
    info = probe(film, settings.film.decode)
    rows: list[Scaled] = []
    first: dict[str, str] = {}
    with cluster_at(address) as place:
        for workers in (ALONE, *counts):
            on_part(f"{workers} worker(s)" if workers else "one process")
            ran = [_in_process(film, place, workers, settings) for _ in range(runs)]
            first = first or ran[0].tables
            rows.append(
                Scaled(
                    workers,
                    median(one.seconds for one in ran),
                    median(one.vision_s for one in ran),
                    ran[-1].machines,
                    tuple(sorted({name for one in ran for name in first if one.tables.get(name) != first[name]})),
                )
            )
    return Scaling(info.duration_s, tuple(rows))


def _in_process(film: Path, address: str, workers: int, settings: Settings) -> _Ran:
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as one:
        return one.submit(_run, film, address, workers, settings).result()


def _run(film: Path, address: str, workers: int, settings: Settings) -> _Ran:
    from pipeline.library.games import Library
    from pipeline.night.looking import Stopwatch
    from pipeline.night.networks import cluster_networks, film_networks
    from pipeline.night.run import run_film

    night = settings.night.model_copy(update={"workers": workers or 1})
    settings = settings.model_copy(update={"night": night})
    watch, began_s = Stopwatch(), time.perf_counter()
    networks = cluster_networks(address, settings) if workers else film_networks(settings)
    with TemporaryDirectory() as folder:
        done = run_film(
            film,
            Library(Path(folder) / "library"),
            networks,
            settings,
            book=None,
            progress=lambda _stage: lambda _done, _total: None,
            stopwatch=watch,
        )
        seconds = time.perf_counter() - began_s
        tables = {path.stem: file_digest(path) for path in sorted(done.game.tables.glob("*.parquet"))}
    machines = {name.partition(" ")[0] for name in watch.workers} if workers else set()
    return _Ran(seconds, next(ran.seconds for ran in done.stages if ran.stage == "film"), len(machines), tables)


def scaling_lines(scaling: Scaling) -> list[str]:
    """As a table in text; the gain is over one worker of the cluster."""
    one = next((row.seconds for row in scaling.rows if row.workers == 1), None)
    lines = [f"{'workers':<14}{'seconds':>9}{'vision':>9}{'x real time':>13}{'gain':>8}{'machines':>10}  tables"]
    for row in scaling.rows:
        name = str(row.workers) if row.workers else "one process"
        gain = f"{one / row.seconds:.2f}" if one and row.workers else ""
        lines.append(
            f"{name:<14}{row.seconds:>9.1f}{row.vision_s:>9.1f}{scaling.film_s / row.seconds:>13.2f}{gain:>8}"
            f"{row.machines or '':>10}  {'others: ' + ', '.join(row.other_tables) if row.other_tables else 'the same'}"
        )
    return lines


def scaling_as_json(scaling: Scaling) -> dict[str, Any]:
    """The same as JSON-ready values."""
    rows = [
        {
            "workers": row.workers,
            "seconds": round(row.seconds, 2),
            "vision_s": round(row.vision_s, 2),
            "times_real_time": round(scaling.film_s / row.seconds, 2),
            "machines": row.machines,
            "other_tables": list(row.other_tables),
        }
        for row in scaling.rows
    ]
    return {"film_s": round(scaling.film_s, 2), "rows": rows}
