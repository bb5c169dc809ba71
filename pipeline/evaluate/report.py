"""The README's table of numbers: every evaluation whose data is at hand, written by one command.

Each row names what was measured on what, the number, and the count behind it. A part whose data is missing is one
row that says so.
"""

from __future__ import annotations

import os
import platform
import shutil
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

from pipeline.errors import DataError
from pipeline.evaluate.films import evaluate_films, shown
from pipeline.whole_files import write_whole

BEGIN, END = "<!-- numbers:begin -->", "<!-- numbers:end -->"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: what was measured, on which data, the number, and how many things it is over."""

    measure: str
    data: str
    value: str
    count: str


@dataclass(frozen=True, slots=True)
class Part:
    """One evaluation: its command, whether its data is there, and how to run it."""

    command: str
    data: Path
    rows: Callable[[], Iterator[Row]]


@dataclass(frozen=True, slots=True)
class Sources:
    """Where the report's material is.

    Attributes
    ----------
    clips : Path
        Films, each with its truth beside it in a folder named ``<film>_truth``.
    data : Path
        Folder of outside data, see DEVELOPERS.md.
    boxes : tuple of Path
        Folders of pictures with labelled boxes.
    held_out : tuple of str
        Games of the labelled frames that training did not see.
    film_tables : Path, optional
        Library, or folder of folders of tables, of a set of films, see :func:`~pipeline.evaluate.films.evaluate_films`.
    film_truths : Path, optional
        Their truth.
    played, played_truths : Path, optional
        Games and their truth for actions, sets and faults, see :func:`~pipeline.evaluate.games.game_pairs`.
    drills : Path, optional
        Folder of simulated drills: everything is found anew from their true tracks.
    """

    clips: Path
    data: Path
    boxes: tuple[Path, ...] = ()
    held_out: tuple[str, ...] = ()
    film_tables: Path | None = None
    film_truths: Path | None = None
    played: Path | None = None
    played_truths: Path | None = None
    drills: Path | None = None


def film_rows(name: str, scores: dict[str, Any]) -> Iterator[Row]:
    """Rows of ``evaluate film``."""
    court, players = scores["court"], scores["players"]
    yield Row("live frames registered", name, _share(court["registered"]), f"{court['live_frames']} frames")
    yield Row(
        "court error, median / p95",
        name,
        f"{_feet(court['median_ft'])} / {_feet(court['p95_ft'])}",
        f"{court['points']} points",
    )
    place = players["position_ft"]
    yield Row(
        "player position error, median / p95",
        name,
        f"{_feet(place['median'])} / {_feet(place['p95'])}",
        f"{place['count']} places",
    )
    for kind, one in scores["detection"].items():
        if isinstance(one, dict) and "recall" in one:
            value = f"{_share(one['recall'])} / {_share(one['precision'])}"
            yield Row(f"detection recall / precision, {kind}", name, value, f"{one['truth']} true boxes")
    identity = players["identity"]
    value = f"{_share(identity.get('HOTA'))} / {_share(identity.get('IDF1'))}"
    yield Row("identities on the floor, HOTA / IDF1", name, value, f"{identity['truth']} true places")
    yield Row("team right", name, _share(players["team"]["right"]), f"{players['team']['count']} places")
    numbers = scores["numbers"]
    value = f"{_share(numbers['with_number'])} / {_share(numbers['right'])}"
    yield Row("tracks with a jersey number / right among them", name, value, f"{numbers['tracks']} tracks")
    if scores["candidates"] is not None:
        one, told = scores["candidates"]["all"], scores["candidates"]["told"]
        value = f"{_share(one['recall'])} / {_share(one['precision'])}"
        of = "" if told is None else f" of the kind that its truth tells ({', '.join(told).replace('_', ' ')})"
        yield Row(f"candidates{of}, recall / precision", name, value, f"{one['truth']} true, {one['found']} found")


def films_rows(scores: dict[str, Any]) -> Iterator[Row]:
    """Rows of ``evaluate films``: each with what is asked and the worst film."""
    for line in scores["measures"]:
        value = shown(line["value"], line["unit"])
        if line["worst_film"]:
            value += f", worst {shown(line['worst'], line['unit'])}"
        data = f"{len(scores['films'])} simulated films"
        yield Row(f"{line['name']} (asked: {line['asked']})", data, value, str(line["count"]))


def court_rows(scores: dict[str, Any], held_out: Sequence[str]) -> Iterator[Row]:
    """Rows of ``evaluate court-frames``."""
    for game, one in [*scores["games"].items(), ("all", scores["all"])]:
        name = f"real frames, {game}" + (" (held out)" if game in held_out else "")
        yield Row("frames registered", name, _share(one["registered"]), f"{one['frames']} frames")
        value = f"{_feet(one['median_ft'])} / {_feet(one['p90_ft'])}"
        yield Row("labelled lines and corners off the rule book, median / p90", name, value, f"{one['frames']} frames")


def boxes_rows(name: str, scores: dict[str, Any]) -> Iterator[Row]:
    """Rows of ``evaluate boxes``."""
    for kind, one in scores["classes"].items():
        value = f"{_share(one['ap50'])} / {_share(one['recall'])} / {_share(one['precision'])}"
        yield Row(f"detector AP50 / recall / precision, {kind}", name, value, f"{one['labels']} labels")
    people = scores["people_on_floor"]
    value = f"{_share(people['recall'])} / {_share(people['precision'])}"
    yield Row("people on the floor, recall / precision", name, value, f"{people['labels']} labels")


def mot_rows(scores: dict[str, Any]) -> Iterator[Row]:
    """Rows of ``evaluate mot``."""
    count = f"{scores['sequences']} sequences, {scores['boxes']} boxes"
    for tracker in ("ours", "bytetrack", "ocsort", "cbiou"):
        one = scores[tracker]
        value = f"{_share(one['HOTA'])} / {_share(one['AssA'])} / {_share(one['IDF1'])} / {one['switches']}"
        yield Row(f"tracking HOTA / AssA / IDF1 / switches, {tracker}", "disturbed real boxes", value, count)


def play_rows(name: str, scores: dict[str, Any]) -> Iterator[Row]:
    """Rows of ``evaluate play``."""
    if "kinds" not in scores:
        count = f"{scores['possessions']} possessions"
        for kind in ("on_ball_screen", "handoff"):
            one = scores["actions"][kind]
            told = one["published"]
            beside = f"{one['per_game']:.1f} (published {told['low']:g}-{told['high']:g})"
            yield Row(f"{kind.replace('_', ' ')}s in 190 possessions", name, beside, count)
        shares = scores["others_in_paint_share"]
        value = ", ".join(f"{n}: {100 * share:.1f}" for n, share in shares.items())
        drives = f"{scores['drives_into_paint']} drives"
        if shares:
            yield Row("others in the paint as the handler enters it, % of drives", name, value, drives)
            crowded = f"drives into {scores['crowded_threshold']} or more others"
            yield Row(crowded, name, _share(scores["crowded_share"]), drives)
    for kind, one in scores.get("kinds", {}).items():
        value = f"{_share(one['f1'])} ({_share(one['recall'])} / {_share(one['precision'])})"
        what = f"{kind.replace('_', ' ')} as readers saw them, F1 (recall / precision)"
        yield Row(what, name, value, f"{one['labels']} seen by both")


def events_rows(family: str, data: str, scores: dict[str, Any]) -> Iterator[Row]:
    """Rows of ``evaluate actions``, ``evaluate sets`` and ``evaluate faults``."""
    every = scores["all"]
    name = f"{data}, {scores['games']} games"
    kinds = {kind: one for kind, one in scores["kinds"].items() if one["truth"]}
    if not kinds:
        return
    value = f"{_share(scores['mean_f1'])}, least {_share(scores['least_f1'])} ({scores['least_kind']})"
    yield Row(f"{family}, mean F1 over kinds", name, value, f"{len(kinds)} kinds, {every['truth']} true")
    value = f"{_share(every['recall'])} / {_share(every['precision'])}"
    yield Row(f"{family}, recall / precision", name, value, f"{every['truth']} true, {every['found']} found")


def table(rows: Sequence[Row], machine: str, when: datetime) -> str:
    """The README's section as Markdown."""
    lines = [f"Measured {when:%Y-%m-%d} on {machine}.", "", "| measure | data | value | count |", "|---|---|---|---|"]
    lines += [f"| {row.measure} | {row.data} | {row.value} | {row.count} |" for row in rows]
    return "\n".join(lines)


