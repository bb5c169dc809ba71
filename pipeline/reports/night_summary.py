"""What the night came to: what ran, what failed and why, what was seen, how sure the floor was, what is left."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.actions.vocabulary import KIND
from pipeline.ball.tables import POSSESSIONS
from pipeline.court.tables import CAMERAS
from pipeline.errors import LibraryError
from pipeline.film.tables import SHOTS
from pipeline.library.floor_doubt import floor_doubt
from pipeline.library.games import GAMES, UNFINISHED, Game, GameFile, Library
from pipeline.library.nights import FilmNight, FilmState, read_nights
from pipeline.reports.intervals import Estimate
from pipeline.reports.standing import standing_of
from pipeline.settings import Settings
from pipeline.tables import TableSpec
from pipeline.tags import Family, State, Tag

FILM_STAGES = ("film", "clock", "court", "players", "ball", "actions", "sets", "spacing")
TRACKING_STAGES = ("import", "actions", "sets", "spacing")
"""Stages of a game in their order, as ``state.json`` names them."""


@dataclass(frozen=True, slots=True)
class Floor:
    """How sure the floor was in a film's live play.

    Attributes
    ----------
    frames, found : int
        Analysed frames of live play, and those of them with a floor.
    residual_ft : float
        Median miss of the floor's own markings; NaN where there is none.
    """

    frames: int
    found: int
    residual_ft: float

    @property
    def share(self) -> float:
        """Share of the live frames with a floor; NaN without any."""
        return self.found / self.frames if self.frames else float("nan")


@dataclass(frozen=True, slots=True)
class GameNight:
    """One game.

    Attributes
    ----------
    game, date, opponent : str
    source : str
        ``film`` or ``tracking``; empty where ``game.toml`` cannot be read.
    ran_at : datetime or None
        When it was run last, UTC.
    ran : tuple of (stage, seconds)
        What that run did anew.
    unchanged : tuple of str
        Stages that it found done.
    wrong : tuple of str
        A sentence for everything that failed or is not there.
    length_s, live_s : float
        Of the film, and of its live play; of tracking data the length of its possessions. NaN where unknown.
    floor : Floor or None
        None for tracking data.
    possessions : int or None
    tags : tuple of (State, int)
        Its tags by state, withdrawn ones left out.
    """

    game: str
    date: str
    opponent: str
    source: str
    ran_at: datetime | None
    ran: tuple[tuple[str, float], ...]
    unchanged: tuple[str, ...]
    wrong: tuple[str, ...]
    length_s: float
    live_s: float
    floor: Floor | None
    possessions: int | None
    tags: tuple[tuple[State, int], ...]

    @property
    def undecided(self) -> int:
        """Tags that nobody has decided, or that somebody could not decide."""
        return sum(count for state, count in self.tags if state in (State.CANDIDATE, State.UNSURE))


@dataclass(frozen=True, slots=True)
class KindNight:
    """Candidates of one kind in the games of a summary, and what staff have said of the kind in the whole library."""

    kind: str
    title: str
    family: Family
    found: int
    confirmed: int
    rejected: int
    unsure: int
    undecided: int
    precision: Estimate | None


@dataclass(frozen=True, slots=True)
class NightSummary:
    """A night.

    Attributes
    ----------
    since : datetime or None
        Games run earlier are left out.
    games : tuple of GameNight
        The latest run first.
    kinds : tuple of KindNight
        The most frequent first.
    unfinished : tuple of str
        A sentence for each run that was stopped before its game had a name.
    films : tuple of FilmNight
        Films of the latest night, as its record has them; empty where no night was run (or none since).
    """

    since: datetime | None
    games: tuple[GameNight, ...]
    kinds: tuple[KindNight, ...]
    unfinished: tuple[str, ...]
    films: tuple[FilmNight, ...] = ()

    @property
    def failed_films(self) -> tuple[tuple[str, str], ...]:
        """Films of the night that failed or were stopped: their file names, and why."""
        bad = (FilmState.FAILED, FilmState.STOPPED)
        return tuple(
            (Path(film.film).name, film.sentence or f"{film.state.value} in stage {film.stage or 'unknown'}.")
            for film in self.films
            if film.state in bad
        )

    @property
    def same_films(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Games that several files of the night hold, with the files' names."""
        files: dict[str, list[str]] = {}
        for film in self.films:
            if film.game is not None and film.state is FilmState.DONE:
                files.setdefault(film.game, []).append(Path(film.film).name)
        return tuple((game, tuple(names)) for game, names in sorted(files.items()) if len(names) > 1)

    @property
    def not_begun(self) -> tuple[str, ...]:
        """Files of films that the night has not come to."""
        early = (FilmState.WAITING, FilmState.COPYING)
        return tuple(Path(film.film).name for film in self.films if film.state in early)

    @property
    def without_play(self) -> tuple[str, ...]:
        """Games from film in which no live play was seen."""
        return tuple(game.game for game in self.games if game.source == "film" and game.live_s == 0)

    @property
    def undecided(self) -> int:
        """Tags left to decide: candidates and those that somebody was unsure of."""
        return sum(kind.undecided + kind.unsure for kind in self.kinds)

    @property
    def failed(self) -> tuple[GameNight, ...]:
        """Games with something wrong."""
        return tuple(game for game in self.games if game.wrong)


