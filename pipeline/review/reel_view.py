"""A reel as its pages show it: each clip with what is known of its tag."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from pydantic import BaseModel, ConfigDict, Field

from pipeline.clips.settings import ClipSettings
from pipeline.clips.tag_film import slow_of, stretch_of
from pipeline.errors import LibraryError
from pipeline.library.game_time import GameTime
from pipeline.library.games import GameFile
from pipeline.tags import Reel, ReelItem, State, Tag

SPEEDS = ((1.0, "as filmed"), (0.5, "half speed"), (0.25, "quarter speed"))
"""Speeds that a reel offers."""

MOST_CLIPS = 300


class ItemSent(BaseModel):
    """One clip as the page sends it."""

    model_config = ConfigDict(extra="forbid")
    tag: int = Field(gt=0)
    title: str = Field("", max_length=200)
    note: str = Field("", max_length=4000)
    freeze: bool = False
    slow: float = Field(1.0, ge=0.1, le=1)


class ReelSent(BaseModel):
    """A whole reel as the page sends it."""

    model_config = ConfigDict(extra="forbid")
    revision: int
    title: str = Field(max_length=200)
    note: str = Field("", max_length=4000)
    items: list[ItemSent] = Field(max_length=MOST_CLIPS)


@dataclass(frozen=True, slots=True)
class ClipLine:
    """One clip of a reel.

    Attributes
    ----------
    item : ReelItem
    kind : str
        What the tag is called.
    game, time : str
        Where it is from, in words.
    sentence : str
    state : State
    length_s : float
        As it is shown: slowed down, and with its still moment.
    has_film : bool
        A game of tracking data has none; its diagram is shown then.
    """

    item: ReelItem
    kind: str
    game: str
    time: str
    sentence: str
    state: State
    length_s: float
    has_film: bool

    @property
    def title(self) -> str:
        """What is written over the clip."""
        return self.item.title or self.kind


def sent_reel(number: int, sent: ReelSent) -> Reel:
    """A reel from what the page sent."""
    items = tuple(ReelItem(one.tag, one.title.strip(), one.note.strip(), one.freeze, one.slow) for one in sent.items)
    return Reel(number, " ".join(sent.title.split()), sent.note.strip(), items, sent.revision)


def with_tags(reel: Reel, tags: Iterable[int]) -> Reel:
    """A reel with more clips at its end; those that it has already are not put in twice.

    Raises
    ------
    LibraryError
        If it would have too many.
    """
    there = {item.tag for item in reel.items}
    more = [ReelItem(tag) for tag in dict.fromkeys(tags) if tag not in there]
    if len(reel.items) + len(more) > MOST_CLIPS:
        raise LibraryError(f"A reel holds {MOST_CLIPS} clips at most; '{reel.title}' has {len(reel.items)} already.")
    return replace(reel, items=(*reel.items, *more))


def clip_lines(
    reel: Reel,
    tags: Mapping[int, Tag],
    games: Mapping[str, GameFile],
    times: Mapping[int, GameTime],
    titles: Mapping[str, str],
    settings: ClipSettings,
) -> tuple[ClipLine, ...]:
    """What a reel's pages show of each clip.

    Parameters
    ----------
    reel : Reel
    tags : mapping of int to Tag
        Those of its clips.
    games : mapping of str to GameFile
    times : mapping of int to GameTime
        Game clock of tags, where known.
    titles : mapping of str to str
        What each kind is called.
    settings : ClipSettings
    """
    found = []
    for item in reel.items:
        tag = tags[item.tag]
        file = games.get(tag.game)
        at = times.get(item.tag)
        found.append(
            ClipLine(
                item=item,
                kind=titles.get(tag.candidate.kind, tag.candidate.kind.replace("_", " ")),
                game=game_words(tag.game, file),
                time=str(at) if at else clock_words(tag.candidate.t_s),
                sentence=tag.candidate.sentence,
                state=tag.state,
                length_s=shown_s(tag, item, settings),
                has_film=file is not None and file.film is not None,
            )
        )
    return tuple(found)


def shown_s(tag: Tag, item: ReelItem, settings: ClipSettings) -> float:
    """How long a clip is shown: its film, longer where it is slowed down around its moment, or stands still at it."""
    start_s, end_s = stretch_of(tag, settings)
    whole_s = end_s - start_s
    slow = slow_of(tag, item.slow, settings)
    if slow is not None:
        slowed_s = min(slow.end_s, end_s) - max(slow.start_s, start_s)
        whole_s += max(0.0, slowed_s) * (1 / item.slow - 1)
    return whole_s + (settings.reel_freeze_s if item.freeze else 0.0)


def game_words(name: str, file: GameFile | None) -> str:
    """A game as people call it."""
    if file is None:
        return name
    teams = [team.name for team in (file.team_0, file.team_1) if team.name]
    who = " v ".join(teams) if len(teams) == 2 else (f"against {file.opponent}" if file.opponent else name)
    return f"{who}, {file.date}" if file.date else who


def clock_words(t_s: float) -> str:
    """A moment where the game clock is not known: minutes and seconds from the start of the film or the data."""
    return f"at {int(t_s) // 60}:{int(t_s) % 60:02d}"


def length_words(lines: Sequence[ClipLine]) -> str:
    """How long a reel lasts, in words."""
    whole = round(sum(line.length_s for line in lines))
    return f"{whole} seconds" if whole < 100 else f"{whole // 60} min {whole % 60:02d} s"
