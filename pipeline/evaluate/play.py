"""Actions, sets and faults on real five-on-five play: how often each is found, and agreement with readers.

The folder holds ``tracks.parquet`` (possession, t_s, agent, x_ft, y_ft; agent -1 is the ball, 0-4 attack, 5-9
defend) and perhaps ``possessions.parquet``, and goes through the same door as any tracking data. With the labels of
readers (``labels.json`` in the folder, or another file) the finds are also scored.
"""

from __future__ import annotations

import multiprocessing
import os
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pipeline.actions.events import Event, events_to_table
from pipeline.actions.recognisers import actions_in
from pipeline.actions.tables import ACTIONS
from pipeline.actions.view_building import possession_views
from pipeline.actions.vocabulary import KIND
from pipeline.ball.imported_ball import play_tables
from pipeline.court.rule_books import RuleBook, rule_book
from pipeline.errors import DataError
from pipeline.evaluate.published_rates import POSSESSIONS_A_GAME, PUBLISHED
from pipeline.evaluate.readers import READ_KINDS, Agreement, agreement, read_labels
from pipeline.night.tracking_files import read_tracking
from pipeline.players.imported_play import Stretch, games_of, laid_end_to_end
from pipeline.players.imported_rows import Convention, read_rows
from pipeline.sets.finding import find_sets
from pipeline.settings import Settings
from pipeline.spacing.arrivals import ENTERS, arrivals
from pipeline.spacing.faults import faults_of
from pipeline.spacing.scene import scene

LABELS_FILE = "labels.json"
FIVE = 5
"""Others in the paint from which a drive runs into a crowd: the glossary's base rates are told for five."""
CHUNK = 40
"""Possessions that are worked on together."""
ALONE = 100
"""Up to so many possessions are not worth another process."""

Labels = Mapping[str, Mapping[str, Sequence[Mapping[str, Any]]]]


@dataclass(slots=True)
class Count:
    """What was found in some possessions.

    Attributes
    ----------
    possessions : int
    found, having : Counter
        By (family, kind): finds, and possessions that have one.
    contact : int
        On-ball screens with contact.
    others : Counter
        Drives by the number of others in the paint as the handler enters it.
    kinds : dict of str to Agreement
        By kind of the labels.
    """

    possessions: int = 0
    found: Counter[tuple[str, str]] = field(default_factory=Counter)
    having: Counter[tuple[str, str]] = field(default_factory=Counter)
    contact: int = 0
    others: Counter[int] = field(default_factory=Counter)
    kinds: dict[str, Agreement] = field(default_factory=lambda: {kind: Agreement() for kind in READ_KINDS})

    def add(self, other: Count) -> None:
        """Count other possessions'."""
        self.possessions += other.possessions
        self.found.update(other.found)
        self.having.update(other.having)
        self.contact += other.contact
        self.others.update(other.others)
        for kind, one in other.kinds.items():
            self.kinds[kind].add(one)

    def take(self, family: str, kinds: Sequence[str]) -> None:
        """Count one possession's finds of a family, by their kinds."""
        self.found.update((family, kind) for kind in kinds)
        self.having.update({(family, kind) for kind in kinds})


