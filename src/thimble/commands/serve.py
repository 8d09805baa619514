"""`thimble serve` and what every command on a data folder needs."""

from __future__ import annotations

import argparse
import os
import socket
import struct
from pathlib import Path
from typing import Any

from thimble.commands import Commands, NotUnderstood

HALF_SENT_SECONDS = 5
"""How long a request that has begun may stay silent before its connection is given up."""


def add_to(commands: Commands) -> None:
    parser = commands.add_parser("serve", help="serve a data folder that holds site.toml")
    parser.add_argument("--data", type=Path, required=True, help="the data folder")
    add_address(parser)
    parser.set_defaults(run=run)


def add_address(parser: argparse.ArgumentParser) -> None:
    """The options that say where to listen."""
    parser.add_argument("--host", default="127.0.0.1", help="the address to listen on")
    parser.add_argument("--port", type=int, default=8717, help="the port to listen on")
    parser.add_argument("--threads", type=int, default=8, help="requests served at once")


def run(options: argparse.Namespace) -> int:
    """Bring the database up to date and serve until stopped."""
    if not (options.data / "site.toml").is_file():
        raise NotUnderstood(
            f"{options.data}: has no site.toml. Write the site's settings there first; "
            "docs/deployment.md shows every key."
        )
    open_data(options.data)
    _check()
    migrate()
    print(f"Thimble serves {options.data} at http://{options.host}:{options.port}/", flush=True)
    return listen(options)


def _check() -> None:
    """Settings or a protocol with faults are told in sentences, before anything is changed."""
    from thimble.clinical.ladder import LadderError
    from thimble.clinical.site import SiteError
    from thimble.protocol import ProtocolFaults
    from thimble.web.context import make_ready

    try:
        make_ready()
    except (SiteError, LadderError, ProtocolFaults) as error:
        raise NotUnderstood(str(error)) from error


def open_data(folder: Path, *, existing: bool = False) -> None:
    """Make Django work on this data folder; what it writes there only its own user can read.

    Raises:
        NotUnderstood: there is no such folder, or (`existing`) no database in it.
    """
    if not folder.is_dir():
        raise NotUnderstood(f"{folder}: there is no such data folder. Name another with --data.")
    if existing and not has_database(folder):
        raise NotUnderstood(
            f"{folder}: holds no thimble.sqlite3. Name the data folder with --data."
        )
    os.umask(0o077)
    os.environ["THIMBLE_DATA"] = str(folder.resolve())
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "thimble.web.settings")
    import django

    django.setup()


def has_database(folder: Path) -> bool:
    """Whether there is a database to work on: elsewhere, as the settings say, or in the folder."""
    return bool(os.environ.get("THIMBLE_DATABASE")) or (folder / "thimble.sqlite3").is_file()


def migrate() -> None:
    """Bring the database's tables up to date."""
    from django.core.management import call_command

    call_command("migrate", verbosity=0, interactive=False)


def listen(options: argparse.Namespace) -> int:
    """Serve with gunicorn: one process, so that plans kept in memory are shared; many threads."""
    from gunicorn.app.base import BaseApplication

    class Server(BaseApplication):  # type: ignore[misc]
        def load_config(self) -> None:
            for key, value in {
                "bind": f"{options.host}:{options.port}",
                "workers": 1,
                "worker_class": "gthread",
                "threads": options.threads,
                "timeout": 60,
                "graceful_timeout": 20,
                "accesslog": None,
                "loglevel": "warning",
                # Nothing is steered through it, and it would open a socket in the home folder.
                "control_socket_disable": True,
                "when_ready": _give_up_half_sent,
            }.items():
                self.cfg.set(key, value)

        def load(self) -> Any:
            from thimble.web.wsgi import application

            return application

    Server().run()
    return 0


def _give_up_half_sent(server: Any) -> None:
    """Set a time limit for receiving on the sockets that listen.

    The server reads a request in one of its few threads and waits there without a limit of its
    own: as many half-sent requests as there are threads would stop it for everybody. On Linux an
    accepted connection inherits this option, and it holds where Python's own time limits do not
    reach, because the server makes each connection blocking before it reads. It bounds silence, not
    the whole request: against a client that drips bytes a buffering proxy stands in front (see
    docs/deployment.md).
    """
    limit = struct.pack("ll", HALF_SENT_SECONDS, 0)  # struct timeval: seconds, microseconds
    for listener in server.LISTENERS:
        listener.sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVTIMEO, limit)
