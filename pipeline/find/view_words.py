"""The views of a library for SQL: what each holds, column by column. docs/find.md is held to this by a test."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.film.tables import SHOTS
from pipeline.players.tables import TRACKS
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.spacing.tables import FAULTS, POSSESSION_MEASURES
from pipeline.tables import TableSpec


@dataclass(frozen=True, slots=True)
class View:
    """A view.

    Attributes
    ----------
    name, meaning : str
    columns : mapping of str to str
        Meaning of each column, in order.
    table : TableSpec or None
        The games' table that it shows, None for what comes from the tag store and ``game.toml``.
    """

    name: str
    meaning: str
    columns: Mapping[str, str]
    table: TableSpec | None = None


_GAME = {"game": "game of the library"}
_WHERE = {
    "shot": "shot of the film",
    "possession": "possession of the game; null when unknown",
}
_WHEN = {
    "start_s": "start, film time",
    "end_s": "end, film time",
    "t_s": "the moment of it, film time",
}
_EVENT = {
    **_GAME,
    "event": "number in the game's table",
    "kind": "which one",
    **_WHERE,
    **_WHEN,
    "actors": "who did it, the main actor first: list of (role, track)",
    "x_ft": "place along the court",
    "y_ft": "place across the court",
    "attacked_end": "left or right",
    "measures": "map from a measure's name to its value; one that is not known is absent, so that it reads as null",
    "traits": "map from a trait's name to its word; 'unknown' where it could not be seen",
    "score": "how sure the rule is, 0 to 1",
}
_EVIDENCE = {
    "measures": "map of measures, as the latest run measured them",
    "traits": "map of words, as the latest run saw them",
}

VIEWS: tuple[View, ...] = (
    View(
        "games", "one row a game, as its game.toml has it",
        {
            **_GAME,
            "date": "day of the game; null where not filled in",
            "opponent": "who was played; null where not filled in",
            "rule_book": "rule book of the floor; null where it is recognised from the picture",
            "team_0": "name of the team that the tables call 0",
            "team_1": "name of the team that the tables call 1",
            "source": "film or tracking",
            "path": "where the film or the tracking data lies",
        },
    ),
    View(
        "tags", "one row a tag of the store, with what staff decided; withdrawn ones left out",
        {
            "tag": "its number",
            **_GAME,
            "family": "fault, set or action",
            "kind": "which one",
            "shot": "shot of the film",
            "possession": "possession of the game; null when unknown",
            "team": "attacking team, 0 or 1; null when unknown",
            "t_s": "the moment of it, film time",
            "start_s": "start, film time; as staff set it, where they did",
            "end_s": "end, film time; as staff set it, where they did",
            "state": "candidate, confirmed, rejected or unsure",
            "severity": "note, fault or severe",
            "sentence": "what it says",
            "score": "how sure the rule is, 0 to 1",
            "probability": "how likely staff are to confirm it, learnt from their decisions",
            "ended": "ending of a set; null for none",
            "missing": "phases of a set that were not found",
            "actors": "who did it, as staff set it: list of (role, track)",
            **_EVIDENCE,
            "labels": "staff's labels",
            "note": "staff's note",
            "decided_by": "whose decision stands",
            "decided_at": "since when, UTC",
        },
    ),
    View(
        "decisions", "one row a tag that somebody decided: the standing verdict with the evidence of that time",
        {
            "tag": "number of the tag",
            **_GAME,
            "family": "fault, set or action",
            "kind": "which one",
            "verdict": "confirmed, rejected or unsure",
            "score": "of the rule, 0 to 1",
            "measures": "map of measures, as they were when it was decided",
            "traits": "map of words, as they were when it was decided",
            "decided_at": "when, UTC",
            "decided_by": "whose verdict",
        },
    ),
    View("actions", "one row an action", _EVENT, ACTIONS),
    View(
        "set_candidates", "one row a set that was played, whole or in part; kind is the set's name",
        {
            **_EVENT,
            "ending": "ending that was played; null for none",
            "complete": "whether every phase that must be there was found",
            "phases": "phases in order of the file: list of (name, found, event, start_s, end_s)",
            "missing": "phases that must be there and were not found",
        },
        SET_CANDIDATES,
    ),
    View("faults", "one row a spacing fault", _EVENT, FAULTS),
    View(
        "possessions", "one row a possession",
        {
            **_GAME,
            "possession": "its number in the game",
            "shot": "shot of the film",
            "team": "attacking team, 0 or 1; -1 when unknown",
            "attacked_end": "left or right",
            "start_s": "start, film time",
            "end_s": "end, film time",
            "half_court_s": "start of the half-court phase; null when there was none or not known",
            "score": "how sure it is, 0 to 1",
        },
        POSSESSIONS,
    ),
    View(
        "touches", "one row a stretch of control of the ball, or what came between two",
        {
            **_GAME,
            "touch": "number in the game's table",
            "shot": "shot of the film",
            "kind": "hold, dribble, pass, handoff, shot, rebound or loose",
            "start_s": "start, film time",
            "end_s": "end, film time",
            "track": "holder, passer, shooter or rebounder",
            "to_track": "receiver of a pass or handoff; null otherwise",
            "team": "team of the track, 0 or 1; -1 when unknown",
            "score": "how sure it is, 0 to 1",
        },
        TOUCHES,
    ),
    View(
        "tracks", "one row a body and analysed frame: who was where",
        {
            **_GAME,
            "frame": "frame of the film",
            "t_s": "film time",
            "shot": "shot of the film",
            "track": "one body followed; unique in the game, and not a player",
            "role": "player, official or other",
            "team": "0 or 1; -1 unknown or official",
            "jersey": "number worn; null when not read",
            "x_ft": "place along the court, where the feet are",
            "y_ft": "place across the court",
            "vx_ft_s": "speed along the court",
            "vy_ft_s": "speed across the court",
            "sigma_ft": "uncertainty of the place",
            "observed": "false: filled in",
            "x1_px": "box in the picture, left; null when filled in or without film",
            "y1_px": "box, top",
            "x2_px": "box, right",
            "y2_px": "box, bottom",
            "score": "how sure it is, 0 to 1",
        },
        TRACKS,
    ),
    View(
        "ball", "one row an analysed frame in which the ball is known",
        {
            **_GAME,
            "frame": "frame of the film",
            "t_s": "film time",
            "shot": "shot of the film",
            "x_px": "ball in the picture",
            "y_px": "ball in the picture",
            "x_ft": "floor point under it, along the court; null when not known",
            "y_ft": "floor point under it, across the court; null when not known",
            "z_ft": "height; null when not known",
            "holder": "track that holds it; null for nobody or unknown",
            "observed": "false: filled in",
            "score": "how sure it is, 0 to 1",
        },
        BALL,
    ),
    View(
        "shots", "one row a shot of the film (of the camera, not at the ring: those are touches)",
        {
            **_GAME,
            "shot": "its number",
            "start_s": "start, film time",
            "end_s": "end, film time; the next shot starts here",
            "start_frame": "first frame",
            "end_frame": "frame after the last",
            "view": "main, replay, closeup, crowd, graphics or other",
            "live": "main court camera in live play",
            "transition_in": "start, cut, wipe or dissolve",
            "score": "how sure view and live are, 0 to 1",
            "reason": "why live or not, one sentence",
        },
        SHOTS,
    ),
    View(
        "possession_measures", "one row a possession: its spacing, means over the half-court phase",
        {
            **_GAME,
            "possession": "its number in the game",
            "shot": "shot of the film",
            "team": "attacking team, 0 or 1; -1 when unknown",
            "attacked_end": "left or right",
            "start_s": "start, film time",
            "end_s": "end, film time",
            "settled_s": "start of the half-court phase; null when there was none",
            "placed_share": "share of its moments with all ten placed",
            "touches": "how many touches",
            "passes": "how many passes, handoffs not counted",
            "handoffs": "how many handoffs",
            "reversals": "how many reversals",
            "seconds_per_touch_s": "seconds a touch lasts",
            "first_action": "kind of the first action of the half-court phase",
            "first_action_s": "from the start of the half-court phase to it",
            "hull_attack_ft2": "area round the five attackers",
            "hull_defence_ft2": "area round the five defenders",
            "centroid_attack_ft": "mean distance of the attackers to their middle",
            "centroid_defence_ft": "mean distance of the defenders to their middle",
            "perimeter_gap_ft": "distance of perimeter attackers to the nearest teammate, mean",
            "perimeter_least_gap_ft": "the least of those distances, mean over time",
            "paint_attack": "attackers in the paint, the handler not counted",
            "paint_defence": "defenders in the paint",
            "paint_most": "most bodies in the paint at one moment, the handler not counted",
            "ball_side_attack": "attackers on the ball's side",
            "ball_side_defence": "defenders on the ball's side",
        },
        POSSESSION_MEASURES,
    ),
)  # fmt: skip
"""All views."""
