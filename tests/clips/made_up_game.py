"""A made-up game for clips: a known camera, bodies that stand where they are told, a library with its film."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pipeline.clips.playback import Body
from pipeline.clips.settings import ClipSettings
from pipeline.court.camera import Camera, Lens, camera_to_row
from pipeline.court.rule_books import rule_book
from pipeline.court.tables import CAMERAS
from pipeline.film.fetching import film_digest
from pipeline.library.games import Game, Library, write_game_file
from pipeline.players.tables import TRACKS
from pipeline.settings import Settings
from pipeline.spacing.tables import SPACING
from pipeline.tags import Candidate, Family, State, Tag

SIZE = (960, 540)
BOOK = rule_book("nba")
ACTORS = (
    ("handler", 1),
    ("defender_in_paint", 12),
    ("attacker_in_paint", 3),
    ("defender_in_paint", 11),
    ("attacker_in_paint", 2),
    ("in_paint", 20),
)
PLACES = {1: (72.0, 25.0), 2: (80.0, 20.0), 3: (88.0, 30.0), 11: (82.0, 24.0), 12: (86.0, 22.0), 20: (90.0, 27.0)}


def camera_at(pan_deg: float, k1: float = 0.1) -> Camera:
    lens = Lens(k1, np.array([(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2]), float(SIZE[0]))
    return Camera(np.array([47.0, -75.0, 32.0]), pan_deg, -16.0, 0.0, 1900.0, lens, SIZE)


def body_at(track: int, camera: Camera) -> Body:
    place = PLACES[track]
    foot, head = camera.project(np.array([[*place, 0.0], [*place, 6.4]]))
    half = 0.18 * (foot[1] - head[1])
    team = {1: 0, 2: 0, 3: 0, 11: 1, 12: 1}.get(track, -1)
    return Body(track, "player", team, place, (foot[0] - half, head[1], foot[0] + half, foot[1]))


def camera_table(times: list[float], pans: list[float | None]) -> object:
    rows = []
    for number, (t_s, pan) in enumerate(zip(times, pans, strict=True)):
        if pan is None:
            row = dict.fromkeys(CAMERAS.schema.names)
            row |= {"frame": number, "t_s": t_s, "shot": 0, "status": "unknown", "reason": "A close-up."}
        else:
            row = camera_to_row(camera_at(pan), frame=number, t_s=t_s, shot=0, rule_book="nba", residual_px=1.0,
                                residual_ft=0.1, quality=0.9, status="registered")  # fmt: skip
        rows.append(row)
    return CAMERAS.from_rows(rows)


def track_table(times: list[float], *, moving_ft: float = 0.0) -> object:
    rows = []
    for t_s in times:
        for track, (x, y) in PLACES.items():
            body = body_at(track, camera_at(25.0))
            rows.append(
                {
                    "frame": round(t_s * 10),
                    "t_s": t_s,
                    "shot": 0,
                    "track": track,
                    "role": body.role,
                    "team": body.team,
                    "x_ft": x + moving_ft * t_s,
                    "y_ft": y,
                    "observed": track != 20,
                    **dict(
                        zip(
                            ("x1_px", "y1_px", "x2_px", "y2_px"),
                            body.box_px if track != 20 else [None] * 4,
                            strict=True,
                        )
                    ),
                }
            )
    return TRACKS.from_rows(rows)


def spacing_table(times: list[float]) -> object:
    rows = [
        {
            "frame": k,
            "t_s": t,
            "shot": 0,
            "attacked_end": "right",
            "paint_attack": 2,
            "paint_defence": 2,
            "paint_unknown": 1,
        }
        for k, t in enumerate(times)
    ]
    return SPACING.from_rows(rows)


def tag_at(t_s: float, *, number: int = 7, game: str = "game", **changes: object) -> Tag:
    told = {
        "kind": "crowded_paint",
        "family": Family.FAULT,
        "shot": 0,
        "possession": 0,
        "team": 0,
        "start_s": t_s - 0.4,
        "end_s": t_s + 0.3,
        "t_s": t_s,
        "actors": ACTORS,
        "measures": {"count": 5.0},
        "traits": {},
        "score": 0.9,
        "severity": "fault",
        "sentence": "5 others stand in the paint.",
    }
    found = Candidate(**{**told, **changes})
    return Tag(number, game, State.CANDIDATE, found, 1, found.start_s, found.end_s, found.actors)


def settings_with(**changes: object) -> Settings:
    return Settings(clips=ClipSettings(**changes))


def add_game(library: Library, name: str, film: Path, *, tables: bool = True) -> Game:
    """A game of two seconds in a library, the same for every film."""
    game = Game(name, library.root / "games" / name)
    game.tables.mkdir(parents=True)
    write_game_file(game, film, film_digest(film), "nba")
    if tables:
        times = [round(0.1 * k, 6) for k in range(20)]
        CAMERAS.write(camera_table(times, [25.0] * 20), game.tables)
        TRACKS.write(track_table(times), game.tables)
        SPACING.write(spacing_table(times), game.tables)
    return game