def night_summary(library: Library, settings: Settings, since: datetime | None = None) -> NightSummary:
    """Sum up the games of a library, or those run since a time (with a time zone)."""
    library.must_exist()
    with library.tag_store() as store:
        tags = store.tags()
    by_game: dict[str, list[Tag]] = {}
    for tag in tags:
        by_game.setdefault(tag.game, []).append(tag)
    games = [_game_night(game, by_game.get(game.name, [])) for game in library.games()]
    chosen = [game for game in games if since is None or (game.ran_at is not None and game.ran_at >= since)]
    chosen.sort(key=lambda game: game.game)
    chosen.sort(key=lambda game: game.ran_at or datetime.min.replace(tzinfo=UTC), reverse=True)
    names = {game.game for game in chosen}
    films, untold = _films(library, since)
    return NightSummary(
        since,
        tuple(chosen),
        kinds_of([tag for tag in tags if tag.game in names], library, settings),
        (*_unfinished(library), *untold),
        films,
    )


def _films(library: Library, since: datetime | None) -> tuple[tuple[FilmNight, ...], tuple[str, ...]]:
    """Films of the latest night, and a sentence where its record cannot be read."""
    try:
        nights = read_nights(library)
    except LibraryError as error:
        return (), (str(error),)
    known = [night for night in nights if since is None or night.beat >= since]
    return (known[0].films if known else ()), ()


def _game_night(game: Game, tags: Sequence[Tag]) -> GameNight:
    wrong: list[str] = []
    told = _told(game, wrong)
    source = "" if told is None else "film" if told.film is not None else "tracking"
    entry = _last_run(game, wrong)
    _missing_stages(game, source, wrong)
    if told is not None and told.film is not None and not Path(told.film.path).is_file():
        wrong.append(f"Its film is no longer at {told.film.path}; clips cannot be cut until it is put back.")
    possessions = _read(POSSESSIONS, game, wrong)
    length_s, live_s, floor = _seen(game, possessions, source, wrong)
    states = Counter(tag.state for tag in tags)
    return GameNight(
        game=game.name,
        date="" if told is None else told.date,
        opponent="" if told is None else told.opponent,
        source=source,
        ran_at=_time(entry.get("when")),
        ran=tuple((str(stage), float(seconds)) for stage, seconds in dict(entry.get("stages") or {}).items()),
        unchanged=tuple(str(stage) for stage in entry.get("unchanged") or ()),
        wrong=tuple(wrong),
        length_s=length_s,
        live_s=live_s,
        floor=floor,
        possessions=None if possessions is None else possessions.num_rows,
        tags=tuple((state, states[state]) for state in State if states[state]),
    )


def _told(game: Game, wrong: list[str]) -> GameFile | None:
    try:
        return game.file()
    except LibraryError as error:
        wrong.append(str(error))
        return None


def _last_run(game: Game, wrong: list[str]) -> Mapping[str, Any]:
    """The last entry of the game's log."""
    path = game.folder / "logs" / "runs.jsonl"
    if not path.is_file():
        wrong.append("No run of it has ended yet; run it again.")
        return {}
    lines = [line for line in path.read_text(encoding="utf-8", errors="replace").splitlines() if line.strip()]
    try:
        entry = json.loads(lines[-1]) if lines else {}
    except json.JSONDecodeError:
        entry = None
    if not isinstance(entry, dict):
        wrong.append(f"The last line of {path} cannot be read; when it ran is unknown.")
        return {}
    if entry.get("damage"):
        wrong.append(f"The film is damaged: {entry['damage']}")
    if entry.get("failed"):
        wrong.append(f"The last run stopped: {entry['failed']}")
    return entry