def evaluate_play(
    folder: Path,
    *,
    settings: Settings | None = None,
    labels: Path | None = None,
    book: str = "nba",
    workers: int | None = None,
    on_progress: Callable[[float, float], None] | None = None,
) -> dict[str, Any]:
    """How often things are found in a folder of possessions, and agreement with its readers where it has any.

    Parameters
    ----------
    folder : Path
    settings : Settings, optional
    labels : Path, optional
        Readers' labels; ``labels.json`` of the folder if left out and there.
    book : str
        Rule book of the court.
    workers : int, optional
        Processes; as many as there are processors if left out.
    on_progress : callable, optional

    Returns
    -------
    dict
        ``possessions``, ``games``; ``actions``, ``sets`` (played whole) and ``faults`` by kind with ``found``,
        ``per_possession``, ``per_game`` (of 190 possessions), ``possessions_share`` and, where there is one, the
        ``published`` rate with its source; ``drives_into_paint`` and ``others_in_paint_share`` (share of those drives
        per number of others in the paint as the handler enters it), ``crowded_share``, ``crowded_threshold``;
        ``on_ball_screens_contact_per_game``. With labels also ``kinds``: by kind of the labels their count, finds,
        matches, precision, recall, F1; and ``disputes``, every event missed or found in vain.
    """
    settings = settings or Settings()
    court = rule_book(book)
    table, source = read_tracking(folder)
    games = games_of(read_rows(table, source, court, Convention()), court, settings.imported)
    path = labels if labels is not None else folder / LABELS_FILE
    told: Labels = read_labels(path) if labels is not None or path.is_file() else {}
    plays = [stretch for stretches in games.values() for stretch in stretches]
    names = {stretch.possession for stretch in plays}
    if None in names:
        raise DataError(f"{source.name} has no column 'possession'; play is measured by possessions, so name them.")
    strange = sorted(set(told) - {str(name) for name in names})
    if strange:
        raise DataError(
            f"{path} reads possession '{strange[0]}', which {source.name} does not have; name the right file."
        )
    total = Count()
    chunks = _chunks(plays)
    for done, count in enumerate(_counted(chunks, court, settings, told, workers), start=1):
        total.add(count)
        if on_progress is not None:
            on_progress(min(done * CHUNK, len(plays)), len(plays))
    return _as_json(total, len(games), settings, told)


def _chunks(plays: Sequence[Stretch]) -> list[list[Stretch]]:
    """Possessions in bundles of :data:`CHUNK`; what a gap or a cut has parted stays together."""
    named: dict[str | None, list[Stretch]] = {}
    for stretch in plays:
        named.setdefault(stretch.possession, []).append(stretch)
    groups = list(named.values())
    return [[s for group in groups[n : n + CHUNK] for s in group] for n in range(0, len(groups), CHUNK)]


def _counted(
    chunks: Sequence[Sequence[Stretch]], book: RuleBook, settings: Settings, labels: Labels, workers: int | None
) -> Iterator[Count]:
    processes = workers or os.cpu_count() or 1
    if processes == 1 or sum(len(chunk) for chunk in chunks) <= ALONE:
        yield from (count_play(chunk, book, settings, labels) for chunk in chunks)
        return
    context = multiprocessing.get_context("forkserver")
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        yield from pool.map(
            count_play, chunks, [book] * len(chunks), [settings] * len(chunks), [labels] * len(chunks)
        )  # fmt: skip


def count_play(plays: Sequence[Stretch], book: RuleBook, settings: Settings, labels: Labels) -> Count:
    """Look for everything in some possessions, all stretches of each."""
    count = Count()
    laid = laid_end_to_end(plays, settings.imported)
    tables = play_tables(laid, book, settings.imported, settings.ball)
    found: dict[int, list[Event]] = {}
    everything = (tables.tracks, tables.ball, tables.touches, tables.possessions)
    for view in possession_views(*everything, book, settings.actions):
        events = actions_in(view, settings.actions)
        here = scene(view, events, settings.spacing)
        found.setdefault(view.shot, []).extend(events)
        count.take("actions", [e.kind for e in events])
        count.take("faults", [e.kind for e in faults_of(here, settings.faults.library)])
        count.contact += sum(e.kind == "on_ball_screen" and e.traits["contact"] == "yes" for e in events)
        entered = (m.event for m in arrivals(here) if m.event.traits["moment"] == ENTERS)
        count.others.update(int(e.measures["count"]) for e in entered)
    count.possessions = len({stretch.possession for stretch in plays})
    actions = events_to_table([e for events in found.values() for e in events], ACTIONS)
    definitions = settings.set_library.definitions
    played: dict[int, list[str]] = {}
    for row in find_sets(definitions, actions, tables.tracks, tables.ball, book, settings.sets).to_pylist():
        if row["complete"]:
            played.setdefault(row["shot"], []).append(row["kind"])
    for kinds in played.values():
        count.take("sets", kinds)
    own_clock: dict[str, list[Event]] = {}
    for shot, (stretch, original) in enumerate(zip(laid, plays, strict=True)):
        shift_s = float(original.t_s[0] - stretch.t_s[0])
        own_clock.setdefault(str(original.possession), []).extend(_moved(e, shift_s) for e in found.get(shot, []))
    for name in own_clock.keys() & labels.keys():
        for kind in READ_KINDS:
            count.kinds[kind].add(agreement(kind, own_clock[name], labels[name].get(kind, []), name))
    return count


