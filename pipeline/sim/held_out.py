"""The held-out films: simulated games that nothing was trained or tuned on, and the command that makes them.

    python -m pipeline.sim.held_out DIR --workers 2

Their seeds and look seeds (901 to 999) are reserved: training draws its looks from other seeds, thresholds are chosen
on other films. Nine films of games and thirty of drills (five hold every set and every fault once, with near misses),
two and a half minutes each, each with its own look; all four rule books, three kinds of building; rates as
broadcasters and gym cameras have them. Thresholds of actions, sets and faults were chosen with the games in view: for
those only the drills are held out, and of these not ``held_959``, whose misread floor was
looked into. ``elbowroom evaluate films`` measures games against their truth.
"""

from __future__ import annotations

import argparse
from fractions import Fraction
from pathlib import Path

from pipeline.sim.make import FilmRequest, MadeFilm, Plan, make_film

RESERVED_SEEDS = range(901, 1000)
"""Seeds and look seeds that only measuring may use."""

_NTSC = Fraction(30000, 1001)
_MINUTES = 2.4
_DRILL_MINUTES = 2.5


def _game(seed: int, rule_book: str, rate: Fraction, venue: str, size_px: tuple[int, int] = (1280, 720)) -> FilmRequest:
    return FilmRequest(
        Plan.GAME, seed=seed, look_seed=seed, rule_book=rule_book, rate=rate, venue=venue, minutes=_MINUTES,
        size_px=size_px,
    )  # fmt: skip


def _excerpt(seed: int, rule_book: str, rate: Fraction, venue: str) -> FilmRequest:
    return FilmRequest(Plan.EXCERPT, seed=seed, look_seed=seed, rule_book=rule_book, rate=rate, venue=venue)


def _drill(seed: int, rule_book: str, venue: str, part: tuple[int, int], scripts: tuple[str, ...] = ()) -> FilmRequest:
    return FilmRequest(
        Plan.DRILL, seed=seed, look_seed=seed, rule_book=rule_book, rate=Fraction(15), venue=venue,
        minutes=_DRILL_MINUTES, part=part, scripts=scripts,
    )  # fmt: skip


_POSTS = ("post_up", "high_low", "post_split", "fault_post_up_without_movement", "fault_pushed_out_catch")
_RARE_SCREENS = ("drag", "double_drag", "ram", "stack_ball_screen", "handoff", "sideline_handoff", "elevator", "hammer")


