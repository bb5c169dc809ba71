"""What a search asks for."""

from __future__ import annotations

from dataclasses import dataclass

ANY = "any"
"""In the place of a kind: every kind of that family."""


@dataclass(frozen=True, slots=True)
class Filters:
    """A search; what is left empty asks for nothing.

    Attributes
    ----------
    actions, sets, faults : tuple of str
        Kinds by name, or ``"any"``. None at all: every fault and set, and those actions that keep all the measures and
        words that ``where`` asks for.
    games, teams : tuple of str
        Game ids; names of teams as the games' ``game.toml`` have them. Any of them will do.
    periods : tuple of int
    states : tuple of str
        ``candidate``, ``confirmed``, ``rejected``, ``unsure``, ``withdrawn``; hits without a tag have none.
    labels : tuple of str
        A hit must have all of them.
    since, until : str
        First and last day, as ``2026-01-31``; games without a date are left out where either is given.
    where : str
        A condition (:mod:`pipeline.conditions`) on measures, traits and the columns of every hit.
    order : str
        Names, each with ``desc`` where the highest comes first, and commas between; by game and time if empty.
    limit : int or None
        How many hits at most.
    written : str
        The text that ``where`` stands in at the same places, for errors; empty where it stands alone.
    """

    actions: tuple[str, ...] = ()
    sets: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    games: tuple[str, ...] = ()
    teams: tuple[str, ...] = ()
    periods: tuple[int, ...] = ()
    states: tuple[str, ...] = ()
    labels: tuple[str, ...] = ()
    since: str = ""
    until: str = ""
    where: str = ""
    order: str = ""
    limit: int | None = None
    written: str = ""

    @property
    def names_kinds(self) -> bool:
        """Whether any kind is asked for by name."""
        return bool(self.actions or self.sets or self.faults)


def joined(one: Filters, other: Filters) -> Filters:
    """Both searches in one: kinds and values of either, both conditions; the second's order, days and limit if it has
    any."""
    conditions = [text.strip() for text in (one.where, other.where) if text.strip()]
    both = len(conditions) > 1
    several = ("actions", "sets", "faults", "games", "teams", "periods", "states", "labels")
    return Filters(
        **{name: tuple(dict.fromkeys((*getattr(one, name), *getattr(other, name)))) for name in several},
        since=other.since or one.since,
        until=other.until or one.until,
        where=" and ".join(f"({text})" for text in conditions) if both else one.where or other.where,
        order=other.order or one.order,
        limit=one.limit if other.limit is None else other.limit,
        written="" if both else one.written or other.written,
    )