def _moved(event: Event, by_s: float) -> Event:
    """An event on another clock."""
    return replace(event, start_s=event.start_s + by_s, end_s=event.end_s + by_s, t_s=event.t_s + by_s)


def _as_json(total: Count, games: int, settings: Settings, labels: Labels) -> dict[str, Any]:
    drives = sum(total.others.values())
    faults = [rule.name for rule in settings.faults.library]
    sets = [one.name for one in settings.set_library.definitions]
    a_game = POSSESSIONS_A_GAME / max(total.possessions, 1)
    result: dict[str, Any] = {
        "possessions": total.possessions,
        "games": games,
        "actions": {kind: _rates(total, "actions", kind) for kind in KIND},
        "sets": {kind: _rates(total, "sets", kind) for kind in sets},
        "faults": {kind: _rates(total, "faults", kind) for kind in faults},
        "drives_into_paint": drives,
        "others_in_paint_share": {str(n): total.others[n] / drives for n in range(max(total.others) + 1)}
        if drives
        else {},
        "crowded_threshold": FIVE,
        "crowded_share": sum(n for count, n in total.others.items() if count >= FIVE) / drives if drives else None,
        "on_ball_screens_contact_per_game": total.contact * a_game,
    }
    if labels:
        result["kinds"] = {kind: one.as_json() for kind, one in total.kinds.items()}
        result["disputes"] = [dispute for one in total.kinds.values() for dispute in one.disputes]
    return result


def _rates(total: Count, family: str, kind: str) -> dict[str, Any]:
    found = total.found[family, kind]
    possessions = max(total.possessions, 1)
    rates: dict[str, Any] = {
        "found": found,
        "per_possession": found / possessions,
        "per_game": found / possessions * POSSESSIONS_A_GAME,
        "possessions_share": total.having[family, kind] / possessions,
    }
    if family == "actions" and kind in PUBLISHED:
        rates["published"] = PUBLISHED[kind].as_json()
    return rates


def play_lines(result: Mapping[str, Any]) -> Iterator[str]:
    """A report for people."""
    yield f"{result['possessions']} possessions of {result['games']} games; rates for a game of 190 possessions."
    for family in ("actions", "sets", "faults"):
        for kind, one in result.get(family, {}).items():
            told = one.get("published")
            beside = f"  published {told['low']:g}-{told['high']:g} ({told['source']})" if told else ""
            yield (
                f"{family[:-1]:7s} {kind:28s} {one['found']:6d} found, {one['per_possession']:.3f} a possession, "
                f"{one['per_game']:6.1f} a game, in {one['possessions_share']:.1%} of possessions{beside}"
            )
    shares = ", ".join(f"{n}: {share:.1%}" for n, share in result["others_in_paint_share"].items())
    if shares:
        yield f"others in the paint as the handler enters it on {result['drives_into_paint']} drives: {shares}"
    for kind, one in result.get("kinds", {}).items():
        shares = ", ".join(f"{name} {_percent(one[name])}" for name in ("precision", "recall", "f1"))
        yield (
            f"readers {kind:18s} {one['labels']:3d} seen by both, {one['found']:3d} found, {one['matched']:3d} "
            f"matched: {shares}"
        )
    for one in result.get("disputes", []):
        actors = ", ".join(f"{name} {who}" for name, who in one.items() if name not in _DISPUTE)
        yield f"  {one['what']:6s} {one['kind']} in {one['possession']} at {one['t_s']:.2f} s: {actors}"


_DISPUTE = ("possession", "kind", "what", "t_s")


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{share:.1%}"
