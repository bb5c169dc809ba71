"""A made-up season without film: runs of one set, decisions, ball screens and bodies, all of them known."""

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import POSSESSIONS
from pipeline.film.tables import CLOCK
from pipeline.library.games import Library
from pipeline.players.tables import TRACKS
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.spacing.tables import FAULTS, SPACING
from pipeline.tags import Candidate, Family, State

NOW = datetime(2026, 11, 20, 6, 0, tzinfo=UTC)
CLUBS = ("Löwen <i>1904</i>", "O'Hara's \"Five\" & Co")
ROSTER = {"4": "Žilić", "5": 'A. "Tree" <b>Lund</b>', "7": "Çelik", "9": "Færøy", "11": "Gómez $2^3$"}
HARBOUR, OTHERS = 0, 1
RUNS, OTHER_RUNS = 6, 4
"""Runs of the set by each team in each game."""

POSSESSION_S = 20.0
GAMES = 7


def run_row(number, possession, t_s, catch_ft, wait_s, ending):
    """A whole run of the weak-side motion."""
    grade = "good" if catch_ft <= 25 else "poor" if catch_ft >= 28 else "fair"
    wait = "good" if wait_s <= 1.8 else "poor" if wait_s >= 2.5 else "fair"
    read = "right" if number % 3 else "wrong"
    traits = {
        "return_catch": grade,
        "top_wait": wait,
        "cross_read": "good" if read == "right" else "poor",
        "cross_read_was": read,
        "counter": "none",
    }
    return {
        **event_row(number, "weak_side_motion", possession, t_s, {}, {}),
        "actors": [{"role": "guard", "track": 1 + 5 * (possession % 2)}],
        "measures": [("return_catch_ft", catch_ft), ("top_wait_s", wait_s)],
        "traits": list(traits.items()),
        "ending": ending,
        "complete": True,
        "phases": [],
        "missing": [],
    }


def event_row(number, kind, possession, t_s, measures, traits, actors=(("handler", 1), ("screener", 2))):
    return {
        "event": number,
        "kind": kind,
        "shot": possession,
        "possession": possession,
        "start_s": t_s - 2.0,
        "end_s": t_s + 1.0,
        "t_s": t_s,
        "actors": [{"role": role, "track": track} for role, track in actors],
        "x_ft": 20.0,
        "y_ft": 25.0,
        "attacked_end": "left",
        "measures": list(measures.items()),
        "traits": list(traits.items()),
        "score": 0.9,
    }


def catches(game: int, team: int) -> list[float]:
    """Distances of the return catch: Harbour catches about 6 ft nearer to the ring."""
    rng = np.random.default_rng([game, team, 5])
    count = RUNS if team == HARBOUR else OTHER_RUNS
    return np.round(rng.normal(23.0 if team == HARBOUR else 29.5, 1.2, count), 2).tolist()


def bodies(game: int, possession: int) -> int:
    """Others in the paint as the corner is turned in a possession."""
    return (game + possession) % 8


def candidate(row, team, family=Family.SET, sentence="The return pass is caught where it is caught."):
    return Candidate(
        kind=row["kind"],
        family=family,
        shot=row["shot"],
        possession=row["possession"],
        team=team,
        start_s=row["start_s"],
        end_s=row["end_s"],
        t_s=row["t_s"],
        actors=tuple((one["role"], one["track"]) for one in row["actors"]),
        measures=dict(row["measures"]),
        traits=dict(row["traits"]),
        score=row["score"],
        severity="note",
        sentence=sentence,
        ending=row.get("ending"),
        missing=tuple(row.get("missing") or ()),
    )


def make_season(root: Path, games: int = GAMES) -> Library:
    """The library; in every game the last run of each team is undecided and the one before it rejected."""
    library = Library(root)
    for game in range(games):
        make_game(root, game)
    with library.tag_store() as store:
        for game in range(games):
            name = f"game-{game}"
            rows = set_rows(game)
            whole = [(row, team) for row, team in rows if row["complete"]]
            found = [candidate(row, team) for row, team in whole]
            found += [candidate(row, team, Family.FAULT, "Pushed out.") for row, team in fault_rows(game)]
            tags = store.merge(name, found, who="run", when=NOW).new
            by_team = {team: [n for n, (_, t) in zip(tags, whole, strict=False) if t == team] for team in (0, 1)}
            for own in by_team.values():
                for place, tag in enumerate(own):
                    if place == len(own) - 1:
                        continue
                    verdict = State.REJECTED if place == len(own) - 2 else State.CONFIRMED
                    store.decide(tag, verdict, who="Kim", when=NOW)
            for tag in tags[len(whole) :]:
                store.decide(tag, State.CONFIRMED, who="Kim", when=NOW)
    return library


def possession_of(team: int, place: int) -> int:
    """Harbour attacks in even possessions, the others in odd ones."""
    return 2 * place + team


