"""Every error the product raises on purpose.

    ElbowroomError
    ├── ShapeError          an array or table has the wrong shape or columns
    ├── SettingsError       a configuration file or value is wrong
    ├── FilmError           a film cannot be read (missing, empty, no video, damaged)
    ├── PictureError        a still picture cannot be read
    ├── LibraryError        a library or game folder is missing or not ours
    │   ├── BusyError       another run works on the same film
    │   └── StoreError      the tag store does not answer: its server is away, or others write for too long
    ├── ConflictError       somebody else changed the same thing first
    ├── ModelError          network weights are missing or do not fit
    ├── LanguageError       a set, fault or condition is not written as its language wants
    ├── SearchError         a search names something that does not exist, or asks for what cannot be read
    ├── DataError           an evaluation or training folder is not in the documented form
    ├── TrackingError       tracking data given for import is not in the documented form
    ├── ExportError         a picture, diagram or list cannot be written as asked
    ├── WorkerError         a worker process of a run was lost
    ├── ClusterError        a cluster of machines does not answer, or cannot do the work
    └── MissingExtraError   an optional part of the installation is not there

The text of each says what was found, where, and what to do next, in one sentence; the command
line prints it and exits non-zero. Expected misses (a close-up, a frame without a visible court)
are results with a reason, not exceptions.
"""


class ElbowroomError(Exception):
    """Root of all errors raised on purpose; line breaks and signs that cannot be printed stand as spaces in its text,
    for it may quote what somebody wrote."""

    kept = ""
    """Signs that stay although they cannot be printed."""

    def __init__(self, text: str = "") -> None:
        super().__init__("".join(sign if sign.isprintable() or sign in self.kept else " " for sign in text))


class ShapeError(ElbowroomError):
    """An array or table has the wrong shape or columns."""


class SettingsError(ElbowroomError):
    """A configuration file or value is wrong."""


class FilmError(ElbowroomError):
    """A film cannot be read."""


class PictureError(ElbowroomError):
    """A still picture cannot be read."""


class LibraryError(ElbowroomError):
    """A library or game folder is missing, damaged or not ours."""


class BusyError(LibraryError):
    """Another run works on the same film; it may be begun when that has ended."""


class StoreError(LibraryError):
    """The tag store does not answer: its server is away, or others write for too long; nothing was written."""


class ConflictError(ElbowroomError):
    """Somebody else changed the same thing first; nothing was written."""


class ModelError(ElbowroomError):
    """Network weights are missing, damaged or of another kind."""


class LanguageError(ElbowroomError):
    """A set, fault or condition is not written as its language wants.

    Attributes
    ----------
    line, column : int
        Where, counted from 1.
    """

    kept = "\n"

    def __init__(self, text: str, line: int, column: int) -> None:
        super().__init__(text)
        self.line = line
        self.column = column


class SearchError(ElbowroomError):
    """A search names something that does not exist, or asks for what cannot be read."""


class DataError(ElbowroomError):
    """An evaluation or training folder is not in the documented form."""


class TrackingError(ElbowroomError):
    """Tracking data given for import is not in the documented form."""


class ExportError(ElbowroomError):
    """A picture, diagram or list of tags cannot be written in the form or to the place asked for."""


class MissingExtraError(ElbowroomError):
    """An optional part of the installation is not there."""


class WorkerError(ElbowroomError):
    """A worker process of a run was lost."""


class ClusterError(ElbowroomError):
    """A cluster of machines does not answer, or cannot do the work."""
