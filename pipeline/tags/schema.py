"""Tables of the tag store as rows. ``docs/tags.md`` describes them; ``migrations`` makes and changes them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

import numpy as np
from sqlalchemy import JSON, CheckConstraint, ForeignKey, MetaData, String
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from pipeline.tags.records import Candidate, Decided, Family, Note, Reel, ReelItem, SavedSearch, State, Tag
from pipeline.tags.records import Deed as DeedWord


class Base(DeclarativeBase):
    """Every table of the store."""

    metadata = MetaData(
        naming_convention={
            "pk": "pk_%(table_name)s",
            "ix": "ix_%(column_0_label)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "uq": "uq_%(table_name)s_%(column_0_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012 - declarative configuration
        dict[str, Any]: JSON(none_as_null=True),
        list[Any]: JSON(none_as_null=True),
    }


class TagRow(Base):
    """A tag: the candidate as the latest run saw it, and what staff made of it."""

    __tablename__ = "tags"
    id: Mapped[int] = mapped_column(primary_key=True)
    game: Mapped[str] = mapped_column(String(200), index=True)
    kind: Mapped[str] = mapped_column(String(100), index=True)
    state: Mapped[str] = mapped_column(String(20), index=True)
    shot: Mapped[int]
    start_s: Mapped[float]
    end_s: Mapped[float]
    t_s: Mapped[float]
    score: Mapped[float]
    severity: Mapped[str] = mapped_column(String(20))
    sentence: Mapped[str]
    actors: Mapped[list[Any]]
    measures: Mapped[dict[str, Any]]
    family: Mapped[str] = mapped_column(String(20), index=True)
    possession: Mapped[int | None]
    team: Mapped[int | None]
    traits: Mapped[dict[str, Any]]
    ending: Mapped[str | None]
    missing: Mapped[list[Any]]
    found: Mapped[bool]  # by the latest run over its game
    revision: Mapped[int]
    edited_start_s: Mapped[float | None]
    edited_end_s: Mapped[float | None]
    edited_actors: Mapped[list[Any] | None]
    note: Mapped[str]
    decision: Mapped[int | None]  # the line of the history whose verdict stands
    decided_by: Mapped[str | None]
    decided_at: Mapped[str | None] = mapped_column(String(40))
    __table_args__ = (CheckConstraint("end_s >= start_s", name="interval"), {"sqlite_autoincrement": True})


class HistoryRow(Base):
    """A line of the history; the database itself refuses to change or take away one."""

    __tablename__ = "history"
    id: Mapped[int] = mapped_column(primary_key=True)
    tag: Mapped[int] = mapped_column(ForeignKey("tags.id"), index=True)
    at: Mapped[str] = mapped_column(String(40))  # ISO 8601, UTC
    who: Mapped[str] = mapped_column(String(200))
    deed: Mapped[str] = mapped_column(String(30))
    text: Mapped[str]
    evidence: Mapped[dict[str, Any]]  # the candidate as it was then
    before: Mapped[dict[str, Any] | None]  # what staff had made of the tag before a decision or edit
    undoes: Mapped[int | None]  # the line that this one took back
    __table_args__ = {"sqlite_autoincrement": True}  # noqa: RUF012 - declarative configuration


class LabelRow(Base):
    """A free label on a tag."""

    __tablename__ = "labels"
    tag: Mapped[int] = mapped_column(ForeignKey("tags.id"), primary_key=True)
    label: Mapped[str] = mapped_column(String(60), primary_key=True)


class SearchRow(Base):
    """A saved search."""

    __tablename__ = "searches"
    name: Mapped[str] = mapped_column(String(200), primary_key=True)
    text: Mapped[str]
    who: Mapped[str] = mapped_column(String(200))
    at: Mapped[str] = mapped_column(String(40))


class ReelRow(Base):
    """A reel."""

    __tablename__ = "reels"
    id: Mapped[int] = mapped_column(primary_key=True)
    title: Mapped[str] = mapped_column(String(200))
    note: Mapped[str]
    revision: Mapped[int]
    token: Mapped[str | None] = mapped_column(String(100), unique=True, index=True)
    dropped: Mapped[bool]  # taken off the list; its lines stay
    made_by: Mapped[str] = mapped_column(String(200))
    changed_by: Mapped[str] = mapped_column(String(200))
    changed_at: Mapped[str] = mapped_column(String(40))
    __table_args__ = {"sqlite_autoincrement": True}  # noqa: RUF012 - declarative configuration


class ReelItemRow(Base):
    """A clip of a reel."""

    __tablename__ = "reel_items"
    reel: Mapped[int] = mapped_column(ForeignKey("reels.id"), primary_key=True)
    place: Mapped[int] = mapped_column(primary_key=True)  # from 0
    tag: Mapped[int] = mapped_column(ForeignKey("tags.id"), index=True)
    title: Mapped[str]
    note: Mapped[str]
    freeze: Mapped[bool]
    slow: Mapped[float]


class ReelHistoryRow(Base):
    """A reel as it was after a change; lines are only added."""

    __tablename__ = "reel_history"
    id: Mapped[int] = mapped_column(primary_key=True)
    reel: Mapped[int] = mapped_column(ForeignKey("reels.id"), index=True)
    at: Mapped[str] = mapped_column(String(40))
    who: Mapped[str] = mapped_column(String(200))
    deed: Mapped[str] = mapped_column(String(30))
    content: Mapped[dict[str, Any]]
    __table_args__ = {"sqlite_autoincrement": True}  # noqa: RUF012 - declarative configuration


APPEND_ONLY = ("history", "reel_history")
"""Tables whose rows the database refuses to change or take away."""


def stamp(when: datetime) -> str:
    """A time as the store keeps it."""
    return when.astimezone(UTC).isoformat()


def fill(row: TagRow, candidate: Candidate) -> None:
    """Write a candidate into its tag's row."""
    row.kind, row.family, row.shot = candidate.kind, candidate.family.value, candidate.shot
    row.possession, row.team = candidate.possession, candidate.team
    row.start_s, row.end_s, row.t_s = candidate.start_s, candidate.end_s, candidate.t_s
    row.score, row.severity, row.sentence = candidate.score, candidate.severity, candidate.sentence
    row.ending, row.missing = candidate.ending, list(candidate.missing)
    row.actors = [list(actor) for actor in candidate.actors]
    row.measures = {name: float(value) for name, value in candidate.measures.items() if np.isfinite(value)}
    row.traits = dict(candidate.traits)


