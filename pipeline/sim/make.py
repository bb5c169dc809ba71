"""Make a simulated film with its truth.

    python -m pipeline.sim.make crowded_drive --seed 3 --out DIR --workers 2

Comes in: a plan's name and a seed. Goes out: ``OUT/NAME.mp4`` and ``OUT/NAME_truth/``. Frames are drawn
by several processes, each with its own graphics context, and encoded in order by this one. Needs numpy,
scipy, OpenCV, moderngl, PyAV and pyarrow, nothing else.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import av
import numpy as np
from av.video.reformatter import ColorRange, Colorspace

from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.errors import MissingExtraError, SettingsError
from pipeline.sim.crew import FilmPlan, Style, edit
from pipeline.sim.drill import film_calls
from pipeline.sim.looks import Look, Venue, make_look
from pipeline.sim.plays.ball_screens import CLEAR_DRIVE, CROWDED_DRIVE
from pipeline.sim.plays.execution import Execution, Quality, sample_execution
from pipeline.sim.plays.free_play import TRANSITION
from pipeline.sim.plays.game import After, Call, Game, drive_execution, play_game
from pipeline.sim.plays.script import Value
from pipeline.sim.plays.scripts import GAME_SCRIPTS, script_named
from pipeline.sim.plays.stoppages import FREE_THROWS
from pipeline.sim.plays.weak_side import WEAK_SIDE_MOTION
from pipeline.sim.scene import SceneFrame
from pipeline.sim.truth import SeenBox, SeenFrame, write_truth

if TYPE_CHECKING:
    from pipeline.sim.settings import SimSettings

CHUNK = 10
RATES = (Fraction(25), Fraction(30), Fraction(30000, 1001), Fraction(50))


class Plan(Enum):
    """What a film holds: one possession of a script, an excerpt with cuts, minutes of a game, or a drill of scripts."""

    WEAK_SIDE_MOTION = "weak_side_motion"
    CROWDED_DRIVE = "crowded_drive"
    CLEAR_DRIVE = "clear_drive"
    UNSCRIPTED = "unscripted"
    TRANSITION = "transition"
    FREE_THROWS = "free_throws"
    EXCERPT = "excerpt"
    GAME = "game"
    DRILL = "drill"


@dataclass(frozen=True, slots=True)
class FilmRequest:
    """Everything that decides a film. Same request, same truth.

    Attributes
    ----------
    plan : Plan
    seed : int
    rule_book : str, optional
        Else drawn from the seed.
    look_seed : int, optional
        Look of the film; else the seed.
    venue : str
        "arena", "hall" or "gym".
    size_px : tuple of int
    rate : Fraction, optional
        Frames per second; else drawn from the seed.
    minutes : float
        Length of a GAME or a DRILL.
    part : tuple of int
        Which of how many parts of a drill's cards the film takes, from 0.
    scripts : tuple of str
        The scripts whose cards a drill deals; all when empty.
    bodies : int, optional
        Others in the paint in CROWDED_DRIVE (default 5) and CLEAR_DRIVE (default 2).
    quality : str, optional
        "good" or "bad" execution of the set; else drawn.
    bit_rate : int
        Bits per second of the video at 1280x720; other sizes in proportion to their pixels.
    longest_s : float, optional
        Cut the film here.
    walk_in : bool
        Begin with the ball being brought over half court; else in the half-court set.
    """

    plan: Plan
    seed: int
    rule_book: str | None = None
    look_seed: int | None = None
    venue: str = "arena"
    size_px: tuple[int, int] = (1280, 720)
    rate: Fraction | None = None
    minutes: float = 5.0
    part: tuple[int, int] = (0, 1)
    scripts: tuple[str, ...] = ()
    bodies: int | None = None
    quality: str | None = None
    bit_rate: int = 3_500_000
    longest_s: float | None = None
    walk_in: bool = True


def calls_of(request: FilmRequest, rng: np.random.Generator) -> list[Call]:
    """The possessions of a plan."""
    plan = request.plan
    if plan is Plan.EXCERPT:
        return _excerpt(rng)
    if plan is Plan.GAME:
        return _game(rng, request.minutes * 60.0)
    if plan is Plan.DRILL:
        return film_calls(request.part, request.minutes, rng, request.scripts)
    script = script_named(plan.value)
    if plan is Plan.CROWDED_DRIVE:
        execution = drive_execution(rng, 5 if request.bodies is None else request.bodies)
    elif plan is Plan.CLEAR_DRIVE:
        execution = drive_execution(rng, 2 if request.bodies is None else request.bodies, made=True)
    else:
        quality = Quality(request.quality) if request.quality else (Quality.GOOD, Quality.BAD)[int(rng.integers(2))]
        execution = sample_execution(rng, quality)
        return [Call(script, execution, dials=script.draw(rng, quality), quality=quality)]
    return [Call(script, execution)]


def _excerpt(rng: np.random.Generator) -> list[Call]:
    """Two minutes: the set, two crowded drives, a near miss, free throws and a break, with whistles between."""
    good = sample_execution(rng, Quality.GOOD)
    return [
        Call(WEAK_SIDE_MOTION, good, dials=WEAK_SIDE_MOTION.draw(rng, Quality.GOOD)),
        Call(CROWDED_DRIVE, drive_execution(rng, 5, made=False), After.WHISTLE, dead_s=14.0),
        Call(FREE_THROWS, Execution(made=False), same_team=True),
        Call(CROWDED_DRIVE, drive_execution(rng, 4, made=False), After.WHISTLE, dead_s=12.0),
        Call(CROWDED_DRIVE, drive_execution(rng, 6, made=False)),
        Call(TRANSITION, Execution(made=True)),
    ]


def _game(rng: np.random.Generator, seconds: float) -> list[Call]:
    """Possessions for so many seconds of film, roughly 15 s each with what lies between."""
    calls: list[Call] = []
    film = 0.0
    names = GAME_SCRIPTS
    shares = np.array([0.2, 0.16, 0.14, 0.36, 0.1, 0.04])
    while film < seconds + 20:
        script = names[int(rng.choice(len(names), p=shares))]
        whistle = bool(rng.random() < 0.35)
        if script is FREE_THROWS:
            if not calls or calls[-1].after is not After.WHISTLE:
                continue
            calls.append(Call(script, Execution(made=bool(rng.random() < 0.7)), same_team=True))
            film += 15
            continue
        if script is TRANSITION and (not calls or calls[-1].after is After.WHISTLE):
            continue
        dials: dict[str, Value] = {}
        quality = Quality.GOOD
        if script is CROWDED_DRIVE:
            execution = drive_execution(rng, int(rng.choice([4, 5, 5, 6, 7])))
        elif script is CLEAR_DRIVE:
            execution = drive_execution(rng, int(rng.integers(1, 4)))
        else:
            quality = (Quality.GOOD, Quality.BAD)[int(rng.integers(2))]
            execution = sample_execution(rng, quality)
            dials = script.draw(rng, quality)
        after = After.WHISTLE if whistle else After.PLAY_ON
        dead = float(rng.uniform(9, 16))
        calls.append(Call(script, execution, after, dead_s=dead, dials=dials, quality=quality))
        film += 18 + (14 if whistle else 0)
    return calls


def look_of(request: FilmRequest) -> Look:
    """The look of a film: its rule book is the request's or the seed's."""
    seed = request.seed if request.look_seed is None else request.look_seed
    return make_look(seed, rule_book=request.rule_book, venue=Venue(request.venue))


def plan_film(request: FilmRequest, look: Look) -> FilmPlan:
    """Simulate and edit the film of a request; nothing is drawn."""
    book: RuleBook = RULE_BOOKS[look.rule_book]
    rng = np.random.default_rng([request.seed, 9001])
    calls = calls_of(request, rng)
    style = {Plan.EXCERPT: Style.BROADCAST, Plan.GAME: Style.BROADCAST, Plan.DRILL: Style.CUTAWAY}.get(
        request.plan, Style.ONE_SHOT
    )
    walk_in = request.walk_in and request.plan is not Plan.DRILL
    game: Game = play_game(calls, request.seed, book, first_offence=int(rng.integers(2)), walk_in=walk_in)
    rate = request.rate or RATES[int(rng.integers(3))]
    longest = request.longest_s
    if request.plan in (Plan.GAME, Plan.DRILL):
        longest = min(longest, request.minutes * 60.0) if longest else request.minutes * 60.0
    return edit(
        game,
        request.seed,
        style=style,
        rate=rate,
        size_px=request.size_px,
        k1=look.picture.lens_k1,
        longest_s=longest,
        venue=look.arena.venue,
    )


# ---- drawing in several processes ------------------------------------------------------------

_RENDERER: dict[str, Any] = {}


def _open_renderer(look: Look, size_px: tuple[int, int], device_index: int | None) -> None:
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    os.environ.setdefault("LP_NUM_THREADS", "1")
    from pipeline.sim.render.renderer import FilmRenderer

    _RENDERER["film"] = FilmRenderer(look, size_px, device_index=device_index)


def _draw(frames: list[tuple[SceneFrame, bool]]) -> list[tuple[np.ndarray, SeenFrame]]:
    renderer = _RENDERER["film"]
    out = []
    for frame, labelled in frames:
        picture = renderer.draw(frame)
        boxes: tuple[SeenBox, ...] = ()
        ball = None
        if labelled:
            boxes = tuple(SeenBox(b.name, b.actor, b.box_px, b.visible) for b in renderer.boxes(frame))
            ball = renderer.ball_place_ft(frame)
        place = (np.nan,) * 3 if ball is None else tuple(float(v) for v in ball)
        out.append((picture, SeenFrame(boxes, place)))  # type: ignore[arg-type]
    return out


def drawn_frames(
    plan: FilmPlan, look: Look, workers: int, device_index: int | None = None
) -> Iterator[tuple[np.ndarray, SeenFrame]]:
    """Pictures (BGR) and boxes of every frame of the film, in order.

    Parameters
    ----------
    plan : FilmPlan
    look : Look
    workers : int
        Processes; 1 draws in this one.
    device_index : int, optional
        Graphics card, where there are several.
    """

    def chunks() -> Iterator[list[tuple[SceneFrame, bool]]]:
        for first in range(0, plan.frames, CHUNK):
            yield [
                (plan.scene_frame(k), plan.shots[plan.shot_of(k)].live)
                for k in range(first, min(first + CHUNK, plan.frames))
            ]

    if workers <= 1:
        _open_renderer(look, plan.size_px, device_index)
        for chunk in chunks():
            yield from _draw(chunk)
        return
    context = multiprocessing.get_context("spawn")
    with context.Pool(workers, initializer=_open_renderer, initargs=(look, plan.size_px, device_index)) as pool:
        waiting = []
        for chunk in chunks():
            waiting.append(pool.apply_async(_draw, (chunk,)))
            if len(waiting) > 2 * workers:
                yield from waiting.pop(0).get()
        for result in waiting:
            yield from result.get()


# ---- encoding ------------------------------------------------------------


class FilmWriter:
    """H.264 in MP4, constrained bit rate as a broadcaster sends it; use as a context manager."""

    def __init__(self, path: Path, size_px: tuple[int, int], rate: Fraction, bit_rate: int) -> None:
        self._container = av.open(str(path), "w")
        stream: Any = self._container.add_stream("libx264", rate=rate)
        stream.width, stream.height = size_px
        stream.pix_fmt = "yuv420p"
        stream.codec_context.time_base = 1 / rate
        stream.bit_rate = bit_rate
        stream.options = {
            "preset": "slow",
            "maxrate": str(int(bit_rate * 1.6)),
            "bufsize": str(bit_rate * 3),
            "g": str(round(float(rate) * 2)),
            "threads": "2",
        }
        stream.codec_context.color_range = 1
        stream.codec_context.colorspace = 1
        self._stream = stream
        self._count = 0
        self._tick = 1 / rate

    def __enter__(self) -> FilmWriter:
        return self

    def __exit__(self, *_: object) -> None:
        for packet in self._stream.encode():
            self._container.mux(packet)
        self._container.close()

    def add(self, picture_bgr: np.ndarray) -> None:
        """Append one frame."""
        frame = av.VideoFrame.from_ndarray(picture_bgr, format="bgr24")
        frame = frame.reformat(format="yuv420p", dst_colorspace=Colorspace.ITU709, dst_color_range=ColorRange.MPEG)
        frame.pts = self._count
        frame.time_base = self._tick
        self._count += 1
        for packet in self._stream.encode(frame):
            self._container.mux(packet)


@dataclass(frozen=True, slots=True)
class MadeFilm:
    """Where a film and its truth lie."""

    film: Path
    truth: Path
    seconds: float
    frames: int
    faults: int


def make_film(
    request: FilmRequest,
    out: Path,
    *,
    name: str | None = None,
    workers: int = 2,
    device_index: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> MadeFilm:
    """Simulate, draw, encode and write the truth.

    Parameters
    ----------
    request : FilmRequest
    out : Path
        Folder; made when it is not there.
    name : str, optional
        File stem; the plan and seed when left out.
    workers : int
        Drawing processes.
    device_index : int, optional
        Graphics card, where there are several.
    progress : callable, optional
        Called with frames done and frames in all.

    Raises
    ------
    MissingExtraError
        When the renderer's packages are not installed.
    SettingsError
        When the request cannot be met.
    """
    try:
        import moderngl  # noqa: F401
    except ImportError as error:
        raise MissingExtraError("Drawing needs moderngl, which is not installed; install elbowroom[sim].") from error
    look = look_of(request)
    plan = plan_film(request, look)
    stem = name or f"{request.plan.value}_{request.seed}"
    out.mkdir(parents=True, exist_ok=True)
    film = out / f"{stem}.mp4"
    half_done = out / f".{stem}.{os.getpid()}.mp4"
    seen: list[SeenFrame] = []
    share = request.size_px[0] * request.size_px[1] / (1280 * 720)
    try:
        with FilmWriter(half_done, request.size_px, plan.rate, max(int(request.bit_rate * share), 60_000)) as writer:
            for picture, labels in drawn_frames(plan, look, workers, device_index):
                writer.add(picture)
                seen.append(labels)
                if progress is not None:
                    progress(len(seen), plan.frames)
        os.replace(half_done, film)
    finally:
        half_done.unlink(missing_ok=True)
    about = {
        "plan": request.plan.value,
        "request_seed": request.seed,
        "look": {
            "seed": look.seed,
            "rule_book": look.rule_book,
            "venue": request.venue,
            "lens_k1": look.picture.lens_k1,
        },
    }
    truth = write_truth(plan, seen, out / f"{stem}_truth", about)
    faults = sum(
        1 for s in plan.game.stretches for c in s.possession.paint_counts if c.count >= 5 and c.kind == "entry"
    )
    return MadeFilm(film, truth, plan.seconds, plan.frames, faults)


def request_from(**given: Any) -> FilmRequest:
    """A request from plain values, as the command line has them.

    Raises
    ------
    SettingsError
        When a plan, rule book or venue is not known.
    """
    try:
        plan = Plan(given.pop("plan"))
    except ValueError as error:
        raise SettingsError(f"{error}; the plans are {', '.join(p.value for p in Plan)}.") from error
    book = given.get("rule_book")
    if book is not None and book not in RULE_BOOKS:
        raise SettingsError(f"There is no rule book '{book}'; the books are {', '.join(RULE_BOOKS)}.")
    venue = given.get("venue", "arena")
    if venue not in [v.value for v in Venue]:
        raise SettingsError(f"There is no venue '{venue}'; the venues are {', '.join(v.value for v in Venue)}.")
    rate = given.pop("rate", None)
    request = FilmRequest(plan=plan, **given)
    return replace(request, rate=Fraction(str(rate))) if rate is not None else request


def sim_command(
    settings: SimSettings, out: Path, *, name: str | None = None, progress: Callable[[int, int], None] | None = None
) -> MadeFilm:
    """What ``elbowroom sim`` calls: make the film that the settings describe into a folder."""
    given = settings.model_dump(exclude={"width_px", "height_px", "workers"})
    request = request_from(size_px=(settings.width_px, settings.height_px), **given)
    return make_film(request, out, name=name, workers=settings.workers, progress=progress)


def main(arguments: list[str] | None = None) -> None:
    """Command line of a machine that only renders."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.sim.make", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("plan", choices=[p.value for p in Plan])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--name")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--rule-book", choices=list(RULE_BOOKS))
    parser.add_argument("--look-seed", type=int)
    parser.add_argument("--venue", default="arena")
    parser.add_argument("--width", type=int, default=1280)
    parser.add_argument("--height", type=int, default=720)
    parser.add_argument("--rate")
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--bodies", type=int)
    parser.add_argument("--quality", choices=[q.value for q in Quality])
    parser.add_argument("--bit-rate", type=int, default=3_500_000)
    parser.add_argument("--longest", type=float)
    a = parser.parse_args(arguments)
    request = request_from(
        plan=a.plan, seed=a.seed, rule_book=a.rule_book, look_seed=a.look_seed, venue=a.venue,
        size_px=(a.width, a.height), rate=a.rate, minutes=a.minutes, bodies=a.bodies, quality=a.quality,
        bit_rate=a.bit_rate, longest_s=a.longest,
    )  # fmt: skip
    make_film(request, a.out, name=a.name, workers=a.workers)


if __name__ == "__main__":
    main()
