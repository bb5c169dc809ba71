"""Where a body is, by the trade's names."""

from __future__ import annotations

import numpy as np

from pipeline.court.places import place_names, places
from pipeline.sim.plays.deeds.run import Run


def place_of(run: Run, body: int, step: int) -> str:
    """The most telling named place of a body, ``"none"`` outside all."""
    return place_names(run.uv[step, body][None], run.book)[0] or "none"


def places_of(run: Run, body: int, step: int) -> set[str]:
    """Every named place that a body is in."""
    return {name for name, inside in places(run.uv[step, body][None], run.book).items() if bool(inside[0])}


def in_place(run: Run, body: int, names: tuple[str, ...]) -> np.ndarray:
    """(T,) whether a body is in one of the named places."""
    held = places(run.uv[:, body], run.book)
    return np.any([held[n] for n in names], axis=0)