def _missing_stages(game: Game, source: str, wrong: list[str]) -> None:
    try:
        state = json.loads(game.state_file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        state = {}
    except (json.JSONDecodeError, UnicodeDecodeError):
        wrong.append(f"{game.state_file} cannot be read; run the game again.")
        return
    wanted = TRACKING_STAGES if source == "tracking" else FILM_STAGES
    missing = [stage for stage in wanted if stage not in state]
    if missing:
        wrong.append(f"It stopped before {', '.join(missing)}; run it again and it goes on from there.")


def _seen(game: Game, possessions: pa.Table | None, source: str, wrong: list[str]) -> tuple[float, float, Floor | None]:
    """Length, live play, floor."""
    if source != "film":
        if possessions is None:
            return float("nan"), float("nan"), None
        length_s = float(np.sum(possessions["end_s"].to_numpy() - possessions["start_s"].to_numpy()))
        return length_s, length_s, None
    shots, cameras = _read(SHOTS, game, wrong), _read(CAMERAS, game, wrong)
    if shots is None:
        return float("nan"), float("nan"), None
    live = shots.filter(pc.fill_null(shots["live"], pa.scalar(value=False)))
    length_s = float(pc.max(shots["end_s"]).as_py() or 0.0)
    live_s = float(pc.sum(pc.subtract(live["end_s"], live["start_s"])).as_py() or 0.0)
    if cameras is None:
        return length_s, live_s, None
    in_play = cameras.filter(pc.is_in(cameras["shot"], live["shot"].combine_chunks()))
    found = in_play.filter(pc.not_equal(in_play["status"], "unknown"))
    try:
        doubt = floor_doubt(game, in_play)
    except LibraryError as error:
        doubt = str(error)
    if doubt and doubt not in wrong:
        wrong.append(doubt)
    residual = pc.approximate_median(found["residual_ft"]).as_py()
    return length_s, live_s, Floor(in_play.num_rows, found.num_rows, float("nan") if residual is None else residual)


def _read(spec: TableSpec, game: Game, wrong: list[str]) -> pa.Table | None:
    try:
        return spec.read(game.tables)
    except LibraryError as error:
        wrong.append(str(error))
        return None


def _time(text: object) -> datetime | None:
    if not isinstance(text, str):
        return None
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return None
    return when if when.tzinfo is not None else when.replace(tzinfo=UTC)


def kinds_of(tags: Sequence[Tag], library: Library, settings: Settings) -> tuple[KindNight, ...]:
    """What was found of each kind among some tags, the most frequent first."""
    standing = standing_of(library)
    counts: dict[tuple[Family, str], Counter[State]] = {}
    for tag in tags:
        counts.setdefault((tag.candidate.family, tag.candidate.kind), Counter())[tag.state] += 1
    found = [
        KindNight(
            kind=kind,
            title=kind_title(kind, settings),
            family=family,
            found=own.total(),
            confirmed=own[State.CONFIRMED],
            rejected=own[State.REJECTED],
            unsure=own[State.UNSURE],
            undecided=own[State.CANDIDATE],
            precision=standing[kind].precision if kind in standing else None,
        )
        for (family, kind), own in counts.items()
    ]
    return tuple(sorted(found, key=lambda one: (-one.found, one.kind)))


def kind_title(kind: str, settings: Settings) -> str:
    """What a kind is called: by its set or fault file, or the vocabulary; its name where nothing describes it."""
    titles = {one.name: one.title for one in settings.set_library.definitions}
    titles |= {one.name: one.title for one in settings.faults.library}
    title = titles.get(kind) or (KIND[kind].title if kind in KIND else kind.replace("_", " "))
    return title[:1].upper() + title[1:]


def _unfinished(library: Library) -> tuple[str, ...]:
    """Runs that were stopped while the film was still being looked at."""
    folder = library.root / GAMES
    found = sorted(folder.glob(f"{UNFINISHED}*")) if folder.is_dir() else []
    return tuple(
        f"A run was stopped while it was still looking at its film ({one.name}); run the film again and it goes on "
        "where it stopped."
        for one in found
    )
