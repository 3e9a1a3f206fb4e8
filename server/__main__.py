"""``python3 -m server``: set the environment up when needed, then run the command line."""

from __future__ import annotations

import sys

from server.bootstrap import SetupFailed, ensure_environment


def start() -> int:
    """Return the exit code of the command line."""
    if sys.version_info < (3, 11):  # noqa: UP036  # also read by a Python that is too old
        sys.exit("Pumpwright needs Python 3.11 or newer.")
    try:
        ensure_environment("server", "run", sys.argv[1:])
    except SetupFailed as error:
        sys.stderr.write(f"{error}\n")
        return 2
    from server.cli import main  # only now are the packages at hand

    return main(sys.argv[1:])


if __name__ == "__main__":
    sys.exit(start())