def put_into(text: str, section: str) -> str:
    """A README with the section between its two marks replaced.

    Raises
    ------
    DataError
        If the marks are not there, once each and in order.
    """
    if text.count(BEGIN) != 1 or text.count(END) != 1 or text.index(BEGIN) > text.index(END):
        raise DataError(f"The file needs the lines '{BEGIN}' and '{END}', once each, around its table of numbers.")
    head, rest = text.split(BEGIN)
    return f"{head}{BEGIN}\n{section}\n{END}{rest.split(END)[1]}"


def machine() -> str:
    """This machine in words."""
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.is_file():
        lines = [line for line in info.read_text().splitlines() if line.startswith("model name")]
        names = [line.split(":", 1)[1].strip() for line in lines]
        model = names[0] if names else model
    return f"{len(os.sched_getaffinity(0))} processor cores ({model}), Python {platform.python_version()}"


def _share(value: float | None) -> str:
    return "none" if value is None else f"{100 * value:.1f} %"


def _feet(value: float | None) -> str:
    return "none" if value is None else f"{value:.2f} ft"


def _parts(source: Sources, work: Path) -> Iterator[Part]:
    from pipeline.evaluate.boxes import evaluate_boxes
    from pipeline.evaluate.court_frames import evaluate_court_frames
    from pipeline.evaluate.film import evaluate_film
    from pipeline.evaluate.games import Family, found_again, game_pairs, score_games
    from pipeline.evaluate.mot import evaluate_mot
    from pipeline.evaluate.play import evaluate_play
    from pipeline.library.games import Library
    from pipeline.night.networks import film_networks, open_areas
    from pipeline.night.run import run_film
    from pipeline.settings import load_settings
    from pipeline.shipped import Shipped, shipped

    settings = load_settings(shipped(Shipped.CONFIGS))
    library = Library(work / "library")

    def film(path: Path) -> Callable[[], Iterator[Row]]:
        def rows() -> Iterator[Row]:
            networks = film_networks(settings)
            done = run_film(path, library, networks, settings, book=None, progress=lambda _: lambda _done, _total: None)
            return film_rows(
                f"sample film {path.stem}", evaluate_film(done.game.folder, path.with_name(f"{path.stem}_truth"))
            )

        return rows

    def boxes(folder: Path) -> Iterator[Row]:
        return boxes_rows(folder.name, evaluate_boxes(folder, settings=settings.detector))

    def play(folder: Path, name: str) -> Iterator[Row]:
        return play_rows(name, evaluate_play(folder))

    def played(games: Path, truths: Path) -> Iterator[Row]:
        pairs = game_pairs(games, truths)
        for family in Family:
            yield from events_rows(family.value, "simulated film", score_games(pairs, family))

    def drilled(folder: Path) -> Iterator[Row]:
        pairs = {
            name: (found_again(game, work / "drills" / name, settings), truth)
            for name, (game, truth) in game_pairs(folder, folder).items()
        }
        for family in Family:
            yield from events_rows(family.value, "simulated true tracks", score_games(pairs, family))

    if source.film_tables is not None and source.film_truths is not None:
        tables, truths = source.film_tables, source.film_truths
        yield Part("evaluate films", tables, lambda: films_rows(evaluate_films(tables, truths)))
    if source.drills is not None:
        yield Part("evaluate actions --again", source.drills, partial(drilled, source.drills))
    if source.played is not None and source.played_truths is not None:
        yield Part("evaluate actions", source.played, partial(played, source.played, source.played_truths))
    for path in sorted(source.clips.glob("*.mp4")):
        yield Part("evaluate film", path, film(path))
    data = source.data
    frames = data / "court_frames"
    yield Part(
        "evaluate court-frames",
        frames,
        lambda: court_rows(
            evaluate_court_frames(
                frames, open_areas(settings), settings=settings.court.registration, marking=settings.court.marks
            ),
            source.held_out,
        ),
    )
    for folder in source.boxes:
        yield Part(
            "evaluate boxes",
            folder,
            partial(boxes, folder),
        )
    yield Part("evaluate mot", data / "mot_boxes", lambda: mot_rows(evaluate_mot(data / "mot_boxes", 0)))
    for folder, name in ((data / "possessions", "real possessions"), (data / "possessions_read", "read possessions")):
        yield Part("evaluate play", folder, partial(play, folder, name))


def write_report(source: Sources, readme: Path, on_part: Callable[[str], None]) -> tuple[Row, ...]:
    """Run every evaluation that has its data and write the table into a README.

    Parameters
    ----------
    source : Sources
        Where the films, folders and pictures are.
    readme : Path
        File whose table, between its two marks, is replaced.
    on_part : callable
        Called with the name of each evaluation as it begins.

    Returns
    -------
    tuple of Row
        The table's lines.
    """
    put_into(readme.read_text(encoding="utf-8"), "")  # before hours of work: is there a place for the table?
    work = Path(tempfile.mkdtemp())
    rows: list[Row] = []
    try:
        for part in _parts(source, work):
            if part.data.exists():
                on_part(f"{part.command} {part.data}")
                rows += part.rows()
            else:
                rows.append(Row(part.command, part.data.name, "not measured: its data is not here", "0"))
    finally:
        shutil.rmtree(work)
    text = put_into(readme.read_text(encoding="utf-8"), table(rows, machine(), datetime.now(UTC)))
    write_whole(readme, text)
    return tuple(rows)
