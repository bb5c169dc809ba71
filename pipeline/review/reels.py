"""Reels: clips in an order, with titles and notes, to play, to share by a link, to make into a film."""

from __future__ import annotations

import re
import tempfile
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response

from pipeline.clips.exports import ExportForm
from pipeline.clips.reels import reel_film
from pipeline.clips.titles import title_of
from pipeline.errors import LibraryError
from pipeline.library.game_time import game_times
from pipeline.review.access import FOLDER
from pipeline.review.exporting import CUTS, cuts_response
from pipeline.review.jobs import Job, Progress
from pipeline.review.reel_view import (
    SPEEDS,
    ClipLine,
    ReelSent,
    clip_lines,
    length_words,
    sent_reel,
    with_tags,
)
from pipeline.review.sent import sent
from pipeline.review.site import Site, page, site, who
from pipeline.tags import Reel, ReelConflict, State, Tag

router = APIRouter()

SentReel = Annotated[ReelSent, Depends(sent(ReelSent))]


@router.get("/reels")
def reels(request: Request) -> HTMLResponse:
    """Every reel."""
    own = site(request)
    every = own.store.reels()
    tags = {tag.tag: tag for tag in own.store.tags_of(item.tag for reel in every for item in reel.items)}
    told = [(reel, length_words(clip_lines(reel, tags, {}, {}, {}, own.settings.clips))) for reel in every]
    return page(request, "reels.html", reels=told)


@router.post("/reels")
def new_reel(request: Request, title: Annotated[str, Form(max_length=200)]) -> Response:
    """Begin a reel."""
    reel = site(request).store.make_reel(title, who=who(request), when=datetime.now(UTC))
    return RedirectResponse(f"/reels/{reel.reel}", 303)


@router.get("/reels/{number}")
def reel_page(request: Request, number: int) -> HTMLResponse:
    """Build a reel."""
    own = site(request)
    reel = own.store.reel(number)
    lines = lines_of(own, reel)
    there = {item.tag for item in reel.items}
    offered = [tag for tag in own.store.tags(state=State.CONFIRMED) if tag.tag not in there]
    film = _film(own, reel)
    return page(
        request,
        "reel.html",
        reel=reel,
        lines=lines,
        length=length_words(lines),
        speeds=SPEEDS,
        offered=[(tag, title_of(tag.candidate.kind, own.settings)) for tag in offered],
        film=film if film.is_file() else None,
        job=own.jobs.last(_key(reel)),
        exports=[(form.value, words) for form, words in CUTS.items()],
        link=str(request.base_url).rstrip("/") + f"/shared/{reel.token}" if reel.token else "",
    )


@router.post("/reels/{number}")
def save_reel(request: Request, number: int, told: SentReel) -> JSONResponse:
    """Write a reel as the page has it; somebody else's change in between is not written over."""
    own = site(request)
    try:
        saved = own.store.save_reel(sent_reel(number, told), who=who(request), when=datetime.now(UTC))
    except ReelConflict as conflict:
        return JSONResponse({"error": str(conflict), "revision": conflict.current.revision}, 409)
    lines = lines_of(own, saved)
    return JSONResponse({"revision": saved.revision, "length": length_words(lines), "clips": len(lines)})


@router.post("/reels/{number}/add")
def add_tags(request: Request, number: int, tags: Annotated[list[int] | None, Form()] = None) -> Response:
    """Put tags at a reel's end."""
    own = site(request)
    if not tags:
        raise LibraryError("No clip was chosen; go back and tick those that belong in the reel.")
    own.store.save_reel(with_tags(own.store.reel(number), tags), who=who(request), when=datetime.now(UTC))
    return RedirectResponse(f"/reels/{number}", 303)


@router.post("/reels/{number}/drop")
def drop_reel(request: Request, number: int) -> Response:
    """Take a reel off the list."""
    site(request).store.drop_reel(number, who=who(request), when=datetime.now(UTC))
    return RedirectResponse("/reels", 303)


@router.post("/reels/{number}/share")
def share_reel(request: Request, number: int) -> Response:
    """Give a reel a link."""
    site(request).store.share_reel(number, who=who(request), when=datetime.now(UTC))
    return RedirectResponse(f"/reels/{number}#share", 303)