def candidate_of(row: Any) -> Candidate:
    """The candidate in a row of ``tags``."""
    return Candidate(
        kind=row.kind,
        family=Family(row.family),
        shot=row.shot,
        possession=row.possession,
        team=row.team,
        start_s=row.start_s,
        end_s=row.end_s,
        t_s=row.t_s,
        actors=actors_of(row.actors),
        measures=MappingProxyType(dict(row.measures)),
        traits=MappingProxyType(dict(row.traits)),
        score=row.score,
        severity=row.severity,
        sentence=row.sentence,
        ending=row.ending,
        missing=tuple(row.missing),
    )


def tag_of(row: Any, labels: tuple[str, ...]) -> Tag:
    """The tag in a row of ``tags``."""
    return Tag(
        tag=row.id,
        game=row.game,
        state=State(row.state),
        candidate=candidate_of(row),
        revision=row.revision,
        start_s=row.start_s if row.edited_start_s is None else row.edited_start_s,
        end_s=row.end_s if row.edited_end_s is None else row.edited_end_s,
        actors=actors_of(row.actors if row.edited_actors is None else row.edited_actors),
        labels=labels,
        note=row.note,
        decided_by=row.decided_by,
        decided_at=None if row.decided_at is None else datetime.fromisoformat(row.decided_at),
        found=row.found,
    )


def actors_of(pairs: list[Any]) -> tuple[tuple[str, int], ...]:
    """Roles and tracks as the store keeps them in a list."""
    return tuple((role, track) for role, track in pairs)


def note_of(row: Any) -> Note:
    """A line of the history."""
    return Note(row.tag, datetime.fromisoformat(row.at), row.who, DeedWord(row.deed), row.text)


def evidence_of(row: TagRow) -> dict[str, Any]:
    """What a line of the history keeps of the candidate."""
    return {
        "kind": row.kind,
        "family": row.family,
        "start_s": row.start_s,
        "end_s": row.end_s,
        "t_s": row.t_s,
        "score": row.score,
        "actors": list(row.actors),
        "measures": dict(row.measures),
        "traits": dict(row.traits),
    }


def decided_of(row: Any) -> Decided:
    """A verdict: a row of ``tags`` joined with the line of the history that decided it."""
    evidence: Mapping[str, Any] = row.evidence
    return Decided(
        tag=row.id,
        game=row.game,
        kind=evidence["kind"],
        family=Family(evidence["family"]),
        verdict=State(row.state),
        score=evidence["score"],
        measures=MappingProxyType(dict(evidence["measures"])),
        traits=MappingProxyType(dict(evidence["traits"])),
        at=datetime.fromisoformat(row.at),
        who=row.who,
    )


def search_of(row: Any) -> SavedSearch:
    """A saved search."""
    return SavedSearch(row.name, row.text, row.who)


def reel_of(row: ReelRow, items: list[ReelItemRow]) -> Reel:
    """A reel with its clips, which come in order."""
    return Reel(
        reel=row.id,
        title=row.title,
        note=row.note,
        items=tuple(ReelItem(i.tag, i.title, i.note, i.freeze, i.slow) for i in items),
        revision=row.revision,
        token=row.token,
        made_by=row.made_by,
        changed_by=row.changed_by,
        changed_at=datetime.fromisoformat(row.changed_at),
    )
