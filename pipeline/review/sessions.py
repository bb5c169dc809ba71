"""Sessions: who sends a request, kept in a signed cookie.

A cookie says a session's random number, the name and the times it began and was last used; its signature is made
with a secret that lies in the library, so that sessions live through a restart of the server. Logging out writes the
number into a list of ended ones; a changed password ends the sessions made with the old one.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
import time
from dataclasses import dataclass, replace
from pathlib import Path

from itsdangerous import BadSignature, URLSafeSerializer
from pydantic import FiniteFloat, TypeAdapter, ValidationError

from pipeline.errors import LibraryError
from pipeline.user_files import read_text

COOKIE = "elbowroom"
SECRET_BYTES = 32
_ENDED = TypeAdapter(tuple[str, FiniteFloat])
"""A line of the list of ended sessions: a number, and when."""

REFRESH_S = 60.0
"""A used session's cookie is written anew no more often than this."""


@dataclass(frozen=True, slots=True)
class Session:
    """One browser's visit.

    Attributes
    ----------
    number : str
        Random, unguessable.
    who : str
        Name for the history.
    logged_in : bool
        Whether a password was given for that name.
    began_s, used_s : float
        Seconds of the epoch.
    proof : str
        Stands for the password it was made with; empty without one.
    """

    number: str
    who: str
    logged_in: bool
    began_s: float
    used_s: float
    proof: str = ""


class Sessions:
    """Writes and reads cookies.

    Parameters
    ----------
    folder : Path
        Holds the secret and the list of ended sessions; made when needed, readable by its owner alone.
    longest_s, idle_s : float
        How long a session lasts, and how long when it is not used.
    """

    def __init__(self, folder: Path, *, longest_s: float, idle_s: float) -> None:
        self._longest_s, self._idle_s = longest_s, idle_s
        self._ended_file = folder / "ended_sessions"
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._secret = _secret(folder / "secret")
            self._ended = self._read_ended()
        except OSError as error:
            raise LibraryError(f"{folder} cannot be written ({error.strerror}); check its permissions.") from error
        self._signer = URLSafeSerializer(self._secret, salt="session")
        self._lock = threading.Lock()

    def begin(self, who: str, *, proof: str | None = None) -> Session:
        """A new session; ``proof`` stands for the password that was given, None for none."""
        now = time.time()
        return Session(secrets.token_urlsafe(18), who, proof is not None, now, now, proof or "")

    def cookie(self, session: Session) -> str:
        """The cookie's value."""
        values = [
            session.number, session.who, session.logged_in, round(session.began_s), round(session.used_s),
            session.proof,
        ]  # fmt: skip
        return str(self._signer.dumps(values))

    def read(self, cookie: str) -> Session | None:
        """The session of a cookie; None when it is not ours, ended or too old."""
        try:
            number, who, logged_in, began_s, used_s, proof = self._signer.loads(cookie)
        except (BadSignature, ValueError, TypeError):
            return None
        session = Session(str(number), str(who), bool(logged_in), float(began_s), float(used_s), str(proof))
        now = time.time()
        old = now - session.began_s > self._longest_s or now - session.used_s > self._idle_s
        return None if old or session.number in self._ended else session

    def used(self, session: Session) -> Session | None:
        """The session as used now; None while its cookie is fresh enough."""
        now = time.time()
        return replace(session, used_s=now) if now - session.used_s > REFRESH_S else None

    def end(self, session: Session) -> None:
        """No cookie of this session is taken from now on."""
        with self._lock:
            self._ended[session.number] = time.time()
            with _private(self._ended_file).open("a", encoding="utf-8") as stream:
                stream.write(json.dumps([session.number, time.time()]) + "\n")

    def token(self, session: Session) -> str:
        """What a request that changes something must carry."""
        return hmac.new(self._secret, f"change:{session.number}".encode(), hashlib.sha256).hexdigest()

    def is_token(self, session: Session, told: str) -> bool:
        """Whether a request's token is this session's."""
        return hmac.compare_digest(self.token(session).encode(), told.encode())

    def proof(self, password_hash: str) -> str:
        """What stands for a password in its sessions; changes with the password."""
        return hmac.new(self._secret, f"proof:{password_hash}".encode(), hashlib.sha256).hexdigest()[:24]

    def _read_ended(self) -> dict[str, float]:
        try:
            text = read_text(self._ended_file, LibraryError, largest_mb=64)
        except FileNotFoundError:
            return {}
        try:
            # What comes after the last line's end is a logout that a power cut broke off: nobody was told of it.
            lines = [_ENDED.validate_json(line) for line in text.split("\n")[:-1] if line]
        except ValidationError as error:
            raise LibraryError(
                f"{self._ended_file} is damaged; delete it and the file 'secret' beside it, and everybody has to log "
                "in again."
            ) from error
        oldest = time.time() - self._longest_s
        kept = {number: at for number, at in lines if at >= oldest}
        text = "".join(json.dumps([number, at]) + "\n" for number, at in kept.items())
        _private(self._ended_file).write_text(text, encoding="utf-8")
        return kept


def _secret(path: Path) -> bytes:
    """The library's secret, made once."""
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        secret = path.read_bytes()
        if len(secret) != SECRET_BYTES:
            raise LibraryError(f"{path} is damaged; delete it, and everybody has to log in again.") from None
        return secret
    with os.fdopen(handle, "wb") as stream:
        secret = secrets.token_bytes(SECRET_BYTES)
        stream.write(secret)
    return secret


def _private(path: Path) -> Path:
    """The path, with a file there that its owner alone can read."""
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT, 0o600))
    return path
