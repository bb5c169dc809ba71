"""A made-up library: two games with actions, sets and faults, some of them tags that staff decided."""

from datetime import UTC, datetime
from pathlib import Path

from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import POSSESSIONS
from pipeline.film.tables import CLOCK
from pipeline.library.games import Library
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.spacing.tables import FAULTS
from pipeline.tags import Candidate, Family

NOW = datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)

GAMES = {
    "harbour-1": ("2026-01-03", "SC Löwen", "Harbour", "SC Löwen"),
    "o'hara's-2": ("2026-01-10", "O'Hara's", 'The "Five"', "Harbour"),
}


def event(number, kind, t_s, measures, traits=None, possession=0, track=1):
    return {
        "event": number,
        "kind": kind,
        "shot": 0,
        "possession": possession,
        "start_s": t_s - 1,
        "end_s": t_s + 1,
        "t_s": t_s,
        "actors": [{"role": "handler", "track": track}],
        "x_ft": 20.0,
        "y_ft": 25.0,
        "attacked_end": "left",
        "measures": list(measures.items()),
        "traits": list((traits or {}).items()),
        "score": 0.5 + number / 100,
    }


def play(number, ending, t_s, measures, traits=None, missing=(), possession=0):
    row = event(number, "weak_side_motion", t_s, measures, traits, possession, track=3)
    return {**row, "ending": ending, "complete": not missing, "phases": [], "missing": list(missing)}


ACTION_ROWS = [
    event(0, "drive", 5.0, {"gain_ft": 12.0, "top_speed_ft_s": 15.0, "paint_entry_s": None}, {"off_screen": "yes"}),
    event(1, "drive", 15.0, {"gain_ft": 21.5, "top_speed_ft_s": None}, {"off_screen": "unknown"}, possession=1),
    event(2, "pass", 6.0, {"length_ft": 30.0}, {"type": "skip", "returned": "no"}),
]
SET_ROWS = [
    play(0, "post_entry", 20.0, {"return_catch_ft": 30.5, "top_wait_s": 1.0}, {"return_catch": "poor"}),
    play(1, "post_entry", 30.0, {"return_catch_ft": 22.0, "top_wait_s": 3.0}, {"return_catch": "good"}, possession=1),
    play(2, "zipper_curl", 40.0, {"return_catch_ft": 29.0}, {"return_catch": "poor"}),
    play(3, "post_entry", 50.0, {"return_catch_ft": None, "top_wait_s": 1.5}, {"return_catch": "unknown"}),
    play(4, None, 60.0, {"return_catch_ft": 33.0}, {"return_catch": "poor"}, missing=("cross", "ending")),
]
FAULT_ROWS = [
    event(0, "pushed_out_catch", 20.0, {"catch_ring_ft": 30.5, "catch_above_line_ft": 6.0}, {"returned": "yes"}),
    event(1, "wasted_cutter", 33.0, {"path_ft": 40.0}, {"ended": "corner"}),
]


def candidate(family, row, sentence):
    return Candidate(
        kind=row["kind"],
        family=family,
        shot=row["shot"],
        possession=row["possession"],
        team=row["possession"],
        start_s=row["start_s"],
        end_s=row["end_s"],
        t_s=row["t_s"],
        actors=tuple((one["role"], one["track"]) for one in row["actors"]),
        measures={name: value for name, value in row["measures"] if value is not None},
        traits=dict(row["traits"]),
        score=row["score"],
        severity="fault",
        sentence=sentence,
        ending=row.get("ending"),
        missing=tuple(row.get("missing", ())),
    )


def quoted(text):
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def make_library(root: Path, store_url: str = "") -> Library:
    """The library; every complete set and every fault is a tag, in SQLite or at the URL."""
    library = Library(root)
    if store_url:
        root.mkdir()
        (root / "library.toml").write_text(f"tag_store = {quoted(store_url)}\n", encoding="utf-8")
    for name, (date, opponent, team_0, team_1) in GAMES.items():
        folder = root / "games" / name
        tables = folder / "tables"
        ACTIONS.write(ACTIONS.from_rows(ACTION_ROWS), tables)
        SET_CANDIDATES.write(SET_CANDIDATES.from_rows(SET_ROWS), tables)
        FAULTS.write(FAULTS.from_rows(FAULT_ROWS), tables)
        possessions = [
            {"possession": n, "shot": 0, "team": n, "attacked_end": "left", "start_s": 0.0, "end_s": 60.0, "score": 1.0}
            for n in (0, 1)
        ]
        POSSESSIONS.write(POSSESSIONS.from_rows(possessions), tables)
        clock = [
            {"frame": n, "t_s": float(n), "period": 1 if n < 25 else 2, "game_clock_s": 600.0 - n, "status": "read"}
            for n in range(100)
        ]
        CLOCK.write(CLOCK.from_rows(clock), tables)
        told = f"date = {quoted(date)}\nopponent = {quoted(opponent)}\n[team_0]\nname = {quoted(team_0)}\n"
        told += f'[team_1]\nname = {quoted(team_1)}\n[tracking]\npath = "x.csv"\ndigest = {quoted(name)}\n'
        (folder / "game.toml").write_text(told, encoding="utf-8")
    with library.tag_store() as store:
        for name in GAMES:
            found = [candidate(Family.SET, row, "The set was run.") for row in SET_ROWS if row["complete"]]
            found += [candidate(Family.FAULT, row, "Pushed out.") for row in FAULT_ROWS]
            store.merge(name, found, who="run", when=NOW)
    return library