HELD_OUT: dict[str, FilmRequest] = {
    "held_901": _game(901, "nba", _NTSC, "arena"),
    "held_902": _game(902, "fiba", Fraction(25), "arena"),
    "held_903": _game(903, "ncaa", Fraction(15), "arena"),
    "held_904": _game(904, "nfhs", Fraction(15), "gym"),
    "held_905": _excerpt(905, "nba", Fraction(15), "arena"),
    "held_906": _game(906, "fiba", Fraction(15), "hall"),
    "held_907": _excerpt(907, "ncaa", Fraction(25), "hall"),
    "held_908": _game(908, "nba", Fraction(15), "arena", (960, 540)),
    "held_909": _excerpt(909, "nfhs", Fraction(15), "gym"),
    "held_931": _drill(931, "nba", "arena", (0, 5)),
    "held_932": _drill(932, "fiba", "hall", (1, 5)),
    "held_933": _drill(933, "ncaa", "arena", (2, 5)),
    "held_934": _drill(934, "nfhs", "gym", (3, 5)),
    "held_935": _drill(935, "fiba", "arena", (4, 5)),
    "held_936": _drill(936, "nba", "arena", (0, 5)),
    "held_937": _drill(937, "ncaa", "arena", (1, 5)),
    "held_938": _drill(938, "nba", "hall", (2, 5)),
    "held_939": _drill(939, "fiba", "arena", (3, 5)),
    "held_940": _drill(940, "nfhs", "gym", (4, 5)),
    "held_941": _drill(941, "nba", "arena", (0, 5)),
    "held_942": _drill(942, "fiba", "hall", (1, 5)),
    "held_943": _drill(943, "ncaa", "arena", (2, 5)),
    "held_944": _drill(944, "nfhs", "gym", (3, 5)),
    "held_945": _drill(945, "nba", "arena", (4, 5)),
    "held_946": _drill(946, "ncaa", "arena", (0, 5)),
    "held_947": _drill(947, "nfhs", "gym", (1, 5)),
    "held_948": _drill(948, "nba", "arena", (2, 5)),
    "held_949": _drill(949, "fiba", "arena", (3, 5)),
    "held_950": _drill(950, "ncaa", "hall", (4, 5)),
    "held_951": _drill(951, "nba", "arena", (0, 5)),
    "held_952": _drill(952, "fiba", "arena", (1, 5)),
    "held_953": _drill(953, "ncaa", "hall", (2, 5)),
    "held_954": _drill(954, "nfhs", "gym", (3, 5)),
    "held_955": _drill(955, "nba", "arena", (4, 5)),
    "held_956": _drill(956, "fiba", "arena", (0, 5)),
    "held_957": _drill(957, "ncaa", "arena", (1, 5)),
    "held_958": _drill(958, "nfhs", "hall", (2, 5)),
    "held_959": _drill(959, "nba", "gym", (3, 5)),
    "held_960": _drill(960, "fiba", "arena", (4, 5)),
}  # fmt: skip
"""By file stem. Seed and look seed are the number in the name."""
DEVELOPMENT: dict[str, FilmRequest] = {
    "drill_61": _drill(61, "nba", "arena", (0, 2)),
    "drill_62": _drill(62, "fiba", "hall", (1, 2)),
    "drill_63": _drill(63, "nba", "arena", (0, 5)),
    "drill_64": _drill(64, "fiba", "arena", (1, 5)),
    "drill_65": _drill(65, "ncaa", "hall", (2, 5)),
    "drill_66": _drill(66, "nba", "arena", (3, 5)),
    "drill_67": _drill(67, "fiba", "gym", (4, 5)),
    "drill_68": _drill(68, "nba", "arena", (0, 5)),
    "drill_69": _drill(69, "fiba", "hall", (1, 5)),
    "drill_70": _drill(70, "ncaa", "arena", (2, 5)),
    "drill_71": _drill(71, "nfhs", "gym", (3, 5)),
    "drill_72": _drill(72, "nba", "arena", (4, 5)),
    "drill_73": _drill(73, "ncaa", "arena", (0, 5)),
    "drill_74": _drill(74, "nfhs", "gym", (1, 5)),
    "drill_75": _drill(75, "nba", "arena", (2, 5)),
    "drill_76": _drill(76, "fiba", "arena", (3, 5)),
    "drill_77": _drill(77, "ncaa", "hall", (4, 5)),
    "drill_78": _drill(78, "nba", "arena", (0, 5)),
    "drill_79": _drill(79, "fiba", "arena", (1, 5)),
    "drill_80": _drill(80, "ncaa", "hall", (2, 5)),
    "drill_81": _drill(81, "nfhs", "gym", (3, 5)),
    "drill_82": _drill(82, "nba", "gym", (4, 5)),
    "drill_83": _drill(83, "ncaa", "hall", (0, 5)),
    "drill_84": _drill(84, "nfhs", "gym", (1, 5)),
    "drill_85": _drill(85, "nba", "gym", (2, 5)),
    "drill_86": _drill(86, "fiba", "arena", (3, 5)),
    "drill_87": _drill(87, "ncaa", "arena", (4, 5)),
    "drill_88": _drill(88, "nba", "hall", (0, 6), _POSTS),
    "drill_89": _drill(89, "fiba", "gym", (1, 6), _POSTS),
    "drill_90": _drill(90, "ncaa", "arena", (2, 6), _POSTS),
    "drill_91": _drill(91, "nfhs", "arena", (3, 6), _POSTS),
    "drill_92": _drill(92, "nba", "arena", (4, 6), _POSTS),
    "drill_93": _drill(93, "fiba", "hall", (5, 6), _POSTS),
    "drill_94": _drill(94, "ncaa", "gym", (0, 4), _RARE_SCREENS),
    "drill_95": _drill(95, "nfhs", "arena", (1, 4), _RARE_SCREENS),
    "drill_96": _drill(96, "nba", "arena", (2, 4), _RARE_SCREENS),
    "drill_97": _drill(97, "fiba", "arena", (3, 4), _RARE_SCREENS),
}
"""Films of drills to develop on."""
FILMS = HELD_OUT | DEVELOPMENT


def make_held_out(
    out: Path, *, workers: int, names: tuple[str, ...] = tuple(HELD_OUT), device_index: int | None = None
) -> list[MadeFilm]:
    """Make films into a folder: ``NAME.mp4`` and ``NAME_truth/``."""
    return [make_film(FILMS[name], out, name=name, workers=workers, device_index=device_index) for name in names]


def main(arguments: list[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.sim.held_out", description="Make the held-out films.")
    parser.add_argument("out", type=Path)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", nargs="*", choices=list(FILMS), default=list(HELD_OUT))
    parser.add_argument("--device-index", type=int, help="graphics card, where there are several")
    given = parser.parse_args(arguments)
    make_held_out(given.out, workers=given.workers, names=tuple(given.only), device_index=given.device_index)


if __name__ == "__main__":
    main()
