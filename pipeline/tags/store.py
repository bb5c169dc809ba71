"""The tag store: SQLite beside the games, or any database that SQLAlchemy reaches by URL."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

from sqlalchemy import DDL, JSON, CheckConstraint, ForeignKey, String, create_engine, event, inspect, select
from sqlalchemy.exc import DatabaseError, SQLAlchemyError
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column

from pipeline.errors import LibraryError
from pipeline.tags.matching import match_candidates
from pipeline.tags.records import Candidate, Deed, Merge, Note, State, Tag

SCHEMA_VERSION = 1


class _Base(DeclarativeBase):
    pass


class _SchemaRow(_Base):
    __tablename__ = "elbowroom_schema"
    version: Mapped[int] = mapped_column(primary_key=True)


class _TagRow(_Base):
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
    actors: Mapped[list[Any]] = mapped_column(JSON)
    measures: Mapped[dict[str, Any]] = mapped_column(JSON)
    __table_args__ = (CheckConstraint("end_s >= start_s"), {"sqlite_autoincrement": True})


class _DecisionRow(_Base):
    __tablename__ = "decisions"
    id: Mapped[int] = mapped_column(primary_key=True)
    tag: Mapped[int] = mapped_column(ForeignKey("tags.id"), index=True)
    at: Mapped[str] = mapped_column(String(40))  # ISO 8601, UTC
    who: Mapped[str] = mapped_column(String(200))
    deed: Mapped[str] = mapped_column(String(30))
    text: Mapped[str]
    evidence: Mapped[dict[str, Any]] = mapped_column(JSON)  # the candidate as it was then


for _deed in ("UPDATE", "DELETE"):
    event.listen(
        _DecisionRow.__table__,
        "after_create",
        DDL(
            f"CREATE TRIGGER decisions_no_{_deed.lower()} BEFORE {_deed} ON decisions "
            "BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END"
        ).execute_if(dialect="sqlite"),
    )


class TagStore:
    """The tags of one library. Use it as a context manager, or close it.

    Parameters
    ----------
    place : Path or str
        A SQLite file, made when it is not there, or a database URL.

    Raises
    ------
    LibraryError
        If the place cannot be opened or holds another schema.
    """

    def __init__(self, place: Path | str) -> None:
        self._place = place
        url = place if isinstance(place, str) else f"sqlite:///{place}"
        try:
            self._engine = create_engine(url)
            if self._engine.dialect.name == "sqlite":
                event.listen(self._engine, "connect", _prepare_sqlite)
            self._make_or_check()
        except (SQLAlchemyError, ImportError) as error:
            cause = getattr(error, "orig", None) or error
            raise LibraryError(
                f"The tag store {place} cannot be opened ({cause}); check the library's path."
            ) from error

    def __enter__(self) -> TagStore:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def merge(self, game: str, candidates: Sequence[Candidate], *, who: str, when: datetime) -> Merge:
        """Bring a run's candidates into the store; nothing staff decided is lost and nothing is doubled.

        Candidates are matched to earlier tags of the game by kind, overlap and actors. A matched tag keeps its
        number and state and takes on the new evidence (one that was withdrawn is a candidate again). An unmatched
        tag that nobody has decided is withdrawn; a decided one stays as it is.

        Parameters
        ----------
        game : str
            Game id.
        candidates : sequence of Candidate
            Everything the run found in that game.
        who : str
            The run, for the history.
        when : datetime
            Time of the run, with a time zone.
        """
        with self._session() as session:
            rows = list(session.scalars(select(_TagRow).where(_TagRow.game == game).order_by(_TagRow.id)))
            pairs = match_candidates([_candidate(r) for r in rows], candidates)
            new, kept, missing = [], [], []
            for index, candidate in enumerate(candidates):
                if index in pairs:
                    row = rows[pairs[index]]
                    if row.state == State.WITHDRAWN:
                        row.state = State.CANDIDATE
                    changed = _candidate(row) != candidate
                    _fill(row, candidate)
                    kept.append(row.id)
                    if changed:
                        _remember(session, row, who, when, Deed.FOUND_AGAIN)
                else:
                    row = _TagRow(game=game, state=State.CANDIDATE)
                    _fill(row, candidate)
                    session.add(row)
                    session.flush()
                    new.append(row.id)
                    _remember(session, row, who, when, Deed.FOUND)
            for index, row in enumerate(rows):
                if index in pairs.values():
                    continue
                if row.state == State.CANDIDATE:
                    row.state = State.WITHDRAWN
                    _remember(session, row, who, when, Deed.NOT_FOUND_AGAIN)
                    missing.append(row.id)
            session.commit()
        return Merge(tuple(new), tuple(kept), tuple(missing))

    def decide(self, tag: int, verdict: State, *, who: str, when: datetime, text: str = "") -> Tag:
        """Confirm or reject a tag.

        Raises
        ------
        LibraryError
            If there is no such tag, or the verdict is neither confirmed nor rejected.
        """
        if verdict not in (State.CONFIRMED, State.REJECTED):
            raise LibraryError(f"A tag can be confirmed or rejected, not made '{verdict}'.")
        with self._session() as session:
            row = self._row(session, tag)
            row.state = verdict
            _remember(session, row, who, when, Deed(verdict.value), text)
            session.commit()
            return _tag(row)

    def tag(self, tag: int) -> Tag:
        """One tag by its number; LibraryError when there is none."""
        with self._session() as session:
            return _tag(self._row(session, tag))

    def tags(self, *, game: str | None = None, kind: str | None = None) -> tuple[Tag, ...]:
        """Tags in order of game and time, withdrawn ones left out."""
        wanted = select(_TagRow).where(_TagRow.state != State.WITHDRAWN).order_by(_TagRow.game, _TagRow.t_s)
        if game is not None:
            wanted = wanted.where(_TagRow.game == game)
        if kind is not None:
            wanted = wanted.where(_TagRow.kind == kind)
        with self._session() as session:
            return tuple(_tag(row) for row in session.scalars(wanted))

    def history(self, tag: int) -> tuple[Note, ...]:
        """Everything that happened to a tag, oldest first."""
        with self._session() as session:
            self._row(session, tag)
            rows = session.scalars(select(_DecisionRow).where(_DecisionRow.tag == tag).order_by(_DecisionRow.id))
            return tuple(Note(r.tag, datetime.fromisoformat(r.at), r.who, Deed(r.deed), r.text) for r in rows)

    def _row(self, session: Session, tag: int) -> _TagRow:
        row = session.get(_TagRow, tag)
        if row is None:
            raise LibraryError(f"There is no tag {tag} in {self._place}; 'elbowroom list' shows the numbers.")
        return row

    @contextmanager
    def _session(self) -> Iterator[Session]:
        try:
            with Session(self._engine) as session:
                yield session
        except DatabaseError as error:
            raise LibraryError(f"The tag store {self._place} cannot be used ({error.orig}).") from error

    def _make_or_check(self) -> None:
        names = set(inspect(self._engine).get_table_names())
        if not names:
            _Base.metadata.create_all(self._engine)
            with Session(self._engine) as session:
                session.add(_SchemaRow(version=SCHEMA_VERSION))
                session.commit()
            return
        if _SchemaRow.__tablename__ not in names:
            raise LibraryError(f"{self._place} is a database of something else; choose another folder for the library.")
        with Session(self._engine) as session:
            version = session.scalar(select(_SchemaRow.version))
        if version != SCHEMA_VERSION:
            raise LibraryError(
                f"The tag store {self._place} has schema version {version}, this program knows {SCHEMA_VERSION}; "
                "use the version of the program that wrote it."
            )


def _prepare_sqlite(connection: Any, _record: object) -> None:
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.execute("PRAGMA busy_timeout=10000")
    cursor.close()


def _fill(row: _TagRow, candidate: Candidate) -> None:
    row.kind, row.shot = candidate.kind, candidate.shot
    row.start_s, row.end_s, row.t_s = candidate.start_s, candidate.end_s, candidate.t_s
    row.score, row.severity, row.sentence = candidate.score, candidate.severity, candidate.sentence
    row.actors = [list(actor) for actor in candidate.actors]
    row.measures = dict(candidate.measures)


def _candidate(row: _TagRow) -> Candidate:
    return Candidate(
        kind=row.kind,
        shot=row.shot,
        start_s=row.start_s,
        end_s=row.end_s,
        t_s=row.t_s,
        actors=tuple((role, track) for role, track in row.actors),
        measures=MappingProxyType(dict(row.measures)),
        score=row.score,
        severity=row.severity,
        sentence=row.sentence,
    )


def _tag(row: _TagRow) -> Tag:
    return Tag(row.id, row.game, State(row.state), _candidate(row))


def _remember(session: Session, row: _TagRow, who: str, when: datetime, deed: Deed, text: str = "") -> None:
    evidence: dict[str, Any] = {
        "start_s": row.start_s,
        "end_s": row.end_s,
        "t_s": row.t_s,
        "score": row.score,
        "actors": list(row.actors),
        "measures": dict(row.measures),
    }
    session.add(
        _DecisionRow(
            tag=row.id, at=when.astimezone(UTC).isoformat(), who=who, deed=deed.value, text=text, evidence=evidence
        )
    )
