"""A drill: a game of scripted possessions without pictures, as truth tables, in seconds.

    python -m pipeline.sim.drill OUT --seed 3 --possessions 40
    python -m pipeline.sim.drill OUT --seed 3 --script ball_screen --script post_up --book nba --rate 25

Comes in: script names and a seed. Goes out: one folder ``OUT/drill_SEED`` with shots, frames, tracks, ball, touches,
possessions, actions, faults and sets truth in the pipeline's schemas (and ``truth.json``: script, dials and quality of
every possession). Scripts come in equal parts, good, bad and nearly wrong, both sides and both ends in turn; the rule
book goes by the seed unless one is named. Every possession is a shot of its own.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.ball.tables import BALL
from pipeline.court.rule_books import RULE_BOOKS
from pipeline.errors import SettingsError
from pipeline.film.tables import FRAMES
from pipeline.players.tables import TRACKS
from pipeline.sim.crew import FilmPlan, Shot, View
from pipeline.sim.plays.execution import Execution, Quality, sample_execution
from pipeline.sim.plays.game import After, Call, play_game
from pipeline.sim.plays.possession import Possession
from pipeline.sim.plays.script import Choice, Opening, Script
from pipeline.sim.plays.scripts import FAULT_SCRIPTS, GAME_SCRIPTS, SCRIPTS, SET_SCRIPTS, script_named
from pipeline.sim.plays.weak_side import WEAK_SIDE_MOTION
from pipeline.sim.truth import TABLES, plain_value, possessions_table, shots_table, touches_table
from pipeline.sim.truth_events import event_tables

BOOKS = ("nba", "fiba", "ncaa", "nfhs")
_NOT_DRILLED = frozenset({Opening.FREE_THROWS})
SETS_TWICE = frozenset({"weak_side_motion"})
"""Sets whose bad and nearly-right ways are filmed too, four of each."""
CARDS_SEED, SHORTEST_S = 616, 10.5
"""Order of the cards; no possession with its cutaway is shorter."""
_PICTURE_TABLES = frozenset({"cameras", "boxes", "clock"})


@dataclass(frozen=True, slots=True)
class DrillRequest:
    """Everything that decides a drill. Same request, same truth.

    Attributes
    ----------
    seed : int
    possessions : int, optional
        Two of every script and quality when left out.
    scripts : tuple of str
        All when empty.
    book : str, optional
        Rule book; by the seed when left out.
    rate : Fraction
        Rows of tracks per second.
    """

    seed: int
    possessions: int | None = None
    scripts: tuple[str, ...] = ()
    book: str | None = None
    rate: Fraction = Fraction(25)


def drill_calls(scripts: Sequence[Script], count: int, rng: np.random.Generator) -> list[Call]:
    """So many possessions of the scripts in turn, qualities, ways and sides in turn too."""
    calls = []
    for number in range(count):
        script = scripts[number % len(scripts)]
        turn = number // len(scripts)
        quality = script.qualities[turn % len(script.qualities)]
        way = turn // len(script.qualities)
        calls.append(script_call(script, quality, rng, way=way, side=1 if (number + turn) % 2 == 0 else -1))
    return calls


def film_cards() -> list[tuple[Script, Quality, int]]:
    """What films of drills show: every script in every way once, sets also run badly or nearly."""
    cards: list[tuple[Script, Quality, int]] = []
    for number, script in enumerate(s for s in SCRIPTS.values() if s not in GAME_SCRIPTS or s is WEAK_SIDE_MOTION):
        ways = next((d for d in script.dials if isinstance(d, Choice)), None)
        for place, quality in enumerate(script.qualities):
            values = len(ways.values(quality)) if ways is not None else 1
            if place and script.name in SETS_TWICE:
                values = min(values, 4)
            elif place and script.qualities[0] is Quality.GOOD:
                # besides the good runs one of the others, in turn
                values = int(place == 1 + number % max(len(script.qualities) - 1, 1))
            cards += [(script, quality, way) for way in range(values)]
    drawn = np.random.default_rng(CARDS_SEED).permutation(len(cards))
    dealt: dict[tuple[str, Quality], int] = {}
    ranked = []
    for card in (cards[k] for k in drawn):
        script, quality, _ = card
        number = dealt.get((script.name, quality), 0)
        dealt[script.name, quality] = number + 1
        ranked.append((_turn(script, quality, number), card))
    return [card for _, card in sorted(ranked, key=lambda r: r[0])]


def _turn(script: Script, quality: Quality, number: int) -> int:
    """Which cards come first: each set and fault once (the weak-side set in four ways), near misses, all the rest."""
    of_set, of_fault = script in SET_SCRIPTS, script in FAULT_SCRIPTS
    shown = 4 if script is WEAK_SIDE_MOTION else 1
    if ((of_set and quality is Quality.GOOD) or (of_fault and quality is Quality.BAD)) and number < shown:
        return 0
    return 1 if (of_set or of_fault) and quality is Quality.NEAR_MISS and number < 1 else 2


def film_calls(
    part: tuple[int, int], minutes: float, rng: np.random.Generator, scripts: Sequence[str] = ()
) -> list[Call]:
    """Possessions of one film of a drill: every so-many-th card, round again until the minutes are full.

    Where scripts are named, only their cards are dealt.
    """
    cards = [c for c in film_cards() if not scripts or c[0].name in scripts][part[0] :: part[1]]
    count = max(int(minutes * 60 / SHORTEST_S) + 1, 1)
    calls = []
    for number in range(count):
        script, quality, way = cards[number % len(cards)]
        call = script_call(script, quality, rng, way=way, side=1 if rng.random() < 0.5 else -1)
        calls.append(replace(call, dead_s=float(rng.uniform(3.0, 4.0))))
    return calls


def script_call(script: Script, quality: Quality, rng: np.random.Generator, *, way: int, side: int) -> Call:
    """One possession of a script, its dials drawn."""
    dialled = Quality.GOOD if quality is Quality.NEAR_MISS else quality
    execution: Execution = sample_execution(rng, dialled)
    if script.name == "crowded_drive":
        execution = replace(execution, bodies=int(rng.choice([4, 5, 6])), contact_ft=2.3)
    elif script.name == "clear_drive":
        execution = replace(execution, bodies=int(rng.integers(1, 4)), contact_ft=2.3)
    drawn = script.draw(rng, quality, turn=way)
    return Call(script, execution, After.WHISTLE, dead_s=0.6, side=side, dials=drawn, quality=quality)


def plan_drill(request: DrillRequest) -> FilmPlan:
    """The possessions, each a shot of its own.

    Raises
    ------
    SettingsError
        When a script or a rule book is not known.
    """
    name = request.book or BOOKS[request.seed % len(BOOKS)]
    if name not in RULE_BOOKS:
        raise SettingsError(f"There is no rule book '{name}'; the books are {', '.join(RULE_BOOKS)}.")
    scripts = [script_named(n) for n in request.scripts] or list(SCRIPTS.values())
    scripts = [s for s in scripts if s.opening not in _NOT_DRILLED]
    if not scripts:
        raise SettingsError("None of these scripts can be drilled; free throws follow a possession.")
    count = request.possessions or 2 * sum(len(s.qualities) for s in scripts)
    rng = np.random.default_rng([request.seed, 515])
    calls = drill_calls(scripts, count, rng)
    game = play_game(calls, request.seed, RULE_BOOKS[name], first_offence=int(rng.integers(2)), walk_in=False)
    shots: list[Shot] = []
    start = 0.0
    for stretch in game.stretches:
        end = start + float(int((stretch.end_s - stretch.start_s) * request.rate) / request.rate)
        shots.append(Shot(View.MAIN, start, end, stretch.start_s, 1.0, 0, "cut" if shots else "start"))
        start = end
    numbers = tuple(str(n) for n in range(10))
    return FilmPlan(game, tuple(shots), (), (), request.rate, (1280, 720), numbers, request.seed)


def drill_tables(plan: FilmPlan) -> dict[str, pa.Table]:
    """All truth tables of a drill but those of the picture."""
    tables = {
        "shots": shots_table(plan),
        "frames": FRAMES.from_columns(
            {
                "frame": np.arange(plan.frames),
                "t_s": [plan.time_of(k) for k in range(plan.frames)],
                "shot": [plan.shot_of(k) for k in range(plan.frames)],
            }
        ),
        "touches": touches_table(plan),
        "possessions": possessions_table(plan),
    }
    return tables | event_tables(plan) | _paths(plan)


def _paths(plan: FilmPlan) -> dict[str, pa.Table]:
    """Tracks and ball, sampled at the drill's rate."""
    tracks: list[dict[str, np.ndarray]] = []
    balls: list[dict[str, Any]] = []
    shots = np.array([plan.shot_of(k) for k in range(plan.frames)])
    times = np.arange(plan.frames) / float(plan.rate)
    for number, shot in enumerate(plan.shots):
        frames = np.flatnonzero(shots == number)
        p = plan.game.stretches[number].possession
        k = np.clip((times[frames] - shot.start_s) / p.dt_s, 0, len(p.xy_ft) - 1)
        xy, velocity, ball = (_between(path, k) for path in (p.xy_ft, p.velocity_ft_s, p.ball_ft))
        holder = p.holder[np.round(k).astype(int)]
        tracks.append(_track_columns(frames, times[frames], number, xy, velocity, plan.numbers))
        balls.append(_ball_columns(frames, times[frames], number, ball, holder))
    joined = {name: np.concatenate([c[name] for c in tracks]) for name in tracks[0]}
    boxes = {name: np.full(len(joined["frame"]), None) for name in ("x1_px", "y1_px", "x2_px", "y2_px")}
    ball_rows = {name: np.concatenate([c[name] for c in balls]) for name in balls[0]}
    return {"tracks": TRACKS.from_columns(joined | boxes), "ball": BALL.from_columns(ball_rows)}


