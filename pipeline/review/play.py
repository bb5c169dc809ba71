"""What the film player draws for a tag: where the camera and everybody was, in numbers that a page can read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import BALL, POSSESSIONS
from pipeline.clips.paint_clip import numbers_of
from pipeline.clips.settings import ClipSettings, Colour
from pipeline.clips.tag_film import stretch_of
from pipeline.court.attack_frame import End, ring_ft
from pipeline.court.camera import NoCourt, camera_from_row
from pipeline.court.geometry import areas, markings
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.court.tables import CAMERAS
from pipeline.errors import FilmError, LibraryError
from pipeline.film.probe import probe
from pipeline.library.games import Game, Library
from pipeline.library.rosters import jersey_of
from pipeline.players.tables import TRACKS
from pipeline.review.film_file import film_of, shown_film
from pipeline.review.game_tables import between, table_of
from pipeline.settings import Settings
from pipeline.spacing.tables import SPACING
from pipeline.tags import Tag

SPARE_S = 3.0
"""Places are told for so much more to either side than the clip shows, for those who nudge."""

SCREENS = {"on_ball_screen": ("on_ball_defender", "handler"), "off_ball_screen": ("cutter_defender", "cutter")}
"""Kinds of screens, and whom the screener stands in the way of: the first that is known."""


def play_of(library: Library, tag: Tag, settings: Settings) -> dict[str, Any]:
    """Everything that the player needs for a tag, ready for JSON: numbers, lists, texts, None for unknown.

    Times are film time in seconds, places feet in the court frame.
    """
    game = library.game(tag.game)
    shown_start_s, shown_end_s = _shown(tag, settings.clips)
    start_s, end_s = max(0.0, shown_start_s - SPARE_S), shown_end_s + SPARE_S
    shot = tag.candidate.shot
    cameras = between(_of_shot(table_of(game, CAMERAS), shot), start_s, end_s)
    tracks = between(_of_shot(table_of(game, TRACKS), shot), start_s, end_s)
    book = _book(cameras, game)
    end = attacked_end(game, tag)
    film, no_film, frames_s = _film(library, game, tag, settings, start_s, end_s)
    return {
        "tag": tag.tag,
        "game": tag.game,
        "film": film,
        "no_film": no_film,
        "frames_s": frames_s,
        "start_s": shown_start_s,
        "end_s": shown_end_s,
        "t_s": tag.candidate.t_s,
        "from_s": tag.start_s,
        "to_s": tag.end_s,
        "bridge_s": settings.clips.longest_bridge_s,
        "ring_radius_ft": settings.clips.ring_radius_ft,
        "colours": _colours(settings.clips),
        "cameras": _cameras(cameras),
        "floor": None if book is None else _floor(book, end),
        "bodies": _bodies(game, tag, tracks),
        "ball": _ball(between(_of_shot(table_of(game, BALL), shot), start_s, end_s)),
        "screens": _screens(_of_shot(table_of(game, ACTIONS), shot), start_s, end_s),
        "paint": _paint(between(_of_shot(table_of(game, SPACING), shot), start_s, end_s)),
    }


def attacked_end(game: Game, tag: Tag) -> End:
    """The end that is attacked at a tag's moment; the left one where no table says."""
    found = tag.candidate
    spells = table_of(game, POSSESSIONS).to_pylist()
    during = [p for p in spells if p["start_s"] - 1 <= found.t_s <= p["end_s"] + 1]
    mine = [p for p in during if p["possession"] == found.possession] or during
    return "right" if mine and mine[0]["attacked_end"] == "right" else "left"


def _shown(tag: Tag, settings: ClipSettings) -> tuple[float, float]:
    """Film time that is shown: the candidate's clip, and what staff made of its interval."""
    start_s, end_s = stretch_of(tag, settings)
    return min(start_s, max(0.0, tag.start_s - 1)), max(end_s, tag.end_s + 1)


