"""What a night is told to do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum
from pathlib import Path

from pipeline.errors import SettingsError


class Watching(Enum):
    """Whether a night looks for new films once the folder's are through."""

    ONCE = "once"
    ON = "on"


@dataclass(frozen=True, slots=True)
class Orders:
    """What a night is to do.

    Attributes
    ----------
    folder : Path
        The films.
    until : datetime or None
        When it is to end at the latest, with a time zone.
    watching : Watching
    at_once : int
        Films that are run side by side.
    """

    folder: Path
    until: datetime | None = None
    watching: Watching = Watching.ONCE
    at_once: int = 1


def time_of_day(text: str, now: datetime) -> datetime:
    """The next time that a clock shows this, e.g. ``07:00``.

    Parameters
    ----------
    text : str
        Hours and minutes.
    now : datetime
        With the time zone of the clock.

    Raises
    ------
    SettingsError
        If it is no time of day.
    """
    try:
        clock = datetime.strptime(text.strip(), "%H:%M")
    except ValueError as error:
        raise SettingsError(f"'{text}' is no time of day; write hours and minutes, for example 07:00.") from error
    then = now.replace(hour=clock.hour, minute=clock.minute, second=0, microsecond=0)
    return then if then > now else then + timedelta(days=1)