def _between(path: np.ndarray, k: np.ndarray) -> np.ndarray:
    """Values of a path (T, ...) at steps that need not be whole."""
    a = k.astype(int)
    b = np.minimum(a + 1, len(path) - 1)
    w = (k - a).reshape(-1, *([1] * (path.ndim - 1)))
    return np.asarray((1 - w) * path[a] + w * path[b])


def _track_columns(
    frames: np.ndarray, times: np.ndarray, shot: int, xy: np.ndarray, velocity: np.ndarray, numbers: Sequence[str]
) -> dict[str, np.ndarray]:
    count, actors = xy.shape[:2]
    actor = np.tile(np.arange(actors), count)
    return {
        "frame": np.repeat(frames, actors),
        "t_s": np.repeat(times, actors),
        "shot": np.full(count * actors, shot),
        "track": actor,
        "role": np.where(actor >= 10, "official", "player"),
        "team": np.where(actor >= 10, -1, actor // 5),
        "jersey": np.array([None if a >= 10 else numbers[a] for a in actor], dtype=object),
        "x_ft": xy[..., 0].ravel(),
        "y_ft": xy[..., 1].ravel(),
        "vx_ft_s": velocity[..., 0].ravel(),
        "vy_ft_s": velocity[..., 1].ravel(),
        "sigma_ft": np.zeros(count * actors),
        "observed": np.ones(count * actors, dtype=bool),
        "score": np.ones(count * actors),
    }


def _ball_columns(
    frames: np.ndarray, times: np.ndarray, shot: int, ball: np.ndarray, holder: np.ndarray
) -> dict[str, np.ndarray]:
    count = len(frames)
    return {
        "frame": frames,
        "t_s": times,
        "shot": np.full(count, shot),
        "x_px": np.full(count, None),
        "y_px": np.full(count, None),
        "x_ft": ball[:, 0],
        "y_ft": ball[:, 1],
        "z_ft": ball[:, 2],
        "holder": np.array([None if h < 0 else int(h) for h in holder], dtype=object),
        "observed": np.ones(count, dtype=bool),
        "score": np.ones(count),
    }


def write_drill(request: DrillRequest, out: Path) -> Path:
    """Write the truth tables of a drill into ``OUT/drill_SEED``."""
    plan = plan_drill(request)
    folder = out / f"drill_{request.seed}"
    folder.mkdir(parents=True, exist_ok=True)
    tables = drill_tables(plan)
    for spec in TABLES:
        if spec.name not in _PICTURE_TABLES:
            spec.write(tables[spec.name], folder)
    about = {
        "seed": request.seed,
        "rule_book": plan.game.book.name,
        "frames_per_second": f"{plan.rate.numerator}/{plan.rate.denominator}",
        "left_out": [call_name(call) for call in plan.game.left_out],
        "possessions": [_about(number, s.possession) for number, s in enumerate(plan.game.stretches)],
    }
    text = json.dumps(about, indent=2, default=plain_value) + "\n"
    (folder / "truth.json").write_text(text, encoding="utf-8")
    return folder


def call_name(call: Call) -> str:
    """Script, quality and dials of a possession in words."""
    return f"{call.script.name} ({call.quality.value}): {dict(call.dials)}"


def _about(number: int, p: Possession) -> dict[str, Any]:
    return {
        "possession": number,
        "script": p.script.name,
        "quality": p.quality.value,
        "attacked_end": p.end,
        "side": p.side,
        "dials": dict(p.dials),
        "execution": asdict(p.execution),
    }


def main(arguments: list[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.sim.drill", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--possessions", type=int)
    parser.add_argument("--script", action="append", default=[], choices=list(SCRIPTS))
    parser.add_argument("--book", choices=list(RULE_BOOKS))
    parser.add_argument("--rate", type=Fraction, default=Fraction(25))
    a = parser.parse_args(arguments)
    folder = write_drill(DrillRequest(a.seed, a.possessions, tuple(a.script), a.book, a.rate), a.out)
    left_out = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["left_out"]
    for name in left_out:
        print(f"Left out, no dials would do: {name}", file=sys.stderr)  # noqa: T201


if __name__ == "__main__":
    main()