@router.post("/reels/{number}/unshare")
def unshare_reel(request: Request, number: int) -> Response:
    """Take a reel's link away."""
    site(request).store.unshare_reel(number, who=who(request), when=datetime.now(UTC))
    return RedirectResponse(f"/reels/{number}#share", 303)


@router.get("/reels/{number}/play")
def play_reel(request: Request, number: int) -> HTMLResponse:
    """Show a reel clip by clip."""
    own = site(request)
    reel = own.store.reel(number)
    return page(request, "play.html", reel=reel, lines=lines_of(own, reel), shared=False, clips=own.settings.clips)


@router.get("/shared/{token}")
def shared_reel(request: Request, token: str) -> HTMLResponse:
    """The same under its link."""
    own = site(request)
    reel = own.store.reel_of_token(token)
    if reel is None:
        raise HTTPException(404, "This link leads to no reel; it may have been taken back. Ask whoever sent it.")
    return page(request, "play.html", reel=reel, lines=lines_of(own, reel), shared=True, clips=own.settings.clips)


@router.post("/reels/{number}/film")
def make_film(request: Request, number: int) -> JSONResponse:
    """Make a film of a reel; how far it is stands in the job."""
    own = site(request)
    reel = own.store.reel(number)
    if not reel.items:
        raise LibraryError(f"'{reel.title}' has no clip yet; put one in first.")
    tags = own.store.tags_of(item.tag for item in reel.items)
    out = _film(own, reel)

    def work(progress: Progress) -> str:
        out.parent.mkdir(parents=True, exist_ok=True)

        def tell(done_s: float, whole_s: float) -> None:
            progress(f"{done_s:.0f} of {whole_s:.0f} seconds are drawn.", done_s / whole_s if whole_s else 0.0)

        with tempfile.TemporaryDirectory(dir=out.parent) as folder:
            made = reel_film(own.library, reel, tags, Path(folder) / out.name, own.settings, progress=tell)
            made.path.replace(out)
        for old in out.parent.glob(f"{number}-*.mp4"):
            if old != out:
                old.unlink()
        return f"The film is ready: {made.length_s:.0f} seconds."

    return JSONResponse(_job(own.jobs.start(f"Film of '{reel.title}'", _key(reel), work)))


@router.get("/reels/{number}/film.mp4")
def film_of_reel(request: Request, number: int) -> FileResponse:
    """The film of a reel as it stands."""
    own = site(request)
    reel = own.store.reel(number)
    film = _film(own, reel)
    if not film.is_file():
        raise LibraryError(f"There is no film of '{reel.title}' as it stands now; make one first.")
    return FileResponse(film, media_type="video/mp4", filename=f"{_file_stem(reel)}.mp4")


@router.get("/reels/{number}/export/{form}")
def export_reel(request: Request, number: int, form: ExportForm) -> Response:
    """A reel as a list of cuts."""
    own = site(request)
    reel = own.store.reel(number)
    if not reel.items:
        raise LibraryError(f"'{reel.title}' has no clip yet; put one in first.")
    tags = own.store.tags_of(item.tag for item in reel.items)
    return cuts_response(own.library, tags, form, _file_stem(reel), own.settings, reel)


def lines_of(own: Site, reel: Reel) -> tuple[ClipLine, ...]:
    """What is known of a reel's clips."""
    tags: dict[int, Tag] = {tag.tag: tag for tag in own.store.tags_of(item.tag for item in reel.items)}
    wanted = {tag.game for tag in tags.values()}
    games = {game.name: game.file() for game in own.library.games() if game.name in wanted}
    titles = {tag.candidate.kind: title_of(tag.candidate.kind, own.settings) for tag in tags.values()}
    times = game_times(own.library, tuple(tags.values()))
    return clip_lines(reel, tags, games, times, titles, own.settings.clips)


def _film(own: Site, reel: Reel) -> Path:
    return own.library.root / FOLDER / "reels" / f"{reel.reel}-{reel.revision}.mp4"


def _file_stem(reel: Reel) -> str:
    """A reel's title as a file's name that every system takes."""
    return re.sub(r"\W+", "-", reel.title).strip("-")[:60] or f"reel-{reel.reel}"


def _key(reel: Reel) -> str:
    return f"reel:{reel.reel}"


def _job(job: Job) -> dict[str, object]:
    return {**asdict(job), "going": job.going}