def _film(
    library: Library, game: Game, tag: Tag, settings: Settings, start_s: float, end_s: float
) -> tuple[dict[str, Any] | None, str, list[float]]:
    """The film's address, or why there is none, and the times of its frames in the stretch."""
    if game.file().film is None:
        return None, "This game came as tracking data; the half court shows it.", []
    try:
        shown = shown_film(library, tag, settings)
        times = probe(film_of(library, game), settings.film.decode).times_s
    except (LibraryError, FilmError) as error:
        return None, str(error), []
    inside = times[(times >= max(start_s, shown.begins_s) - 1e-6) & (times <= end_s)]
    address = f"/film/games/{game.name}" if shown.whole else f"/film/tags/{tag.tag}"
    return {"url": address, "type": shown.media_type, "begins_s": shown.begins_s}, "", _rounded(inside, 5)


def _of_shot(table: pa.Table, shot: int) -> pa.Table:
    return table.filter(pc.equal(table["shot"], shot))


def _book(cameras: pa.Table, game: Game) -> RuleBook | None:
    """The rule book of the floor: as the frames were read, else as the game's file says."""
    names = [name for name in cameras["rule_book"].to_pylist() if name in RULE_BOOKS]
    if names:
        return RULE_BOOKS[max(sorted(set(names)), key=names.count)]
    told = game.file().rule_book
    return RULE_BOOKS[told] if told else None


def _cameras(cameras: pa.Table) -> dict[str, Any] | None:
    """The camera at every frame where it is known: place, angles, focal length, lens."""
    rows = [(row, camera_from_row(row)) for row in cameras.to_pylist()]
    known = [(row, camera) for row, camera in rows if not isinstance(camera, NoCourt)]
    if not known:
        return None
    return {
        "size_px": [known[0][1].size_px[0], known[0][1].size_px[1]],
        "centre_px": [float(v) for v in known[0][1].lens.centre_px],
        "t_s": _rounded(np.array([row["t_s"] for row, _ in known]), 5),
        "at": [
            [
                *(round(float(v), 4) for v in camera.centre_ft),
                round(camera.pan_deg, 5),
                round(camera.tilt_deg, 5),
                round(camera.roll_deg, 5),
                round(camera.focal_px, 3),
                round(camera.lens.k1, 6),
            ]
            for _, camera in known
        ],
    }


def _floor(book: RuleBook, end: End) -> dict[str, Any]:
    """The floor's lines, the attacked paint and ring."""
    return {
        "book": book.name,
        "length_ft": round(book.length_ft, 4),
        "width_ft": round(book.width_ft, 4),
        "end": end,
        "ring": _rounded(ring_ft(book, end), 3),
        "ring_to_baseline_ft": round(book.ring_to_baseline_ft, 4),
        "lines": [{"points": _points(m.points_ft), "closed": m.closed} for m in markings(book)],
        "paint": _points(areas(book)[f"paint_{end}"]),
    }


def _bodies(game: Game, tag: Tag, tracks: pa.Table) -> list[dict[str, Any]]:
    """Everybody: side, number, role in the tag, and places by time."""
    told = game.file()
    rosters = {0: told.team_0.roster, 1: told.team_1.roster}
    jerseys = jersey_of(table_of(game, TRACKS))
    roles = {track: role for role, track in reversed(tag.actors)}
    badges = badges_of(tag)
    main = tag.actors[0][1] if tag.actors else None
    columns = tracks.select(["track", "role", "team", "t_s", "x_ft", "y_ft"]).to_pydict()
    names = np.array(columns["track"], dtype=np.int64)
    times, x_ft, y_ft = (np.array(columns[name], dtype=np.float64) for name in ("t_s", "x_ft", "y_ft"))
    teams = {int(track): int(team) for track, team in zip(names, columns["team"], strict=True)}
    attack = attack_of(tag, teams)
    known = np.isfinite(x_ft) & np.isfinite(y_ft)
    found = []
    for track in np.unique(names[known]):
        mine = known & (names == track)
        first = int(np.flatnonzero(mine)[0])
        number = jerseys.get(int(track), (-1, None))[1]
        team = teams[int(track)]
        found.append(
            {
                "track": int(track),
                "side": side_of(columns["role"][first], team, attack),
                "number": number,
                "name": rosters.get(team, {}).get(number, "") if number else "",
                "role": roles.get(int(track)),
                "badge": badges.get(int(track)),
                "main": bool(track == main),
                "t_s": _rounded(times[mine], 5),
                "x_ft": _rounded(x_ft[mine], 3),
                "y_ft": _rounded(y_ft[mine], 3),
            }
        )
    return found