def set_rows(game: int):
    """Whole runs, and for Harbour one that was broken off; with the team of each."""
    rows = []
    for team in (HARBOUR, OTHERS):
        for place, catch_ft in enumerate(catches(game, team)):
            possession = possession_of(team, place)
            ending = ("post_entry", "zipper_curl")[place % 2]
            t_s = POSSESSION_S * possession + 12.0
            rows.append((run_row(len(rows), possession, t_s, catch_ft, 1.2 + 0.3 * (place % 2), ending), team))
    broken = run_row(len(rows), possession_of(HARBOUR, RUNS), POSSESSION_S * 2 * RUNS + 12.0, 24.0, 1.0, None)
    rows.append(({**broken, "complete": False, "missing": ["cross", "ending"]}, HARBOUR))
    return rows


def fault_rows(game: int):
    """Pushed-out catches of Harbour: one more in every game than in the one before."""
    rows = []
    for place in range(game + 1):
        possession = possession_of(HARBOUR, place)
        measures = {"catch_ring_ft": 28.0 + place}
        rows.append(
            (event_row(place, "pushed_out_catch", possession, POSSESSION_S * possession + 6.0, measures, {}), 0)
        )
    return rows


def make_game(root: Path, game: int) -> None:
    folder = root / "games" / f"game-{game}"
    tables = folder / "tables"
    count = 2 * (RUNS + 2)
    actions, spacing, tracks, frame = [], [], [], 0
    for possession in range(count):
        begins = POSSESSION_S * possession
        at = begins + 9.0
        traits = {"side": ("side", "middle")[possession // 2 % 2], "sent": "middle", "coverage": "over"}
        screen = event_row(2 * possession, "on_ball_screen", possession, at - 1.0, {"contact_ft": 2.0}, traits)
        corner = event_row(2 * possession + 1, "corner_turned", possession, at, {"after_screen_s": 1.0}, {})
        actions += [screen, {**corner, "start_s": at - 1.0}]
        for step in range(-5, 6):
            spacing.append(
                {
                    "frame": frame + step + 5,
                    "t_s": at + 0.04 * step,
                    "shot": possession,
                    "handler": 1,
                    "attacked_end": "left",
                    "paint_attack": 1 if bodies(game, possession) else 0,
                    "paint_defence": max(bodies(game, possession) - 1, 0) + (step == 5),
                    "paint_unknown": 0,
                    "possession": possession,
                }
            )
        worn = list(ROSTER)
        for team in (0, 1):
            for n in range(5):
                known = team == HARBOUR and not (possession == 0 and n == 0)
                tracks.append(
                    {
                        "frame": frame, "t_s": at, "shot": possession, "track": 1 + n + 5 * team + 10 * possession,
                        "role": "player", "team": team, "jersey": worn[n] if known else None, "x_ft": 20.0,
                        "y_ft": 25.0, "vx_ft_s": 0.0, "vy_ft_s": 0.0, "sigma_ft": 0.1, "observed": True, "score": 1.0,
                    }
                )  # fmt: skip
        frame += 11
    ACTIONS.write(ACTIONS.from_rows(actions), tables)
    SPACING.write(SPACING.from_rows(spacing), tables)
    TRACKS.write(TRACKS.from_rows(tracks), tables)
    SET_CANDIDATES.write(SET_CANDIDATES.from_rows([row for row, _ in set_rows(game)]), tables)
    FAULTS.write(FAULTS.from_rows([row for row, _ in fault_rows(game)]), tables)
    POSSESSIONS.write(
        POSSESSIONS.from_rows(
            [
                {
                    "possession": n, "shot": n, "team": n % 2, "attacked_end": "left", "start_s": POSSESSION_S * n,
                    "end_s": POSSESSION_S * n + 18.0, "score": 1.0,
                }
                for n in range(count)
            ]
        ),
        tables,
    )  # fmt: skip
    seconds = int(POSSESSION_S * count)
    CLOCK.write(
        CLOCK.from_rows(
            [
                {
                    "frame": n, "t_s": float(n), "period": 1 if n < seconds / 4 else 2,
                    "game_clock_s": 600.0 - n % (seconds / 4), "status": "read",
                }
                for n in range(seconds)
            ]
        ),
        tables,
    )  # fmt: skip
    club = CLUBS[game % 2]
    lines = [f'date = "2026-10-{3 + game:02d}"', f"opponent = {json.dumps(club)}", 'rule_book = "nba"']
    lines += ["[team_0]", 'name = "Harbour"', "[team_0.roster]", *(f"{n} = {json.dumps(w)}" for n, w in ROSTER.items())]
    lines += ["[team_1]", f"name = {json.dumps(club)}", "[tracking]", 'path = "x.csv"', f'digest = "d{game}"']
    (folder / "game.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    stages = {name: {"key": "k", "seconds": 1.0} for name in ("import", "actions", "sets", "spacing")}
    (folder / "state.json").write_text(json.dumps(stages), encoding="utf-8")
    (folder / "logs").mkdir()
    entry = {"when": f"2026-11-{10 + game:02d}T03:00:00+00:00", "stages": {"import": 1.0, "sets": 0.5}, "unchanged": []}
    (folder / "logs" / "runs.jsonl").write_text(json.dumps(entry) + "\n", encoding="utf-8")
