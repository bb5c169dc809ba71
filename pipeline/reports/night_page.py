"""A night's summary as a page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

from pipeline.reports.document import (
    CAUTIONS,
    Align,
    Block,
    Column,
    Document,
    Facts,
    Grid,
    Heading,
    Remark,
    Text,
    Tone,
)
from pipeline.reports.night_summary import Floor, GameNight, KindNight, NightSummary
from pipeline.reports.wording import counts, percent
from pipeline.user_files import one_line

LISTED_AT_MOST = 12
"""Names in one sentence."""


def night_page(summary: NightSummary) -> Document:
    """A night laid out."""
    blocks: list[Block] = [_facts(summary)]
    blocks += [Remark(text, Tone.CAUTION) for text in summary.unfinished]
    if summary.not_begun:
        count = counts(len(summary.not_begun), "film")
        blocks.append(
            Remark(
                f"The night has not come to {count}: {_listed(summary.not_begun)}; the next one runs what is left.",
                Tone.CAUTION,
            )
        )
    failed = [(game.game, text) for game in summary.failed for text in game.wrong]
    failed += [(film, text) for film, text in summary.failed_films]
    if failed:
        blocks += [
            Heading("What failed, and why"),
            Grid(
                "What to do stands with it.", (Column("Game or film"), Column("What happened", weight=4)), tuple(failed)
            ),
        ]
    blocks += [
        Remark(f"The files {_listed(names)} hold the same film; they are one game, {game}.", Tone.PLAIN)
        for game, names in summary.same_films
    ]
    if not summary.games:
        blocks.append(Remark("No game was run in this time.", Tone.CAUTION))
    else:
        blocks += [Heading("What ran"), _games(summary), Heading("How it was seen"), *_seen(summary)]
        blocks += [Heading("What was found, and what is left to decide"), *_kinds(summary)]
    return Document("The night", _subtitle(summary), tuple(blocks), CAUTIONS)


def _subtitle(summary: NightSummary) -> str:
    text = counts(len(summary.games), "game")
    return text if summary.since is None else f"{text} run since {_time(summary.since)}"


def _time(when: datetime | None) -> str:
    return "not known" if when is None else f"{when:%Y-%m-%d %H:%M} UTC"


def _facts(summary: NightSummary) -> Facts:
    live = [game.live_s for game in summary.games if math.isfinite(game.live_s)]
    possessions = sum(game.possessions or 0 for game in summary.games)
    return Facts(
        (
            ("Games", str(len(summary.games))),
            ("With something wrong", str(len(summary.failed) + len(summary.failed_films))),
            ("Live play seen", _minutes(sum(live))),
            ("Possessions", str(possessions)),
            ("Candidates", str(sum(kind.found for kind in summary.kinds))),
            ("Left to decide", str(summary.undecided)),
        )
    )


def _minutes(seconds: float) -> str:
    if not math.isfinite(seconds):
        return "not known"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min {rest:02d} s"


def _games(summary: NightSummary) -> Grid:
    right = Align.RIGHT
    rows = []
    for game in summary.games:
        took = sum(seconds for _, seconds in game.ran)
        did = ", ".join(stage for stage, _ in game.ran) if game.ran else "nothing anew"
        rows.append(
            (
                _name(game),
                game.source or "not known",
                _time(game.ran_at),
                did,
                _minutes(took) if game.ran else "-",
                str(sum(count for _, count in game.tags)),
                str(game.undecided),
            )
        )
    columns = (Column("Game", weight=2.2), Column("From", weight=0.8), Column("Last run", weight=1.5),
               Column("Done anew", weight=2.2), Column("Took", right), Column("Tags", right, 0.7),
               Column("Left", right, 0.7))  # fmt: skip
    return Grid("The latest run first.", columns, tuple(rows))


def _listed(names: Sequence[str]) -> str:
    """Names in a row: ``a, b and c``; of very many the first and how many more."""
    shown = [one_line(name).strip() for name in names]
    if len(shown) > LISTED_AT_MOST:
        shown = [*shown[: LISTED_AT_MOST - 1], f"{len(shown) - LISTED_AT_MOST + 1} others"]
    return f"{', '.join(shown[:-1])} and {shown[-1]}" if len(shown) > 1 else shown[0]


def _name(game: GameNight) -> str:
    about = " ".join(part for part in (game.date, f"v {game.opponent}" if game.opponent else "") if part)
    return f"{game.game} ({about})" if about else game.game


def _seen(summary: NightSummary) -> list[Block]:
    right = Align.RIGHT
    columns = (Column("Game", weight=2), Column("Length", right), Column("Live play", right),
               Column("Possessions", right), Column("Frames with a floor", right, 1.3),
               Column("Off its markings", right))  # fmt: skip
    rows = tuple(
        (game.game, _minutes(game.length_s), _minutes(game.live_s),
         "not known" if game.possessions is None else str(game.possessions), _share(game.floor), _residual(game.floor))
        for game in summary.games
    )  # fmt: skip
    blocks: list[Block] = [Grid("Tracking data has no picture and needs no floor.", columns, rows)]
    if summary.without_play:
        blocks.append(
            Remark(
                f"In {_listed(summary.without_play)} no live play was seen. Where that is the film of a game all the "
                "same, see what is found in its pictures ('elbowroom look') and pin the floor ('elbowroom court pin'); "
                "else take the film out of the folder.",
                Tone.CAUTION,
            )
        )
    poor = [game.game for game in summary.games if game.floor and game.floor.frames and game.floor.share < 0.9]
    if poor:
        blocks.append(
            Remark(
                f"In {', '.join(poor)} the floor was found in under nine of ten live frames; four landmarks pinned on "
                "a frame help ('elbowroom court pin').",
                Tone.CAUTION,
            )
        )
    return blocks


def _share(floor: Floor | None) -> str:
    if floor is None:
        return "-"
    return f"{100 * floor.share:.1f} % of {floor.frames}" if floor.frames else "none live"


def _residual(floor: Floor | None) -> str:
    return f"{floor.residual_ft:.2f} ft" if floor is not None and math.isfinite(floor.residual_ft) else "-"


def _kinds(summary: NightSummary) -> list[Block]:
    if not summary.kinds:
        return [Text("Nothing was found that staff would have to decide.")]
    right = Align.RIGHT
    columns = (Column("Kind", weight=2.2), Column("Sort", weight=0.7), Column("Found", right),
               Column("Confirmed", right), Column("Rejected", right), Column("Unsure", right),
               Column("Left", right), Column("Right so far, as staff judged", right, 1.8))  # fmt: skip
    return [Grid("'Left' nobody has decided yet; the last column is over the whole library.", columns,
                 tuple(_kind(kind) for kind in summary.kinds))]  # fmt: skip


def _kind(kind: KindNight) -> tuple[str, ...]:
    judged = f"{percent(kind.precision)} of {kind.precision.count}" if kind.precision else "nothing decided"
    return (
        kind.title, kind.family.value, str(kind.found), str(kind.confirmed), str(kind.rejected), str(kind.unsure),
        str(kind.undecided), judged,
    )  # fmt: skip
