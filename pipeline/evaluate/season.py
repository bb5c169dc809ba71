"""A season rehearsed: a library of 82 games, made by the simulator without pictures, to try the program at that size.

    python -m pipeline.evaluate.season OUT --games 82 --seed 7 --base 8

Comes in: a seed. Goes out: ``OUT/drills`` (the base games' true tables) and ``OUT/library``, in which every game has
its tables as a film's chain would have left them (:mod:`pipeline.sim.season`), went through the ordinary stages
(actions, sets, spacing and faults) and has its candidates in the tag store. Staff have decided one tag in five, made
reels, saved searches; a night's record stands for each game. Making possessions costs most, so a few base games are
made and every game takes its possessions from all of them, in an order, with errors, clubs, people and a day of its
own.

The stages cost most after that: with ``--distinct 20`` only so many games are made and run, and each of the others is a
copy of the tables of one of them, as another game: another day, other clubs and people, tags of its own.

What is there is not made again: a killed run goes on where it stopped, and ``--part 1/2`` and ``--part 2/2`` may run
side by side. Staff's part comes when all games are there.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import shutil
import socket
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

from filelock import FileLock

from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.rule_books import rule_book
from pipeline.errors import SettingsError
from pipeline.film.tables import CLOCK, FRAMES, SHOTS
from pipeline.library.games import GAMES, UNFINISHED, Game, Library
from pipeline.library.nights import FilmNight, FilmState, Night, write_night
from pipeline.night.play_stages import bring_tags, play_stages
from pipeline.night.stages import run_stage
from pipeline.players.tables import TRACKS
from pipeline.settings import Settings
from pipeline.sim.drill import DrillRequest, write_drill
from pipeline.sim.season import (
    POSSESSIONS_A_GAME,
    Club,
    Drawn,
    Fixture,
    fixtures,
    game_tables,
    read_drill,
)
from pipeline.sim.seen_error import SeenError
from pipeline.tags import ReelItem, State, TagStore

BOOK = "nba"
BASE_GAMES = 8
RATE = Fraction(25, 2)
"""Analysed frames a second, as the chain looks at film."""

DECIDED_OF = 5
"""Every so-many-th tag is decided."""

REELS, CLIPS = 24, 15
STAFF = ("Ada", "Ben", "Chris")
FILM_BYTES = 3_000_000_000
READS = (SHOTS, FRAMES, TRACKS, BALL, TOUCHES, POSSESSIONS, CLOCK)
"""Tables that the simulator writes in the place of the stages before the actions."""

SEARCHES = (
    ("Pushed-out catches", "pushed_out_catch"),
    ("Weak side, far catch", "weak_side_motion return_catch_ft > 28"),
    ("Crowded paint of ours", "crowded_paint team:Harbour"),
    ("Horns, whole", "horns state:confirmed"),
)


def make_season(
    out: Path,
    games: int,
    seed: int,
    settings: Settings,
    *,
    base: int = BASE_GAMES,
    distinct: int | None = None,
    possessions: int = POSSESSIONS_A_GAME,
    part: tuple[int, int] = (1, 1),
) -> Library:
    """Make a season's library, or what is not there of it yet.

    Parameters
    ----------
    out : Path
    games, seed, base, possessions : int
        Games; seed; base games; possessions of a game, of both clubs together.
    distinct : int, optional
        Games that are made and run; the others are copies of their tables. All when left out.
    settings : Settings
    part : tuple of int
        Which of how many parts of the games this run makes, from 1.

    Returns
    -------
    Library
        With staff's decisions once all games are there.
    """
    library = Library(out / "library")
    season = fixtures(games, seed)
    mine = [one for one in season if one.number % part[1] == part[0] - 1 and not _made(library, one)]
    own = [one for one in mine if distinct is None or one.number < distinct]
    if own:
        pool = [drawn for k in range(base) for drawn in _drill(out / "drills", seed + k, possessions)]
        for fixture in own:
            _make(library, fixture, pool, seed, settings, possessions)
    for fixture in mine:
        first = season[fixture.number % (distinct or games)]
        if fixture is not first and _made(library, first):
            _copy(library, fixture, first, seed, settings)
    if all(_made(library, one) for one in season):
        with library.tag_store() as store:
            staffs_part(store)
    return library


def read_part(text: str) -> tuple[int, int]:
    """A part of the games as the command line has it, ``1/2``; SettingsError where it is none."""
    number, _, of = text.partition("/")
    if not (number.isdigit() and of.isdigit() and 1 <= int(number) <= int(of)):
        raise SettingsError(f"'{text}' is no part of the games; write 1/2 for the first of two.")
    return int(number), int(of)


def _made(library: Library, fixture: Fixture) -> bool:
    return (library.root / GAMES / fixture.name / "logs" / "runs.jsonl").is_file()


def _drill(folder: Path, seed: int, possessions: int) -> tuple[Drawn, ...]:
    """A base game's possessions; made once, by one of those who want it."""
    folder.mkdir(parents=True, exist_ok=True)
    with FileLock(folder / f".lock-{seed}"):
        made = folder / f"drill_{seed}"
        if not (made / "truth.json").is_file():
            write_drill(DrillRequest(seed, possessions, book=BOOK, rate=RATE), folder)
        return read_drill(made)


