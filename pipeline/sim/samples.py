"""The shipped sample clips: which films they are, and the command that makes them again.

    python -m pipeline.sim.samples sample_clips --workers 2

Three clips of one possession (the crowded-paint fault, a clear drive, the weak-side motion set) and an
excerpt of about two minutes with cuts, a replay, close-ups and the crowd. They share no look.
"""

from __future__ import annotations

import argparse
from fractions import Fraction
from pathlib import Path

from pipeline.sim.make import FilmRequest, MadeFilm, Plan, make_film

SAMPLES: dict[str, FilmRequest] = {
    "crowded_drive": FilmRequest(
        Plan.CROWDED_DRIVE, seed=3, rule_book="nba", look_seed=12, rate=Fraction(25), bit_rate=1_350_000, bodies=5,
        longest_s=15.0,
    ),
    "clear_drive": FilmRequest(
        Plan.CLEAR_DRIVE, seed=4, rule_book="fiba", look_seed=98, rate=Fraction(25), bit_rate=1_350_000, bodies=2,
        longest_s=14.0, walk_in=False,
    ),
    "weak_side_motion": FilmRequest(
        Plan.WEAK_SIDE_MOTION, seed=6, rule_book="ncaa", look_seed=32, rate=Fraction(25), bit_rate=1_350_000,
        quality="good", longest_s=15.0, walk_in=False,
    ),
    "excerpt": FilmRequest(Plan.EXCERPT, seed=3, rule_book="fiba", look_seed=71, rate=Fraction(25), bit_rate=670_000),
}  # fmt: skip
"""By file stem. Bit rates are chosen so that all clips together stay under 25 MB with their truth."""


def make_samples(out: Path, *, workers: int, names: tuple[str, ...] = tuple(SAMPLES)) -> list[MadeFilm]:
    """Make the sample clips into a folder: ``NAME.mp4`` and ``NAME_truth/``."""
    return [make_film(SAMPLES[name], out, name=name, workers=workers) for name in names]


def main(arguments: list[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.sim.samples", description="Make the sample clips.")
    parser.add_argument("out", type=Path)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", nargs="*", choices=list(SAMPLES), default=list(SAMPLES))
    given = parser.parse_args(arguments)
    make_samples(given.out, workers=given.workers, names=tuple(given.only))


if __name__ == "__main__":
    main()
