"""Runs a film on a cluster with networks that know what is in it; a process of its own, as a user's is.

``main(FILM, LIBRARY, ADDRESS, MARKS)``, from an import: the workers must find the networks by name. Each node leaves
marks of its workers that looked; on one whose environment says so they are so slow that it can be ended while they are
at it.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import numpy as np
import supervision as sv
from acted_film import KnowingAreas, KnowingDetector, Play, quick

from pipeline.errors import ClusterError, FilmError
from pipeline.film.fetching import FilmCache, FilmPlace, found_here
from pipeline.library.games import Library
from pipeline.night.cluster import RayCrew, Share
from pipeline.night.run import Networks, run_film
from pipeline.night.vision import Eyes

PLAY = Play(inside=6)
SETTINGS = quick(piece_s=0.9, stretch_s=0.4, workers=1).with_rule_book("nba")
NODE, SLOW_S = "ELBOWROOM_TEST_NODE", "ELBOWROOM_TEST_SLOW_S"


class MarkingDetector(KnowingDetector):
    """Says which node looked."""

    def __init__(self, marks: Path) -> None:
        super().__init__(PLAY)
        self.marks = marks

    def detect(self, frames_bgr: list[np.ndarray]) -> list[sv.Detections]:
        (self.marks / f"{os.environ.get(NODE, 'here')} {os.getpid()}").touch()
        time.sleep(float(os.environ.get(SLOW_S, "0")))
        return super().detect(frames_bgr)


def eyes(marks: Path, _lookers: int = 1) -> Eyes:
    return Eyes(KnowingAreas(), MarkingDetector(marks))


def one_core(_nodes: Sequence[object]) -> Share:
    return Share(1)


def main(film: str, library: str, address: str, marks: str) -> None:
    crew = RayCrew(address, one_core)
    networks = Networks(
        open=partial(eyes, Path(marks)),
        digests=lambda: {"areas": "a"},
        apart=partial(eyes, Path(marks)),
        lookers=lambda: crew.lookers,
        crew=lambda: crew,
    )

    run_film(
        Path(film), Library(Path(library)), networks, SETTINGS, book=None, progress=lambda _: lambda _done, _total: None
    )


def ask(address: str) -> None:
    """Things that cannot be done on a cluster, and what it says of them."""
    place = FilmPlace(Path("/nowhere/film.mp4"), "0")
    with RayCrew(address, one_core) as crew:
        assert list(crew.spread(abs, [-1, 2, -3])) == [1, 2, 3]
        try:
            list(crew.spread(partial(_find, place), [SETTINGS.night.fetched_films]))
        except FilmError as error:
            sys.stdout.write(f"{error} ({type(error.__cause__).__name__})\n")
        crew._code = "of another version"
        try:
            list(crew.spread(abs, [1]))
        except ClusterError as error:
            sys.stdout.write(f"{error}\n")
    try:
        with RayCrew(address, lambda _nodes: Share(64)) as crew:
            sys.stdout.write(f"{crew.lookers}\n")
    except ClusterError as error:
        sys.stdout.write(f"{error}\n")


def _find(place: FilmPlace, cache: FilmCache) -> Path:
    return found_here(place, cache, "that machine")