def _make(
    library: Library, fixture: Fixture, pool: Sequence[Drawn], seed: int, settings: Settings, possessions: int
) -> None:
    """One game: its tables, the ordinary stages, its tags."""

    def fill(game: Game) -> None:
        game.tables.mkdir()
        tables = game_tables(fixture, pool, rule_book(BOOK), SeenError(), seed, possessions=possessions)
        for spec in READS:
            spec.write(tables[spec.name], game.tables)
        rows = {spec.name: tables[spec.name].num_rows for spec in READS}
        state = {"import": {"key": _digest(seed, fixture), "rows": rows}}
        game.state_file.write_text(json.dumps(state), encoding="utf-8")

    _bring(library, fixture, _game_file(fixture, _digest(seed, fixture)), settings, fill)


def _copy(library: Library, fixture: Fixture, first: Fixture, seed: int, settings: Settings) -> None:
    """Another game's tables as a game of its own: the clubs' people wear the numbers that are in them."""
    source = library.root / GAMES / first.name

    def fill(game: Game) -> None:
        shutil.copytree(source / "tables", game.tables)
        shutil.copyfile(source / "state.json", game.state_file)

    pairs = zip(fixture.clubs, first.clubs, strict=True)
    clubs = [Club(club.name, dict(zip(other.roster, club.roster.values(), strict=True))) for club, other in pairs]
    text = _game_file(replace(fixture, clubs=(clubs[0], clubs[1])), _digest(seed, fixture))
    _bring(library, fixture, text, settings, fill)


def _digest(seed: int, fixture: Fixture) -> str:
    return hashlib.sha256(f"season {seed} {fixture.name}".encode()).hexdigest()


def _bring(
    library: Library, fixture: Fixture, game_file: str, settings: Settings, fill: Callable[[Game], None]
) -> None:
    """A game into the library: its folder whole or not at all, the stages, its tags, its night, a line in the log."""
    final = library.root / GAMES / fixture.name
    began, worked = time.monotonic(), time.process_time()
    if not final.is_dir():
        game = Game(fixture.name, library.root / GAMES / f"{UNFINISHED}{fixture.name}")
        shutil.rmtree(game.folder, ignore_errors=True)
        game.folder.mkdir(parents=True)
        fill(game)
        (game.folder / "game.toml").write_text(game_file, encoding="utf-8")
        game.folder.rename(final)
    game = Game(fixture.name, final)
    ran = [run_stage(stage, game, lambda _done, _of: None) for stage in play_stages(settings, rule_book(BOOK))]
    merge, tags = bring_tags(game, library, settings)
    write_night(library, _night(fixture, time.monotonic() - began, len(tags)))
    entry = {
        "when": datetime.now(UTC).isoformat(timespec="seconds"),
        "tracking": f"{fixture.name}.csv",
        "stages": {one.stage: round(one.seconds, 2) for one in ran},
        "processor_s": round(time.process_time() - worked, 2),
        "tags": {"new": len(merge.new)},
    }
    (final / "logs").mkdir(exist_ok=True)
    (final / "logs" / "runs.jsonl").write_text(json.dumps(entry) + "\n", encoding="utf-8")


