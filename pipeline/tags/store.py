"""The tag store: SQLite beside the games, or a PostgreSQL database by its URL."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from pipeline.errors import LibraryError, StoreError
from pipeline.tags import merging, reels
from pipeline.tags.lines import STAFFS, before_of, last_to_undo, remember, standing
from pipeline.tags.opening import WRITE, driver_message, open_engine, shown
from pipeline.tags.records import (
    VERDICTS,
    Candidate,
    Decided,
    Deed,
    Family,
    Merge,
    Note,
    Reel,
    SavedSearch,
    State,
    Tag,
    TagConflict,
)
from pipeline.tags.schema import HistoryRow, LabelRow, TagRow, decided_of, note_of, stamp, tag_of
from pipeline.tags.wording import interval, labels_of, line, person, players, text_of


class TagStore:
    """The tags of one library. Use it as a context manager, or close it.

    One store may be used by many threads, and one database by many stores; every method is one transaction, and what
    it returns is on the disk. A ``revision`` given to a change is the one that the caller looked at: when the tag has
    another one by now nothing is written, and ``TagConflict`` brings the tag as it stands and who changed it.

    Parameters
    ----------
    place : Path or str
        A SQLite file, made when it is not there, or a database URL.

    Raises
    ------
    LibraryError
        If the place cannot be opened, holds something else, or was written by a newer program.
    """

    def __init__(self, place: Path | str) -> None:
        self._place = shown(place)
        self._engine = open_engine(place)
        self._writer = self._engine.execution_options(**WRITE)

    def __enter__(self) -> TagStore:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    # What runs write -----------------------------------------------------------------------------

    def merge(self, game: str, candidates: Sequence[Candidate], *, who: str, when: datetime) -> Merge:
        """Bring a run's candidates into the store; nothing staff decided is lost and nothing is doubled.

        Candidates are matched to earlier tags of the game by kind, overlap and actors. A matched tag keeps its
        number, its state and whatever staff edited, and takes on the new evidence (one that was withdrawn is a
        candidate again). An unmatched tag that nobody has touched is withdrawn; one that somebody has decided,
        edited, noted, labelled or put into a reel stays.

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
        with self._writing() as session:
            return merging.merge(session, line(game, "The name of a game"), candidates, person(who), when)

    # What staff write ----------------------------------------------------------------------------

    def decide(
        self, tag: int, verdict: State, *, who: str, when: datetime, text: str = "", revision: int | None = None
    ) -> Tag:
        """Confirm or reject a tag, or say that one cannot tell.

        The same decision sent twice by one person, as after a broken connection, is written once.

        Raises
        ------
        LibraryError
            If there is no such tag, or the verdict is none.
        TagConflict
            If the revision is not the current one.
        """
        if verdict not in VERDICTS:
            raise LibraryError(f"A tag can be made confirmed, rejected or unsure, not '{verdict}'.")
        told, name = text_of(text, "The reason of a decision"), person(who)
        with self._writing() as session:
            row = self._row(session, tag, for_change=True)
            sent_again = revision is not None and revision + 1 == row.revision
            if sent_again and (row.state, row.decided_by) == (verdict.value, name) and self._last_deed(session, tag):
                return self._tag(session, row)
            self._check(session, row, revision)
            before = standing(row)
            row.state, row.decided_by, row.decided_at = verdict.value, name, stamp(when)
            written = remember(session, row, name, when, Deed(verdict.value), told, before=before)
            session.flush()
            row.decision = written.id
            return self._changed(session, row)

    def undo(self, tag: int, *, who: str, when: datetime, revision: int | None = None) -> Tag:
        """Take back the last decision or edit that was not taken back yet; the history gets a line, it loses none.

        Raises
        ------
        LibraryError
            If there is no such tag or nothing to take back.
        TagConflict
            If the revision is not the current one.
        """
        with self._writing() as session:
            row = self._row(session, tag, for_change=True)
            self._check(session, row, revision)
            last = last_to_undo(session, tag)
            if last is None:
                raise LibraryError(f"Nobody has decided or edited tag {tag}, so there is nothing to take back.")
            for name, value in before_of(session, last).items():
                if name in STAFFS:
                    setattr(row, name, value)
            if row.state == State.WITHDRAWN:  # it may have been found again since, else the next run withdraws it
                row.state = State.CANDIDATE.value
            told = f"took back '{last.deed}' of {last.who}"
            remember(session, row, who, when, Deed.UNDONE, told, undoes=last.id)
            return self._changed(session, row)

    def edit(
        self,
        tag: int,
        *,
        who: str,
        when: datetime,
        start_s: float | None = None,
        end_s: float | None = None,
        actors: Sequence[tuple[str, int]] | None = None,
        revision: int | None = None,
    ) -> Tag:
        """Give a tag another interval or other players than it was found with; later runs leave them alone.

        Raises
        ------
        LibraryError
            If there is no such tag, the interval is none, or nobody is left in it.
        TagConflict
            If the revision is not the current one.
        """
        with self._writing() as session:
            row = self._row(session, tag, for_change=True)
            self._check(session, row, revision)
            now = self._tag(session, row)
            times = interval(now.start_s if start_s is None else start_s, now.end_s if end_s is None else end_s)
            people = now.actors if actors is None else players(actors)
            told = []
            before = standing(row)
            if times != (now.start_s, now.end_s):
                told.append(f"from {times[0]:.2f} s to {times[1]:.2f} s")
                row.edited_start_s, row.edited_end_s = times
            if people != now.actors:
                told.append(", ".join(f"{role.replace('_', ' ')} {track}" for role, track in people))
                row.edited_actors = [list(actor) for actor in people]
            if not told:
                return now
            remember(session, row, who, when, Deed.EDITED, "; ".join(told), before=before)
            return self._changed(session, row)

    def note(self, tag: int, text: str, *, who: str, when: datetime, revision: int | None = None) -> Tag:
        """Write a tag's note; the one before stays in the history."""
        told = text_of(text, "A note")
        with self._writing() as session:
            row = self._row(session, tag, for_change=True)
            if row.note == told:
                return self._tag(session, row)
            self._check(session, row, revision)
            row.note = told
            remember(session, row, who, when, Deed.NOTED, told)
            return self._changed(session, row)

    def label(self, tag: int, *, add: Iterable[str] = (), remove: Iterable[str] = (), who: str, when: datetime) -> Tag:
        """Put free labels on a tag and take others off. Labels of two people never hinder each other."""
        wanted, unwanted = labels_of(add), labels_of(remove)
        with self._writing() as session:
            row = self._row(session, tag, for_change=True)
            there = {one.label: one for one in session.scalars(select(LabelRow).where(LabelRow.tag == tag))}
            gone = [name for name in unwanted if name in there and name not in wanted]
            come = [name for name in wanted if name not in there]
            for name in gone:
                session.delete(there[name])
            session.add_all(LabelRow(tag=tag, label=name) for name in come)
            if gone or come:
                told = ", ".join([*(f"+ {name}" for name in come), *(f"- {name}" for name in gone)])
                remember(session, row, who, when, Deed.LABELLED, told)
            return self._tag(session, row)

    # What is asked -------------------------------------------------------------------------------

    def tag(self, tag: int) -> Tag:
        """One tag by its number; LibraryError when there is none."""
        with self._reading() as session:
            return self._tag(session, self._row(session, tag))

    def tags(
        self,
        *,
        game: str | None = None,
        kind: str | None = None,
        family: Family | None = None,
        state: State | None = None,
    ) -> tuple[Tag, ...]:
        """Tags in order of game and time; withdrawn ones only where that state is asked for."""
        table = TagRow.__table__
        asked = [table.c.state == state.value if state is not None else table.c.state != State.WITHDRAWN.value]
        asked += [table.c[name] == value for name, value in (("game", game), ("kind", kind)) if value is not None]
        asked += [table.c.family == family.value] if family is not None else []
        labelled = select(LabelRow.tag, LabelRow.label).order_by(LabelRow.tag, LabelRow.label)
        if game is not None:
            labelled = labelled.where(LabelRow.tag.in_(select(table.c.id).where(table.c.game == game)))
        labels: dict[int, list[str]] = {}
        with self._reading() as session:
            rows = session.execute(select(table).where(*asked).order_by(table.c.game, table.c.t_s, table.c.id)).all()
            for number, label in session.execute(labelled):
                labels.setdefault(number, []).append(label)
        return tuple(tag_of(row, tuple(labels.get(row.id, ()))) for row in rows)

    def counts(self) -> Mapping[tuple[Family, str, State], int]:
        """How many tags there are of each family, kind and state, withdrawn ones too."""
        wanted = select(TagRow.family, TagRow.kind, TagRow.state, func.count()).group_by(
            TagRow.family, TagRow.kind, TagRow.state
        )
        with self._reading() as session:
            rows = session.execute(wanted).all()
        return {(Family(family), kind, State(state)): count for family, kind, state, count in rows}

    def all_labels(self) -> tuple[str, ...]:
        """Every label that is on a tag, in order of the alphabet."""
        with self._reading() as session:
            return tuple(session.scalars(select(LabelRow.label).distinct().order_by(LabelRow.label)))

    def history(self, tag: int) -> tuple[Note, ...]:
        """Everything that happened to a tag, oldest first."""
        with self._reading() as session:
            self._row(session, tag)
            rows = session.scalars(select(HistoryRow).where(HistoryRow.tag == tag).order_by(HistoryRow.id))
            return tuple(note_of(row) for row in rows)

    def last_line(self) -> int:
        """Number of the newest line of the history, 0 where there is none; every change of a tag adds one."""
        with self._reading() as session:
            return session.scalar(select(func.max(HistoryRow.id))) or 0

    def latest_lines(self) -> Mapping[int, tuple[int, str]]:
        """Number and time of every tag's newest line, withdrawn ones too: where it is the same, nothing changed."""
        wanted = select(HistoryRow.tag, func.max(HistoryRow.id), func.max(HistoryRow.at)).group_by(HistoryRow.tag)
        with self._reading() as session:
            return {number: (line, at) for number, line, at in session.execute(wanted).all()}

    def tags_of(self, numbers: Iterable[int]) -> tuple[Tag, ...]:
        """Tags by their numbers, withdrawn ones too, in order of their numbers; a number that is none gives none."""
        wanted = sorted(set(numbers))
        found: list[Tag] = []
        with self._reading() as session:
            for begin in range(0, len(wanted), 500):
                part = wanted[begin : begin + 500]
                table = TagRow.__table__
                rows = session.execute(select(table).where(table.c.id.in_(part)).order_by(table.c.id)).all()
                labels: dict[int, list[str]] = {}
                asked = select(LabelRow.tag, LabelRow.label).where(LabelRow.tag.in_(part)).order_by(LabelRow.label)
                for number, label in session.execute(asked):
                    labels.setdefault(number, []).append(label)
                found += [tag_of(row, tuple(labels.get(row.id, ()))) for row in rows]
        return tuple(found)

    def decisions(self) -> tuple[Decided, ...]:
        """The standing verdict of every decided tag with the evidence as it was then, oldest first."""
        tags, lines = TagRow.__table__, HistoryRow.__table__
        wanted = (
            select(tags.c.id, tags.c.game, tags.c.state, lines.c.evidence, lines.c.at, lines.c.who)
            .join(lines, lines.c.id == tags.c.decision)
            .where(tags.c.state.in_([verdict.value for verdict in VERDICTS]))
            .order_by(lines.c.id)
        )
        with self._reading() as session:
            return tuple(decided_of(row) for row in session.execute(wanted).all())

    # Searches and reels --------------------------------------------------------------------------

    def save_search(self, name: str, text: str, *, who: str, when: datetime) -> SavedSearch:
        """Keep a search under a name; ConflictError where the name is another person's."""
        with self._writing() as session:
            return reels.save_search(session, name, text, who, when)

    def searches(self) -> tuple[SavedSearch, ...]:
        """Saved searches by name."""
        with self._reading() as session:
            return reels.searches(session)

    def drop_search(self, name: str) -> None:
        """Forget a search; LibraryError when there is none of that name."""
        with self._writing() as session:
            reels.drop_search(session, name)

    def make_reel(self, title: str, *, who: str, when: datetime) -> Reel:
        """A new reel without clips."""
        with self._writing() as session:
            return reels.make_reel(session, title, who, when)

    def reel(self, reel: int) -> Reel:
        """One reel; LibraryError when there is none."""
        with self._reading() as session:
            return reels.reel(session, reel)

    def reels(self) -> tuple[Reel, ...]:
        """Every reel, by number."""
        with self._reading() as session:
            return reels.reels(session)

    def save_reel(self, reel: Reel, *, who: str, when: datetime) -> Reel:
        """Write a reel's title, note and clips; ReelConflict when its revision is not the current one."""
        with self._writing() as session:
            return reels.save_reel(session, reel, who, when)

    def drop_reel(self, reel: int, *, who: str, when: datetime) -> None:
        """Take a reel off the list, and its link away."""
        with self._writing() as session:
            reels.drop_reel(session, reel, who, when)

    def share_reel(self, reel: int, *, who: str, when: datetime) -> Reel:
        """Give a reel a link; one that has one keeps it."""
        with self._writing() as session:
            return reels.share_reel(session, reel, who, when)

    def unshare_reel(self, reel: int, *, who: str, when: datetime) -> Reel:
        """Take a reel's link away: it leads nowhere any more."""
        with self._writing() as session:
            return reels.unshare_reel(session, reel, who, when)

    def reel_of_token(self, token: str) -> Reel | None:
        """The reel that is shared under a token, None when there is none."""
        with self._reading() as session:
            return reels.reel_of_token(session, token)

    # ---------------------------------------------------------------------------------------------

    def _row(self, session: Session, tag: int, *, for_change: bool = False) -> TagRow:
        row = None
        if 0 < tag <= reels.LARGEST_NUMBER:
            row = session.get(TagRow, tag, with_for_update={"key_share": True} if for_change else None)
        if row is None:
            raise LibraryError(f"There is no tag {tag} in {self._place}; 'elbowroom list' shows the numbers.")
        return row

    def _tag(self, session: Session, row: TagRow) -> Tag:
        labels = session.scalars(select(LabelRow.label).where(LabelRow.tag == row.id).order_by(LabelRow.label))
        return tag_of(row, tuple(labels))

    def _changed(self, session: Session, row: TagRow) -> Tag:
        row.revision += 1
        session.flush()
        return self._tag(session, row)

    def _check(self, session: Session, row: TagRow, revision: int | None) -> None:
        """TagConflict when a revision was given and is not the current one."""
        if revision is None or revision == row.revision:
            return
        last = session.scalar(
            select(HistoryRow).where(HistoryRow.tag == row.id).order_by(HistoryRow.id.desc()).limit(1)
        )
        note = None if last is None else note_of(last)
        what = "" if note is None else f" ({note.deed} by {note.who})"
        raise TagConflict(
            f"Tag {row.id} was changed since you opened it{what}; nothing was written, look at it again.",
            self._tag(session, row),
            note,
        )

    def _last_deed(self, session: Session, tag: int) -> bool:
        """Whether the decision that stands is the last line of a tag's history."""
        last = session.scalar(select(HistoryRow.id).where(HistoryRow.tag == tag).order_by(HistoryRow.id.desc()))
        return last == session.scalar(select(TagRow.decision).where(TagRow.id == tag))

    @contextmanager
    def _reading(self) -> Iterator[Session]:
        with self._told(), Session(self._engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def _writing(self) -> Iterator[Session]:
        with self._told(), Session(self._writer, expire_on_commit=False) as session, session.begin():
            yield session

    @contextmanager
    def _told(self) -> Iterator[None]:
        """What goes wrong in the database, as an error of ours."""
        try:
            yield
        except SQLAlchemyError as error:
            told = f"{self._place} cannot be used now ({driver_message(error)})"
            raise StoreError(f"The tag store {told}; nothing was written, try again.") from error
