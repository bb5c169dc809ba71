"""A reel as one film: a title, then each clip behind a card that says what to look for.

Films of other sizes and rates are brought to one: the largest picture among them and the highest rate, black beside
pictures of another shape. Sound is kept where a film has it; cards, held moments and slow stretches are silent.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np

from pipeline.clips.cards import STRIP_SHARE, Card, card_picture, with_strip
from pipeline.clips.cutting import film_part, paced
from pipeline.clips.half_court_film import SHAPE, length_s, moving_pictures
from pipeline.clips.lesson_source import lesson_of
from pipeline.clips.pace import Pace
from pipeline.clips.rates import rate_of
from pipeline.clips.settings import ClipSettings
from pipeline.clips.tag_film import Show, drawing_of, freezes_of, slow_of, stretch_of
from pipeline.clips.titles import game_line, title_of
from pipeline.clips.writing import Part, Progress, Shape, Timed, at_rate, write_film
from pipeline.errors import LibraryError
from pipeline.film.probe import FilmInfo, probe
from pipeline.library.game_time import game_times
from pipeline.library.games import Game, Library
from pipeline.settings import Settings
from pipeline.tags import Reel, ReelItem, Tag, TagStore

DIAGRAM_RATE, DIAGRAM_SIZE = Fraction(25), (1280, 720)
"""Rate and size of a reel without any film."""


@dataclass(frozen=True, slots=True)
class Chapter:
    """A stretch of a reel's film.

    Attributes
    ----------
    start_s, end_s : float
        Its own time, the card before it included.
    film_s : float
        Where its clip begins, after the card.
    tag : int
        What is shown.
    title, note : str
    """

    start_s: float
    end_s: float
    film_s: float
    tag: int
    title: str
    note: str


@dataclass(frozen=True, slots=True)
class ReelFilm:
    """A reel that was written as a film."""

    path: Path
    length_s: float
    frames: int
    chapters: tuple[Chapter, ...]


@dataclass(frozen=True, slots=True)
class PlannedItem:
    """One clip of a reel, before anything is decoded.

    Attributes
    ----------
    item : ReelItem
    tag : Tag
    game : Game
    info : FilmInfo or None
        None for a game without film, which is shown on a half court.
    pace : Pace or None
        Likewise.
    card : Card
    chapter : Chapter
    """

    item: ReelItem
    tag: Tag
    game: Game
    info: FilmInfo | None
    pace: Pace | None
    card: Card
    chapter: Chapter


@dataclass(frozen=True, slots=True)
class ReelPlan:
    """What a reel's film will be.

    Attributes
    ----------
    title : Card
    shape : Shape
    items : tuple of PlannedItem
    length_s : float
    """

    title: Card
    shape: Shape
    items: tuple[PlannedItem, ...]
    length_s: float

    @property
    def chapters(self) -> tuple[Chapter, ...]:
        """Its stretches in order."""
        return tuple(one.chapter for one in self.items)


def reel_of_tags(tags: Sequence[Tag], title: str, settings: Settings) -> Reel:
    """A reel that is not stored: tags in the order given, the moment of each held."""
    items = tuple(
        ReelItem(tag.tag, title_of(tag.candidate.kind, settings), tag.candidate.sentence, freeze=True) for tag in tags
    )
    return Reel(0, title, "", items, 0)


def chosen_reel(
    store: TagStore, number: int | None, tags: Sequence[int], title: str, settings: Settings
) -> tuple[Reel, tuple[Tag, ...]]:
    """A stored reel by its number, or one made up of tags; with the tags it holds.

    Raises
    ------
    LibraryError
        If neither or both are named, or there is no such reel or tag.
    """
    if (number is None) == (not tags):
        raise LibraryError("Name a reel by its number, or tags with --tag; not both and not neither.")
    if number is not None:
        reel = store.reel(number)
        return reel, tuple(store.tag(tag) for tag in dict.fromkeys(item.tag for item in reel.items))
    held = tuple(store.tag(tag) for tag in tags)
    return reel_of_tags(held, title, settings), held


def plan_reel(library: Library, reel: Reel, tags: Sequence[Tag], settings: Settings) -> ReelPlan:
    """Work out a reel's times, size and rate without decoding a film.

    Raises
    ------
    LibraryError
        If the reel is empty or holds a tag that is not among ``tags``.
    FilmError
        If a film cannot be read.
    """
    if not reel.items:
        raise LibraryError(f"The reel '{reel.title}' has no clips yet; put tags into it first.")
    known = {tag.tag: tag for tag in tags}
    gone = [str(item.tag) for item in reel.items if item.tag not in known]
    if gone:
        raise LibraryError(
            f"The reel '{reel.title}' holds tag {', '.join(gone)}, which the library no longer has; take it out."
        )
    used = [known[item.tag] for item in reel.items]
    games = {name: library.game(name) for name in dict.fromkeys(tag.game for tag in used)}
    films = {
        name: probe(game.film(), settings.film.decode) for name, game in games.items() if game.file().film is not None
    }
    shape = _shape(tuple(films.values()), settings.clips)
    times = game_times(library, used)
    clips = settings.clips
    now_s = _whole(clips.title_card_s, shape.rate)
    card_s = 0.0 if clips.item_titles == "strip" else _whole(clips.item_card_s, shape.rate)
    items: list[PlannedItem] = []
    for number, (item, tag) in enumerate(zip(reel.items, used, strict=True), start=1):
        info, game = films.get(tag.game), games[tag.game]
        pace, hold_s = None, clips.reel_freeze_s if item.freeze else 0.0
        if info is None:
            clip_s = length_s(lesson_of(tag, game, settings), shape.rate, hold_s=hold_s)
        else:
            freezes = freezes_of(tag, game, settings, hold_s)
            pace = paced(info, *stretch_of(tag, clips), freezes, slow_of(tag, item.slow, clips))
            clip_s = pace.length_s
        title = item.title or title_of(tag.candidate.kind, settings)
        place = f"{number} of {len(used)}"
        card = Card(title, item.note, place, game_line(game, times.get(tag.tag)))
        end_s = now_s + card_s + _whole(clip_s, shape.rate)
        chapter = Chapter(now_s, end_s, now_s + card_s, tag.tag, title, item.note)
        items.append(PlannedItem(item, tag, game, info, pace, card, chapter))
        now_s = end_s
    count = f"{len(used)} clip{'' if len(used) == 1 else 's'}"
    return ReelPlan(Card(reel.title, reel.note, "", count), shape, tuple(items), now_s)


def reel_film(
    library: Library,
    reel: Reel,
    tags: Sequence[Tag],
    out: Path,
    settings: Settings,
    *,
    progress: Progress | None = None,
) -> ReelFilm:
    """Write a reel as one MP4.

    Parameters
    ----------
    library : Library
    reel : Reel
    tags : sequence of Tag
        The reel's tags, in any order; others may be among them.
    out : Path
    settings : Settings
    progress : callable, optional
        Told seconds written and seconds in all; what it raises ends the work and leaves no file.

    Raises
    ------
    LibraryError, FilmError
        If the reel is empty, a tag or film is gone, or the file cannot be written.
    """
    plan = plan_reel(library, reel, tags, settings)
    told = None if progress is None else lambda done_s: progress(min(done_s, plan.length_s), plan.length_s)
    written_s, frames = write_film(out, _parts(plan, settings), plan.shape, settings.clips, told)
    if progress is not None:
        progress(plan.length_s, plan.length_s)
    return ReelFilm(out, written_s, frames, plan.chapters)


def _parts(plan: ReelPlan, settings: Settings) -> Iterator[Part]:
    clips, shape = settings.clips, plan.shape
    if clips.title_card_s > 0:
        yield at_rate(_still(plan.title, clips.title_card_s, shape), shape.rate)
    for one in plan.items:
        if one.chapter.film_s > one.chapter.start_s:
            yield at_rate(_still(one.card, one.chapter.film_s - one.chapter.start_s, shape), shape.rate)
        part = _clip(one, shape, settings)
        strip_s = clips.strip_s if clips.item_titles == "strip" else 0.0
        shown = _fitted(part.pictures, shape, one.card, strip_s)
        yield at_rate(Part(part.length_s, shown, part.sound), shape.rate)


def _clip(one: PlannedItem, shape: Shape, settings: Settings) -> Part:
    """The film of an item with its drawing, or its moving diagram where there is no film."""
    if one.info is not None and one.pace is not None:
        strip = STRIP_SHARE if settings.clips.item_titles == "strip" else 0.0
        drawing = drawing_of(one.tag, one.game, settings, Show.FLOOR, strip_share=strip)
        return film_part(one.info, one.pace, drawing, settings.film.decode)
    lesson = lesson_of(one.tag, one.game, settings)
    hold_s = settings.clips.reel_freeze_s if one.item.freeze else 0.0
    size = round(SHAPE * shape.height_px), shape.height_px
    below = f"{one.card.below}, tag {one.tag.tag}"
    pictures = moving_pictures(lesson, below, size, shape.rate, hold_s=hold_s)
    return Part(length_s(lesson, shape.rate, hold_s=hold_s), pictures)


def _still(card: Card, length_s: float, shape: Shape) -> Part:
    return Part(length_s, [(0.0, card_picture(card, shape.width_px, shape.height_px))])


def _fitted(pictures: Iterable[Timed], shape: Shape, card: Card, strip_s: float) -> Iterator[Timed]:
    for at_s, picture in pictures:
        fit = fitted(picture, shape.width_px, shape.height_px)
        yield at_s, with_strip(fit, card) if at_s < strip_s else fit


def fitted(picture: np.ndarray, width_px: int, height_px: int) -> np.ndarray:
    """A picture as large as it can be in another size, black beside it; the picture itself when it has that size."""
    height, width = picture.shape[:2]
    if (width, height) == (width_px, height_px):
        return picture
    scale = min(width_px / width, height_px / height)
    size = min(width_px, round(width * scale)), min(height_px, round(height * scale))
    scaled = cv2.resize(picture, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC)
    whole = np.zeros((height_px, width_px, 3), dtype=np.uint8)
    x, y = (width_px - size[0]) // 2, (height_px - size[1]) // 2
    whole[y : y + size[1], x : x + size[0]] = scaled
    return whole


def _shape(films: Sequence[FilmInfo], settings: ClipSettings) -> Shape:
    if not films:
        height = min(DIAGRAM_SIZE[1], settings.reel_height_px)
        return Shape(2 * round(height * DIAGRAM_SIZE[0] / DIAGRAM_SIZE[1] / 2), height, DIAGRAM_RATE, has_sound=False)
    largest = max(films, key=lambda info: info.width_px * info.height_px)
    scale = min(1.0, settings.reel_height_px / largest.height_px)
    width, height = (2 * round(side * scale / 2) for side in (largest.width_px, largest.height_px))
    return Shape(width, height, max(rate_of(info) for info in films), any(info.audio_codec for info in films))


def _whole(length_s: float, rate: Fraction) -> float:
    """A length as a whole number of pictures, at least one where it is not 0; see :func:`at_rate`."""
    return float(max(1, round(length_s * rate)) / rate) if length_s > 0 else 0.0
