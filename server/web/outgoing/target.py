"""Where events go: the address of the next system, and the secret shared with it."""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import urlsplit

from server.errors import OutOfRange
from server.quoting.desk.signing import SHORTEST_SECRET

DEFAULT_PORTS = {"http": 80, "https": 443}


@dataclass(frozen=True)
class Target:
    """Where events go, and the secret that they are signed with."""

    url: str
    secret: str = field(repr=False)
    private: bool = False
    """Whether it may be in a private network; only then may it do without encryption."""

    def __post_init__(self) -> None:
        scheme, host, port, _path = parts_of(self.url)
        if not host or port == 0:
            raise OutOfRange("The target of events is an address such as https://example.org/in.")
        if scheme != "https" and not (scheme == "http" and self.private):
            raise OutOfRange("The target of events must be an https address.")
        if len(self.secret) < SHORTEST_SECRET:
            raise OutOfRange(f"The secret must have {SHORTEST_SECRET} characters or more.")


def parts_of(url: str) -> tuple[str, str, int, str]:
    """Return scheme, host, port and path with query of an address.

    Returns
    -------
    tuple
        An empty host and port 0 where it is no address that can be called.
    """
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        return "", "", 0, ""
    if parts.username is not None or parts.fragment or not url.isascii() or not url.isprintable():
        return "", "", 0, ""
    path = parts.path or "/"
    path = f"{path}?{parts.query}" if parts.query else path
    return parts.scheme, host, port or DEFAULT_PORTS.get(parts.scheme, 0), path
