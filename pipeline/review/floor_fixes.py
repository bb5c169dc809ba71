"""Court pages: which floor was found, and landmarks placed by hand where it is wrong."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse
from pydantic import BaseModel, ConfigDict, Field

from pipeline.court.landmarks import landmarks
from pipeline.court.tables import CAMERAS
from pipeline.errors import SettingsError
from pipeline.film.tables import FRAMES, SHOTS
from pipeline.library.games import Game
from pipeline.library.pins import frame_at, picture_size, pin_frame, read_pins, unpin_frame
from pipeline.review.floor_view import books_of, floor_frame, frame_jpeg, plan_of, shot_floors, try_pins
from pipeline.review.jobs import Progress
from pipeline.review.sent import sent
from pipeline.review.site import page, site

router = APIRouter()

At = Annotated[float | None, Query(ge=0, le=1e6)]


class Pins(BaseModel):
    """Landmarks on a frame, as the page sends them."""

    model_config = ConfigDict(extra="forbid")
    t: float = Field(ge=0, le=1e6)
    points: dict[str, tuple[float, float]] = Field(max_length=60)


SentPins = Annotated[Pins, Depends(sent(Pins))]


@router.get("/court")
def court(request: Request) -> HTMLResponse:
    """The games with a film, and how sure their floors are."""
    own = site(request)
    told = []
    for game in own.library.games():
        file = game.file()
        looked = all(spec.path(game.tables).is_file() for spec in (CAMERAS, FRAMES, SHOTS))
        shots = shot_floors(game) if file.film is not None and looked else ()
        told.append((game, file, shots, looked))
    return page(request, "courts.html", games=told)


@router.get("/court/{name}")
def court_of_game(request: Request, name: str, t: At = None) -> HTMLResponse:
    """One frame with its floor, and the landmarks to place."""
    own = site(request)
    game = own.library.game(name)
    game.film_told()
    shots = shot_floors(game)
    doubtful = [shot for shot in shots if shot.doubtful]
    first = (doubtful or [shot for shot in shots if shot.live] or list(shots))[:1]
    wanted = t if t is not None else first[0].look_s if first else 0.0
    t_s, frame, shot = frame_at(game, wanted)
    books = books_of(game)
    return page(
        request,
        "court.html",
        game=game,
        file=game.file(),
        shots=shots,
        view=floor_frame(game, frame, t_s, shot),
        marks=landmarks(books[0]),
        texts={name: one.text for name, one in landmarks(books[0]).items()},
        plan=plan_of(books[0]),
        books=[book.name for book in books],
        pinned=read_pins(game),
        rerun=own.rerun is not None,
        job=own.jobs.last(_key(game)),
    )


@router.get("/court/{name}/frame.jpg")
def frame_picture(request: Request, name: str, t: Annotated[float, Query(ge=0, le=1e6)]) -> Response:
    """The film's picture at a time."""
    own = site(request)
    data = frame_jpeg(own.library.game(name), t, own.settings.film.decode)
    return Response(data, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=3600"})


@router.post("/court/{name}/try")
def try_court(request: Request, name: str, pins: SentPins) -> JSONResponse:
    """Where the floor would lie with these landmarks."""
    own = site(request)
    game = own.library.game(name)
    tried = try_pins(pins.points, pins.t, picture_size(game), books_of(game), own.settings.court.registration)
    return JSONResponse(asdict(tried))


@router.post("/court/{name}/pins")
def save_court(request: Request, name: str, pins: SentPins) -> JSONResponse:
    """Keep these landmarks as certain, or take the frame's away when there are none."""
    own = site(request)
    game = own.library.game(name)
    if not pins.points:
        gone = unpin_frame(game, f"{pins.t:.3f}")
        return JSONResponse({"said": f"The landmarks at {gone.t_s:.2f} s are gone. {_next(request)}"})
    points = [f"{x!r},{y!r}={landmark}" for landmark, (x, y) in pins.points.items()]
    done = pin_frame(game, f"{pins.t:.3f}", points, own.settings.court.registration)
    note = f" {done.note}" if done.note else ""
    said = f"{len(done.pins.points)} landmarks saved at {done.pins.t_s:.2f} s, {done.miss_px:.1f} px off one floor."
    return JSONResponse({"said": f"{said}{note} {_next(request)}"})


@router.post("/court/{name}/rerun")
def rerun_court(request: Request, name: str) -> JSONResponse:
    """Run the film again, so that the landmarks count."""
    own = site(request)
    game = own.library.game(name)
    run = own.rerun
    if run is None:
        raise SettingsError(f"This server cannot run films; type 'elbowroom run {game.film()}' where the library lies.")

    def work(progress: Progress) -> str:
        run(game, progress)
        return f"'{game.name}' was run again with its landmarks."

    game.film()
    return JSONResponse(_job(own.jobs.start(f"Run '{game.name}' again", _key(game), work)))


@router.get("/jobs/{number}.json")
def job_standing(request: Request, number: int) -> JSONResponse:
    """How a piece of background work stands."""
    return JSONResponse(_job(site(request).jobs.job(number)))


def _job(job: Any) -> dict[str, Any]:
    return {**asdict(job), "going": job.going}


def _key(game: Game) -> str:
    return f"rerun:{game.name}"


def _next(request: Request) -> str:
    if site(request).rerun is None:
        return "Run the film again to use them."
    return "Run the film again, with the button below, to use them."
