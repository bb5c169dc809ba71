"""Serve a library's review pages until they are stopped."""

from __future__ import annotations

import getpass
import os
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from pipeline.errors import SettingsError
from pipeline.library.games import Game, Library
from pipeline.review.access import Door, Transport, access_for
from pipeline.review.app import create_app
from pipeline.review.jobs import Progress
from pipeline.review.readying import ready
from pipeline.review.site import Rerun
from pipeline.settings import Settings


@dataclass(frozen=True, slots=True)
class Serving:
    """Where the pages are served.

    Attributes
    ----------
    host : str
    port : int
    names : tuple of str
        Further host names under which they are reached.
    certificate, key : Path or None
        For TLS; both or neither.
    """

    host: str
    port: int
    names: tuple[str, ...]
    certificate: Path | None
    key: Path | None


def serve(library: Library, settings: Settings, serving: Serving, say: Callable[[str], None]) -> None:
    """Serve until interrupted.

    Raises
    ------
    SettingsError
        If the address cannot be listened on, or is open to others while nobody has a password.
    """
    if (serving.certificate is None) != (serving.key is None):
        raise SettingsError("--certificate and --key belong together; give both or neither.")
    for path in (serving.certificate, serving.key):
        if path is not None and not path.is_file():
            raise SettingsError(f"{path} does not exist; give a PEM file.")
    transport = Transport.PLAIN if serving.certificate is None else Transport.TLS
    access = access_for(
        library.must_exist(),
        serving.host,
        settings.review,
        transport=transport,
        host_names=serving.names,
        visitor=_user(),
    )
    listening = _listen(serving.host, serving.port)
    app = create_app(library, settings, access=access, rerun=rerun_of(library, settings))
    shown = f"[{serving.host}]" if ":" in serving.host else serving.host
    login = "with a login" if access.door is Door.LOGIN else "without a login, for this machine alone"
    address = f"{transport.value}://{shown}:{serving.port}/"
    say(f"The review pages of {library.root} are at {address} ({login}); Ctrl+C stops them.")
    config = uvicorn.Config(
        app,
        log_level="warning",
        server_header=False,
        ssl_certfile=serving.certificate,
        ssl_keyfile=serving.key,
        timeout_graceful_shutdown=3,
    )
    threading.Thread(target=ready, args=(app.state.site,), name="ready", daemon=True).start()
    uvicorn.Server(config).run(sockets=[listening])


def rerun_of(library: Library, settings: Settings) -> Rerun:
    """Runs a game of the library again; networks are opened when it is first asked for."""

    def rerun(game: Game, progress: Progress) -> None:
        from pipeline.night.networks import film_networks
        from pipeline.night.run import run_film

        def stage(name: str) -> Callable[[float, float], None]:
            progress(f"Working on: {name}.", 0.0)
            return lambda done, whole: progress(f"Working on: {name}.", done / whole if whole else 0.0)

        run_film(game.film(), library, film_networks(settings), settings, book=None, progress=stage)

    return rerun


def _listen(host: str, port: int) -> socket.socket:
    try:
        family, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        listening = socket.socket(family)
    except OSError as error:
        raise _cannot(host, port, error) from error
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(address)
    except OSError as error:
        listening.close()
        raise _cannot(host, port, error) from error
    return listening


def _cannot(host: str, port: int, error: OSError) -> SettingsError:
    return SettingsError(
        f"{host}, port {port}, cannot be listened on ({error.strerror}); choose another with --port or --host."
    )


def _user() -> str:
    """The name of whoever is logged in at this machine."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return f"user {os.getuid()}"
