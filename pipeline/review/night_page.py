"""The first page: what ran in the night, what failed, what was seen, and what is left to decide."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipeline.errors import LibraryError
from pipeline.library.games import Library
from pipeline.library.nights import FilmState, Night, newest_night
from pipeline.reports.night_summary import GameNight, KindNight, NightSummary, kinds_of, night_summary
from pipeline.review.cards import at_of
from pipeline.review.site import Site, files_state, page, site
from pipeline.tags import State

router = APIRouter()

STATE_WORDS = {
    FilmState.WAITING: "waiting",
    FilmState.COPYING: "still being copied",
    FilmState.RUNNING: "running",
    FilmState.DONE: "done",
    FilmState.FAILED: "failed",
    FilmState.STOPPED: "stopped, goes on next time",
}
FIRST_GAMES = 10
"""So many games, the latest ones, stand open on the page; a season's others are a click away."""

GOOD_SHARE = 0.97
"""From this share of live frames with a floor on a film counts as well seen; README's table asks it of registration."""

_LATEST: dict[Path, tuple[object, int, NightSummary]] = {}
"""The last summary of a library, with the files and the line of the tags' history that it was made from."""


@router.get("/")
def night(request: Request) -> Response:
    """The night."""
    here = site(request)
    summary = summary_of(here)
    record, wrong = _record(here.library)
    return page(
        request,
        "night.html",
        facts=_facts(summary),
        left=sum(kind.undecided for kind in summary.kinds),
        unsure=sum(kind.unsure for kind in summary.kinds),
        failed=_failed(summary, wrong),
        running=None if record is None else _running(record),
        games=[_game(game) for game in summary.games],
        first_games=FIRST_GAMES,
        kinds=[_kind(kind) for kind in summary.kinds],
    )


def summary_of(here: Site) -> NightSummary:
    """The library's summary: tables are read again when a game or a night's record has changed, tags when one has."""
    root = here.library.root
    key = files_state(here.library, "nights/*/night.json")
    line = here.store.last_line()
    kept = _LATEST.get(root)
    if kept is None or kept[0] != key:
        kept = (key, line, night_summary(here.library, here.settings))
    elif kept[1] != line:
        kept = (key, line, _with_tags(kept[2], here))
    _LATEST[root] = kept
    return kept[2]


def _with_tags(summary: NightSummary, here: Site) -> NightSummary:
    """The same games with their tags as they stand now."""
    tags = here.store.tags()
    counts: dict[str, Counter[State]] = {}
    for tag in tags:
        counts.setdefault(tag.game, Counter())[tag.state] += 1
    games = tuple(
        replace(game, tags=tuple((state, own[state]) for state in State if own[state]))
        for game in summary.games
        for own in (counts.get(game.game, Counter()),)
    )
    names = {game.game for game in games}
    kinds = kinds_of([tag for tag in tags if tag.game in names], here.library, here.settings)
    return replace(summary, games=games, kinds=kinds)


def _record(library: Library) -> tuple[Night | None, list[str]]:
    """The newest night's record, and a sentence where it cannot be read."""
    try:
        return newest_night(library), []
    except LibraryError as error:
        return None, [str(error)]


def _facts(summary: NightSummary) -> list[tuple[str, str]]:
    live_s = sum(game.live_s for game in summary.games if math.isfinite(game.live_s))
    return [
        ("games", str(len(summary.games))),
        ("live play seen", minutes(live_s)),
        ("possessions", str(sum(game.possessions or 0 for game in summary.games))),
        ("candidates", str(sum(kind.found for kind in summary.kinds))),
    ]


def _failed(summary: NightSummary, wrong: Sequence[str]) -> list[tuple[str, str]]:
    """Game or film, and a sentence for everything that went wrong with it."""
    found = [("", text) for text in (*wrong, *summary.unfinished)]
    found += [(Path(film).name, text) for film, text in summary.failed_films]
    return found + [(game.game, text) for game in summary.failed for text in game.wrong]


def _running(record: Night) -> dict[str, Any]:
    """The newest night as it goes on, or how it ended."""
    now = datetime.now(UTC)
    died = record.died(now)
    left_s = None if died or record.ended is not None else record.left_s(now)
    return {
        "began": at_of(record.began),
        "folder": record.folder,
        "ended": "" if record.ended is None else at_of(record.ended),
        "died": died,
        "sentence": record.sentence,
        "left": "" if not left_s else minutes(left_s),
        "films": [
            {
                "name": Path(film.film).name,
                "game": film.game,
                "state": STATE_WORDS[film.state],
                "stage": film.stage if film.state is FilmState.RUNNING else "",
                "percent": round(100 * film.share),
                "runs": film.state is FilmState.RUNNING and not died,
                "sentence": film.sentence,
            }
            for film in record.films
        ],
    }


def _game(game: GameNight) -> dict[str, Any]:
    """A game's line in the table."""
    floor = game.floor
    share = None if floor is None or not math.isfinite(floor.share) else floor.share
    counts = dict(game.tags)
    return {
        "name": game.game,
        "against": game.opponent,
        "date": game.date,
        "source": game.source,
        "ran_at": "not known" if game.ran_at is None else at_of(game.ran_at),
        "took": minutes(sum(seconds for _, seconds in game.ran)) if game.ran else "nothing to do anew",
        "live": minutes(game.live_s),
        "of": minutes(game.length_s),
        "floor": None if share is None else math.floor(1000 * share) / 10,
        "floor_good": share is not None and share >= GOOD_SHARE,
        "residual": "" if floor is None or not math.isfinite(floor.residual_ft) else f"{floor.residual_ft:.2f} ft",
        "possessions": game.possessions,
        "found": sum(counts.values()),
        "left": counts.get(State.CANDIDATE, 0),
        "confirmed": counts.get(State.CONFIRMED, 0),
        "wrong": bool(game.wrong),
    }


def _kind(kind: KindNight) -> dict[str, Any]:
    """A kind's line in the table."""
    known = kind.precision is not None and kind.precision.known
    precise = kind.precision
    return {
        "kind": kind.kind,
        "title": kind.title,
        "family": str(kind.family),
        "found": kind.found,
        "confirmed": kind.confirmed,
        "rejected": kind.rejected,
        "unsure": kind.unsure,
        "left": kind.undecided,
        "precision": ""
        if not known or precise is None
        else f"{precise.value:.0%} ({precise.low:.0%} to {precise.high:.0%})",
    }


def minutes(seconds: float) -> str:
    """A length of time as people say it."""
    if not math.isfinite(seconds):
        return "not known"
    whole, rest = divmod(round(seconds), 60)
    hours, whole = divmod(whole, 60)
    if hours:
        return f"{hours} h {whole} min"
    return f"{whole} min {rest:02d} s" if whole else f"{rest} s"
