"""The vision pass: the film is decoded once, and everything that looks at pictures looks at them then.

One process goes through the film from its first frame to its last, or worker processes take runs of its pieces
(:mod:`pipeline.night.pieces`); the tables are the same.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pyarrow as pa

from pipeline.crew import Crew
from pipeline.film.decode import damage_report, refuse_damaged
from pipeline.film.fetching import FilmPlace
from pipeline.film.probe import FilmInfo, probe
from pipeline.film.score_bug import BugReader, scout
from pipeline.film.shots import FoundShots, found_shots
from pipeline.night.elsewhere import FarErrand, bring_home, see_elsewhere
from pipeline.night.looking import Stopwatch
from pipeline.night.pieces import PARTS, Errand, Eyes, Grid, Run, SeenParts, open_eyes, see_errand, see_run
from pipeline.night.stages import Progress
from pipeline.settings import Settings

__all__ = ["PARTS", "Eyes", "Seen", "SeenParts", "see_film", "see_film_together"]

RUNS_EACH = 3
"""Runs of pieces for each worker of a long film: some take longer than others."""

LONGEST_RUN_S = 120.0
"""A run of pieces is no longer: what was seen in it is known when it ends."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What the vision pass saw.

    Attributes
    ----------
    found : FoundShots
        The film's shots as far as pictures alone tell them.
    tables : dict of pa.Table
        By name, as their rooms declare them; the shot of every row is set.
    damage : str
        What was lost to damage, one sentence; empty when nothing was.
    """

    found: FoundShots
    tables: dict[str, pa.Table]
    damage: str


def see_film(
    film: Path,
    eyes: Eyes,
    settings: Settings,
    parts: SeenParts,
    progress: Progress,
    stopwatch: Stopwatch | None = None,
) -> Seen:
    """Decode a film once and run the shot finder and the networks over it, in this process.

    Parameters
    ----------
    film : Path
    eyes : Eyes
        The networks.
    settings : Settings
    parts : SeenParts
        Pieces in it are not looked at again; what is looked at is added to it.
    progress : callable
        Called with seconds of film done and in all.
    stopwatch : Stopwatch, optional
        Is told what took how long.

    Raises
    ------
    FilmError
        If the film cannot be read to its end.
    """
    watch = stopwatch or Stopwatch()
    info = probe(film, settings.film.decode)

    def find_bug() -> BugReader:
        with watch.part("score graphic"):
            return BugReader(scout(film, info, settings.film.bug), settings.film.bug)

    runs = missing_runs(film, info, settings, parts)
    with ThreadPoolExecutor(1, "bug") as beside:
        bug = beside.submit(find_bug) if runs else Future()
        for run in runs:
            see_run(run, eyes, bug, lambda t_s: progress(t_s, info.duration_s), watch)
    return _put_together(info, settings, parts, progress, watch)


def missing_runs(
    film: Path, info: FilmInfo, settings: Settings, parts: SeenParts, longest: int | None = None
) -> tuple[Run, ...]:
    """Runs of the pieces of a film that are not there yet.

    Parameters
    ----------
    longest : int, optional
        So many pieces in each at most; without it a run is as long as can be.
    """
    runs: list[tuple[int, int]] = []
    for piece in sorted(Grid.of(settings).with_frames(info) - parts.done()):
        if runs and runs[-1][1] == piece and (longest is None or piece - runs[-1][0] < longest):
            runs[-1] = (runs[-1][0], piece + 1)
        else:
            runs.append((piece, piece + 1))
    return tuple(Run(film, settings, first, stop, parts.folder) for first, stop in runs)


def see_film_together(
    place: FilmPlace,
    open_networks: Callable[[], Eyes],
    settings: Settings,
    parts: SeenParts,
    progress: Progress,
    crew: Crew,
    workers: int,
    stopwatch: Stopwatch | None = None,
) -> Seen:
    """The same by worker processes of a crew; ``open_networks`` must bear pickling.

    Parameters
    ----------
    place : FilmPlace
        Workers on other machines look for the film by it.
    workers : int
        So many of the crew work at a time.
    """
    film, watch = place.path, stopwatch or Stopwatch()
    info = probe(film, settings.film.decode)
    grid = Grid.of(settings)
    count = grid.pieces(info)
    longest = max(1, round(LONGEST_RUN_S / grid.piece_s))
    each = min(longest, max(1, count // (RUNS_EACH * workers)))
    runs = missing_runs(film, info, settings, parts, each)
    networks = pickle.dumps(open_networks)
    crew.wake(open_eyes, networks, min(workers, len(runs)))
    with watch.part("score graphic"):
        bug = scout(film, info, settings.film.bug) if runs else None
    done = count - sum(run.stop - run.first for run in runs)
    progress(done / count * info.duration_s, info.duration_s)
    errands = [Errand(run, networks, bug) for run in runs]
    for run, seconds in zip(runs, _seen_by(crew, workers, errands, place, parts), strict=True):
        watch.add(seconds)
        done += run.stop - run.first
        progress(done / count * info.duration_s, info.duration_s)
    return _put_together(info, settings, parts, progress, watch)


def _seen_by(
    crew: Crew, workers: int, errands: list[Errand], place: FilmPlace, parts: SeenParts
) -> Iterable[dict[str, float]]:
    if not crew.elsewhere:
        return crew.spread_few(see_errand, errands, workers)
    there = replace(place, path=place.path.absolute())  # workers stand in other folders
    far = [FarErrand(errand, there) for errand in errands]
    return (bring_home(carried, parts.folder) for carried in crew.spread_few(see_elsewhere, far, workers))


def _put_together(
    info: FilmInfo,
    settings: Settings,
    parts: SeenParts,
    progress: Progress,
    watch: Stopwatch,
) -> Seen:
    """The film's shots and tables from what was seen in its pieces, in order."""
    noted = parts.read_signs()
    report = damage_report(info, 0, np.concatenate([piece.fates for piece in noted]))
    refuse_damaged(info, report, settings.film.decode)
    progress(info.duration_s, info.duration_s)
    with watch.part("shots"):
        found = found_shots([piece.signs for piece in noted], settings.film.shots, info.duration_s)
    starts = np.array([boundary.t_s for boundary in found.boundaries])
    with watch.part("tables"):
        tables = {name: _with_shots(table, starts) for name, table in parts.read().items()}
    return Seen(found, tables, damage=report.sentence() if report.delivered < report.expected else "")


def _shots(times_s: np.ndarray, starts_s: np.ndarray) -> np.ndarray:
    """Shot of each time: the last that starts at or before it."""
    return np.maximum(np.searchsorted(starts_s, times_s + 1e-9, side="right") - 1, 0).astype(np.int32)


def _with_shots(table: pa.Table, starts_s: np.ndarray) -> pa.Table:
    if "shot" not in table.schema.names:
        return table
    shots = pa.array(_shots(table["t_s"].to_numpy(), starts_s), pa.int32())
    return table.set_column(table.schema.get_field_index("shot"), table.schema.field("shot"), shots)
