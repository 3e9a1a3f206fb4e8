"""The command line: ``python3 -m server`` in a checkout, ``pumpwright`` when installed."""

from __future__ import annotations

import argparse
import gc
import importlib
import socket
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from server.errors import DomainError
from server.web.settings import DEFAULT_HOST, DEFAULT_PORT, Settings, settings_of_environment

if TYPE_CHECKING:
    from fastapi import FastAPI

FAILED = 2
SWITCH_S = 0.001
"""How long a computing thread keeps the interpreter from the event loop; Python's own is 5 ms."""


class CannotStart(DomainError):
    """The server cannot start; the message says why and what to do."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code.

    Parameters
    ----------
    arguments : sequence of str or None
        Words after the program's name; None takes them from the process.

    Returns
    -------
    int
        0 when all went well, 2 when a sentence on the error output says what is wrong.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    options = _parser().parse_args(words)
    try:
        settings = settings_of_environment(
            host=options.host, port=options.port, data_dir=options.data_dir
        )
        return serve(settings)
    except DomainError as error:
        print(f"Pumpwright: {error}", file=sys.stderr)
        return FAILED


def serve(settings: Settings) -> int:
    """Serve until the process is told to stop.

    Parameters
    ----------
    settings : Settings
        Address, port (0 takes a free one) and the folder of the database.

    Returns
    -------
    int
        0 after an orderly end.

    Raises
    ------
    CannotStart
        When the port or the folder of the database cannot be used.
    """
    import uvicorn  # the web server is loaded for this command alone

    class AnnouncingServer(uvicorn.Server):
        """Says where it listens once it really does."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets=sockets)
            if self.started:
                print(f"Pumpwright is ready: open {address_to_open(listener)}", flush=True)

    check_data_dir(settings.data_dir)
    listener = listen(settings.host, settings.port)
    with listener:
        app = _create_app(settings)
        sys.setswitchinterval(SWITCH_S)
        server = AnnouncingServer(uvicorn.Config(app, log_level="warning"))
        try:
            server.run(sockets=[listener])
        except KeyboardInterrupt:  # Ctrl-C is how a server at a terminal is meant to end
            print("Stopped.", flush=True)
        return 0 if server.started else FAILED


def check_data_dir(data_dir: Path) -> None:
    """Make the folder of the database and try to write in it.

    Parameters
    ----------
    data_dir : Path
        Made with its parents when missing.

    Raises
    ------
    CannotStart
        When it cannot be made or written.
    """
    try:
        data_dir.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=data_dir):
            pass
    except OSError as error:
        raise CannotStart(
            f"The data folder {data_dir} cannot be written ({error.strerror}). "
            "Choose another with --data-dir."
        ) from error


def listen(host: str, port: int) -> socket.socket:
    """Return a listening socket.

    Parameters
    ----------
    host : str
        A name or an address, of IPv4 or IPv6.
    port : int
        0 takes a free port.

    Returns
    -------
    socket.socket
        Bound and listening.

    Raises
    ------
    CannotStart
        When the address is unknown, or the port is taken or not allowed.
    """
    try:
        family, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        return socket.create_server(address[:2], family=family)
    except (OSError, UnicodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not a host's name"
        raise CannotStart(
            f"Port {port} on {host} cannot be opened ({reason}). Another program, or another "
            "Pumpwright, may be using it: stop that one, or choose a port with --port."
        ) from error


def address_to_open(listener: socket.socket) -> str:
    """Return the address a person opens in a browser.

    Parameters
    ----------
    listener : socket.socket
        The listening socket, which knows the port that was really taken.

    Returns
    -------
    str
        A URL; for a server on every address, that of this machine itself.
    """
    host, port = listener.getsockname()[:2]
    shown = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104  # compared only
    return f"http://[{shown}]:{port}/" if ":" in shown else f"http://{shown}:{port}/"


def _create_app(settings: Settings) -> FastAPI:
    """Load and wire everything; what there is then stays for good."""
    gc.disable()  # a start makes many objects and drops few
    try:
        app: FastAPI = importlib.import_module("server.web.app").create_app(settings, warm=True)
        # out of the collector's sight, which would look at all of it while a request waits
        gc.freeze()
    finally:
        gc.enable()
    return app


def _port_number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) <= 65535):
        raise argparse.ArgumentTypeError(f"“{text}”: a number from 0 to 65535 is wanted")
    return int(text)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="pumpwright",
        description="Size vacuum pump stacks and quote them, in the browser. Ctrl-C stops it.",
    )
    parser.add_argument(
        "command", nargs="?", choices=["serve"], default="serve", help="serve the pages (default)"
    )
    parser.add_argument("--host", help=f"address to listen on (default {DEFAULT_HOST})")
    parser.add_argument(
        "--port", type=_port_number, help=f"0 takes a free one (default {DEFAULT_PORT})"
    )
    parser.add_argument(
        "--data-dir", type=Path, help="folder of the database (default: .data in a checkout)"
    )
    return parser