def _game_file(fixture: Fixture, digest: str) -> str:
    return (
        f'date = "{fixture.day}"\nopponent = "{fixture.opponent}"\nrule_book = "{BOOK}"\n'
        + "".join(_team(k, club) for k, club in enumerate(fixture.clubs))
        + f'[tracking]\npath = "{fixture.name}.csv"\ndigest = "{digest}"\n'
    )


def _team(number: int, club: Club) -> str:
    names = "".join(f'{worn} = "{name}"\n' for worn, name in club.roster.items())
    return f'[team_{number}]\nname = "{club.name}"\n[team_{number}.roster]\n{names}'


def _night(fixture: Fixture, seconds: float, tags: int) -> Night:
    """The record of the night after the game."""
    began = datetime.combine(fixture.day, datetime.min.time(), UTC) + timedelta(hours=23)
    film = FilmNight(
        film=f"/films/{fixture.name}.mp4",
        size_bytes=FILM_BYTES,
        state=FilmState.DONE,
        game=fixture.name,
        stage="spacing",
        share=1.0,
        seconds=seconds,
        tries=1,
        sentence=f"{tags} candidates.",
    )
    return Night(
        stamp=began.strftime("%Y-%m-%dT%H%M%SZ"),
        folder="/films",
        process=os.getpid(),
        host=socket.gethostname(),
        began=began,
        beat=began + timedelta(hours=2),
        ended=began + timedelta(hours=2),
        films=(film,),
        sentence="All films are through.",
    )


def staffs_part(store: TagStore) -> None:
    """What staff would have done in a season: decisions, notes, labels, reels, saved searches; once."""
    if store.reels():
        return
    when = datetime(2026, 4, 20, 9, tzinfo=UTC)
    tags = store.tags()
    confirmed: list[int] = []
    for number, tag in enumerate(tags[::DECIDED_OF]):
        when += timedelta(seconds=11)
        own = hashlib.sha256(f"{tag.game} {tag.candidate.kind} {tag.candidate.t_s:.1f}".encode()).digest()[0] / 255
        verdict = State.CONFIRMED if own < 0.35 + 0.5 * tag.candidate.score else State.REJECTED
        verdict = State.UNSURE if number % 40 == 39 else verdict
        store.decide(tag.tag, verdict, who=STAFF[number % len(STAFF)], when=when)
        if verdict is State.CONFIRMED:
            confirmed.append(tag.tag)
        if number % 30 == 0:
            store.note(tag.tag, "Show this one.", who=STAFF[0], when=when)
        if number % 20 == 0:
            store.label(tag.tag, add=("video session",), who=STAFF[1], when=when)
    for name, text in SEARCHES:
        store.save_search(name, text, who=STAFF[0], when=when)
    for number in range(REELS):
        own_tags = confirmed[number::REELS][:CLIPS]
        reel = store.make_reel(f"Session {number + 1}", who=STAFF[number % len(STAFF)], when=when)
        items = tuple(ReelItem(tag, "", "", freeze=False, slow=1.0) for tag in own_tags)
        store.save_reel(replace(reel, items=items), who=STAFF[number % len(STAFF)], when=when)


def main(arguments: list[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        prog="python -m pipeline.evaluate.season", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("out", type=Path)
    parser.add_argument("--games", type=int, default=82)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--base", type=int, default=BASE_GAMES, help="base games that possessions are taken from")
    parser.add_argument("--distinct", type=int, help="games that are made and run; the others are copies of them")
    parser.add_argument("--possessions", type=int, default=POSSESSIONS_A_GAME, help="of a game, of both clubs together")
    parser.add_argument("--part", default="1/1", help="which of how many parts of the games, as 1/2")
    asked = parser.parse_args(arguments)
    began, worked = time.monotonic(), time.process_time()
    library = make_season(
        asked.out, asked.games, asked.seed, Settings(),
        base=asked.base, distinct=asked.distinct, possessions=asked.possessions, part=read_part(asked.part),
    )  # fmt: skip
    print(  # noqa: T201
        f"{len(library.games())} games in {library.root}: {time.monotonic() - began:.0f} s, "
        f"{time.process_time() - worked:.0f} processor seconds."
    )


if __name__ == "__main__":
    main()
