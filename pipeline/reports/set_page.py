"""A set's execution sheet as a page."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.court.rule_books import NBA, RuleBook
from pipeline.reports.document import (
    CAUTIONS,
    Align,
    Block,
    Card,
    Cards,
    Column,
    Document,
    Drawings,
    DrawnFrame,
    Facts,
    Grid,
    Heading,
    Remark,
    Still,
    Stills,
    Text,
    Tone,
)
from pipeline.reports.execution import ExecutionSheet
from pipeline.reports.intervals import Method
from pipeline.reports.point_charts import point_chart
from pipeline.reports.points import PointFacts, in_words
from pipeline.reports.runs import Run
from pipeline.reports.sides import Counted
from pipeline.reports.wording import (
    amount,
    counted_in_words,
    counts,
    day_and_opponent,
    grades_in_words,
    percent,
    spaced,
)
from pipeline.sets.definition import SetDefinition
from pipeline.sets.emphasis import Grade, unit
from pipeline.sets.frames import frames_of
from pipeline.sets.ink import Page
from pipeline.sets.sheet import DEPTH_FT, PX_PER_FT, frame_marks

MARKS = (
    "In the charts a filled dot is a good run, a hollow one in between, a triangle a poor one; the diamond is the "
    "median on its interval."
)


def set_page(sheet: ExecutionSheet, stills: Mapping[int, Still] | None = None, book: RuleBook = NBA) -> Document:
    """An execution sheet laid out.

    Parameters
    ----------
    sheet : ExecutionSheet
    stills : mapping of int to Still, optional
        Pictures of tags by their number; best and worst runs without one are told in words.
    book : RuleBook
        Markings of the drawn floor.
    """
    runs, definition = sheet.runs, sheet.runs.definition
    blocks: list[Block] = [
        Text(definition.says),
        Remark(
            counted_in_words(runs.counted, runs.undecided, sheet.standing, "runs"),
            Tone.PLAIN if runs.counted is Counted.CONFIRMED else Tone.CAUTION,
        ),
        _facts(sheet),
    ]
    blocks += [Remark(text, Tone.CAUTION) for text in runs.left_out]
    main, others = set_drawings(definition, book)
    blocks += [Heading("The set"), main]
    if not runs.runs:
        more = f" {counts(runs.undecided, 'candidate')} wait for a decision." if runs.undecided else ""
        blocks.append(Remark(f"No run of this set counts here yet.{more}", Tone.CAUTION))
    else:
        blocks += _how_it_went(sheet, stills or {})
    blocks += _games_and_parts(sheet)
    if others.frames:
        blocks += [Heading("Endings and counters of the set"), others]
    methods = f"Intervals at 95 % — {Method.WILSON}; {Method.BOOTSTRAP}."
    footer = (f"Source of the set: {definition.source}.", methods, *CAUTIONS)
    return Document(f"{definition.title}: how it was run", _subtitle(sheet), tuple(blocks), footer)


def set_drawings(definition: SetDefinition, book: RuleBook = NBA) -> tuple[Drawings, Drawings]:
    """The frames of a set: those of its main line, and those of its endings and counters."""
    width, height = round(book.width_ft * PX_PER_FT), round(DEPTH_FT * PX_PER_FT)
    frames = [
        DrawnFrame(
            Page(width, height, tuple(frame_marks(frame, (0.0, 0.0), book))),
            frame.head,
            f"{number}. {frame.caption}",
        )
        for number, frame in enumerate(frames_of(definition), start=1)
    ]
    return (
        Drawings(f"{definition.title}, its main line", tuple(frame for frame in frames if not frame.head)),
        Drawings(f"{definition.title}, endings and counters", tuple(frame for frame in frames if frame.head)),
    )


def _subtitle(sheet: ExecutionSheet) -> str:
    runs = sheet.runs
    return f"{runs.side.label} · {counts(len(runs.runs), 'run')} in {counts(len({r.game for r in runs.runs}), 'game')}"


def _facts(sheet: ExecutionSheet) -> Facts:
    runs = sheet.runs
    rows = [
        ("Runs that count", str(len(runs.runs))),
        ("Not decided", str(runs.undecided)),
        ("Rejected", str(runs.rejected)),
        ("Seen in part", str(runs.partial)),
    ]
    return Facts(tuple(rows))


def _how_it_went(sheet: ExecutionSheet, stills: Mapping[int, Still]) -> list[Block]:
    definition = sheet.runs.definition
    blocks: list[Block] = [Heading("How it ended"), _endings(sheet)]
    if definition.emphases:
        blocks += [Heading("Points of emphasis"), Text(MARKS)]
        blocks.append(Cards(tuple(_card(point, definition) for point in sheet.points)))
    for title, chosen, nobody in (
        ("Run best", sheet.best, "No run has more good points than poor ones."),
        ("Run worst", sheet.worst, "No run has more poor points than good ones."),
    ):
        blocks.append(Heading(title))
        shown = [(run, stills.get(run.tag)) for run in chosen if run.tag is not None]
        pictures = tuple(
            Still(still.png, still.alt, _name(run), (run.sentence, grades_in_words(run)))
            for run, still in shown
            if still
        )
        if pictures:
            blocks.append(Stills(pictures))
        told = [run for run in chosen if run.tag is None or stills.get(run.tag) is None]
        if told:
            blocks.append(_runs_grid(told))
        if not chosen:
            blocks.append(Text(nobody))
    return blocks


def _name(run: Run) -> str:
    tag = f"Tag {run.tag}" if run.tag is not None else "No tag"
    return f"{tag} · {day_and_opponent(run.game, run.date, run.opponent)} · {run.when}"


def _runs_grid(runs: list[Run]) -> Grid:
    return Grid(
        "'elbowroom clip TAG' cuts the film of a tag.",
        (Column("Tag", weight=0.5), Column("Game", weight=1.4), Column("Clock", weight=0.7),
         Column("What it was", weight=4), Column("Points", weight=1.2)),
        tuple(
            (str(run.tag or "-"), day_and_opponent(run.game, run.date, run.opponent),
             run.when.replace(" ", "\u00a0"), run.sentence, grades_in_words(run))
            for run in runs
        ),
    )  # fmt: skip


def _endings(sheet: ExecutionSheet) -> Grid:
    total = max(len(sheet.runs.runs), 1)
    rows = [(spaced(name).capitalize(), str(count), f"{100 * count / total:.0f} %") for name, count in sheet.endings]
    rows += [(f"Counter: {spaced(name)}", str(count), f"{100 * count / total:.0f} %") for name, count in sheet.counters]
    columns = (Column("Ending", weight=3), Column("Runs", Align.RIGHT), Column("Share of all", Align.RIGHT))
    return Grid("Endings in the order of the set file; counters are told beside the endings.", columns, tuple(rows))


def _card(point: PointFacts, definition: SetDefinition) -> Card:
    emphasis = point.emphasis
    good, poor = in_words(emphasis, Grade.GOOD), in_words(emphasis, Grade.POOR)
    if not point.known:
        return Card(emphasis.title, None, (f"Not known in any of these runs. Good is {good}, poor {poor}.",))
    lines = [
        f"Good: {percent(point.good)} of {counts(point.known, 'run')}, {point.count(Grade.POOR)} poor.",
        f"Good is {good}; poor is {poor}.",
    ]
    if point.middle.known:
        lines.insert(1, f"Median {amount(point.middle, unit(emphasis))}.")
    unseen = point.count(Grade.UNKNOWN)
    if unseen:
        lines.append(f"Not known in {counts(unseen, 'run')}: not part of that ending, or not seen.")
    said = emphasis.say_poor if point.count(Grade.POOR) > point.count(Grade.GOOD) else emphasis.say_good
    if said and "{" not in said:
        lines.append(f"“{said}”")
    return Card(emphasis.title, point_chart(point, definition), tuple(lines))


def _games_and_parts(sheet: ExecutionSheet) -> list[Block]:
    runs = sheet.runs
    blocks: list[Block] = []
    if runs.by_game:
        right = Align.RIGHT
        columns = (Column("Game", weight=3), Column("Count", right), Column("Not decided", right),
                   Column("Rejected", right), Column("In part", right))  # fmt: skip
        rows = tuple(
            (day_and_opponent(game.game, game.date, game.opponent), str(game.counted), str(game.undecided),
             str(game.rejected), str(game.partial))
            for game in runs.by_game
        )  # fmt: skip
        blocks += [Heading("Game by game"), Grid("Runs by game.", columns, rows)]
    if runs.missing:
        blocks += [
            Heading("What was missing"),
            Grid(
                f"{counts(runs.partial, 'match', 'matches')} of the set had a part missing: begun and broken off, "
                "played another way, or not seen. Nobody decides these; they do not count above.",
                (Column("Phase of the set", weight=3), Column("Missing in", Align.RIGHT)),
                tuple((spaced(phase), str(count)) for phase, count in runs.missing),
            ),
        ]
    return blocks
