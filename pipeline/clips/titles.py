"""What a kind of tag is called, and when and where in the season a tag was."""

from __future__ import annotations

from pipeline.actions.vocabulary import KIND
from pipeline.library.game_time import GameTime
from pipeline.library.games import Game
from pipeline.settings import Settings


def title_of(kind: str, settings: Settings) -> str:
    """A kind as a coach says it: of the fault library, the set library, or the vocabulary of actions."""
    titles = {rule.name: rule.title for rule in settings.faults.library}
    titles |= {one.name: one.title for one in settings.set_library.definitions}
    if kind in titles:
        return titles[kind]
    title = KIND[kind].title if kind in KIND else kind.replace("_", " ")
    return title[:1].upper() + title[1:]


def game_line(game: Game, time: GameTime | None) -> str:
    """Game, day and game time in one line, as far as they are known."""
    file = game.file()
    name = f"against {file.opponent}" if file.opponent else game.name
    return ", ".join(part for part in (name, file.date, str(time) if time is not None else "") if part)
