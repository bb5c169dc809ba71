"""Who may come in: anybody at this machine, or those with a password, from anywhere."""

from __future__ import annotations

import ipaddress
import re
from dataclasses import dataclass
from enum import Enum

from pipeline.errors import SettingsError
from pipeline.library.games import Library
from pipeline.review.passwords import PasswordFile
from pipeline.review.sessions import Sessions
from pipeline.review.settings import ReviewSettings

FOLDER = ".review"
"""Folder of a library for what the pages keep: passwords, the secret, cuts of films."""

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})


class Door(Enum):
    """Whether a password is asked for."""

    OPEN = "open"  # loopback, nobody has a password
    LOGIN = "login"


class Transport(Enum):
    """How requests come in."""

    PLAIN = "http"
    TLS = "https"


@dataclass(frozen=True, slots=True, eq=False)
class Access:
    """How the site is reached and by whom.

    Attributes
    ----------
    door : Door
    transport : Transport
        Decides whether cookies are for TLS alone.
    passwords : PasswordFile
    sessions : Sessions
    host_names : frozenset of str
        Host names that requests may name; empty for any.
    visitor : str
        What an open door's visitors are called until they say their name.
    """

    door: Door
    transport: Transport
    passwords: PasswordFile
    sessions: Sessions
    host_names: frozenset[str]
    visitor: str


def password_file(library: Library) -> PasswordFile:
    """A library's password file."""
    return PasswordFile(library.root / FOLDER / "passwords")


def access_for(
    library: Library,
    host: str,
    settings: ReviewSettings,
    *,
    transport: Transport = Transport.PLAIN,
    host_names: tuple[str, ...] = (),
    visitor: str,
) -> Access:
    """The access that an address calls for.

    Parameters
    ----------
    library : Library
    host : str
        Address or name that the server listens on.
    settings : ReviewSettings
    transport : Transport
    host_names : tuple of str
        Names under which the site is reached besides ``host``, e.g. behind a proxy.
    visitor : str
        Name of whoever sits at this machine.

    Raises
    ------
    SettingsError
        If the address can be reached from other machines and nobody has a password.
    """
    passwords = password_file(library)
    local = is_loopback(host)
    if not passwords.hashes() and (not local or host_names):
        where = host if not local else ", ".join(host_names)
        raise SettingsError(
            f"{where} can be reached from other machines and nobody has a password; "
            f"run 'elbowroom review-user NAME --library {library.root}' first, or leave --host and --name out."
        )
    anywhere = host in ("0.0.0.0", "::", "")
    named = {name.lower() for name in host_names}
    allowed = frozenset() if anywhere and not named else frozenset({host.strip("[]").lower(), *named, *LOOPBACK_NAMES})
    sessions = Sessions(
        library.root / FOLDER, longest_s=settings.session_hours * 3600, idle_s=settings.idle_hours * 3600
    )
    door = Door.LOGIN if passwords.hashes() else Door.OPEN
    return Access(door, transport, passwords, sessions, allowed, visitor)


def is_loopback(host: str) -> bool:
    """Whether an address is this machine's alone."""
    told = host.strip("[]").lower()
    if told == "localhost":
        return True
    try:
        return ipaddress.ip_address(told).is_loopback
    except ValueError:
        return False


def host_of(header: str) -> str:
    """The host of a ``Host`` header or an origin's address, without its port, in small letters; empty if it is none."""
    match = re.fullmatch(r"(\[[0-9a-fA-F:.]+\]|[A-Za-z0-9._-]+)(:\d{1,5})?", header)
    return match[1].strip("[]").lower() if match else ""