def badges_of(tag: Tag) -> dict[int, str]:
    """What is written on the marks of those who take part, by track: counted bodies or actors in order.

    Where bodies are counted, the main actor is none of them and has his role's first letter.
    """
    counted = numbers_of(tag.actors)
    if not counted:
        return {track: str(place) for place, (_, track) in reversed(list(enumerate(tag.actors, start=1)))}
    main = {track: role[:1].upper() for role, track in tag.actors[:1]}
    return main | {track: str(number) for track, number in counted.items()}


def attack_of(tag: Tag, teams: Mapping[int, int]) -> int:
    """The attacking team of a tag: as it says, else its main actor's; -1 where neither is known."""
    if tag.candidate.team is not None:
        return tag.candidate.team
    return teams.get(tag.actors[0][1], -1) if tag.actors else -1


def side_of(role: str, team: int, attack: int) -> str:
    """How a body is marked: attack, defence, unknown or official."""
    if role != "player":
        return "official"
    return "unknown" if team < 0 or attack < 0 else "attack" if team == attack else "defence"


def _ball(rows: pa.Table) -> dict[str, Any]:
    known = rows.filter(pc.and_(pc.is_valid(rows["x_ft"]), pc.is_valid(rows["y_ft"])))
    return {
        "t_s": _rounded(known["t_s"].to_numpy(), 5),
        "x_ft": _rounded(known["x_ft"].to_numpy(), 3),
        "y_ft": _rounded(known["y_ft"].to_numpy(), 3),
        "z_ft": [None if z is None or z != z else round(z, 3) for z in known["z_ft"].to_pylist()],
    }


def _screens(actions: pa.Table, start_s: float, end_s: float) -> list[dict[str, Any]]:
    """Screens in a stretch: when, who sets them, and in whose way."""
    found = []
    for row in actions.filter(pc.is_in(actions["kind"], pa.array(list(SCREENS)))).to_pylist():
        roles = {actor["role"]: actor["track"] for actor in row["actors"]}
        towards = next((roles[name] for name in SCREENS[row["kind"]] if name in roles), None)
        if "screener" in roles and towards is not None and row["start_s"] <= end_s and row["end_s"] >= start_s:
            found.append(
                {
                    "start_s": round(row["start_s"], 3),
                    "end_s": round(row["end_s"], 3),
                    "t_s": round(row["t_s"], 3),
                    "screener": roles["screener"],
                    "towards": towards,
                }
            )
    return found


def _paint(rows: pa.Table) -> dict[str, Any]:
    """How many stand in the attacked paint, the handler not counted."""
    counts = np.zeros(rows.num_rows)
    for name in ("paint_attack", "paint_defence", "paint_unknown"):
        counts = counts + rows[name].fill_null(0).to_numpy()
    return {"t_s": _rounded(rows["t_s"].to_numpy(), 5), "others": [int(n) for n in counts]}


def _colours(settings: ClipSettings) -> dict[str, str]:
    named: dict[str, Colour] = {
        "attack": settings.attack,
        "defence": settings.defence,
        "unknown": settings.unknown,
        "official": settings.unknown,
        "handler": settings.handler,
        "paint": settings.paint,
    }
    return {name: f"#{r:02x}{g:02x}{b:02x}" for name, (r, g, b) in named.items()}


def _points(points_ft: np.ndarray) -> list[list[float]]:
    return [[round(float(x), 3), round(float(y), 3)] for x, y in points_ft]


def _rounded(values: np.ndarray, digits: int) -> list[float]:
    return [round(float(v), digits) for v in values]
