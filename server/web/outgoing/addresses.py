"""Which addresses of the network an outgoing call may reach.

Whoever names the target of a call could otherwise make this server call machines behind the
firewall on their behalf. The name is looked up once and the call goes to the address that was
looked at: a second lookup could give another one.
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Sequence
from ipaddress import IPv4Address, IPv6Address, IPv6Network, ip_address
from typing import Any

from server.errors import DomainError

Lookup = Callable[[str, int], Sequence[str]]
"""From a host name and a port to the addresses of the host."""

_EMBEDDING = (IPv6Network("64:ff9b::/96"), IPv6Network("64:ff9b:1::/48"))
"""RFC 6052, RFC 8215: IPv4 addresses inside IPv6 ones; the last 32 bits are looked at."""
_PUBLIC_IPV6 = IPv6Network("2000::/3")
"""The only range that is given out for use across the internet so far (RFC 4291)."""


class NotReached(DomainError):
    """An event could not be delivered; says why."""


def addresses_of(host: str, port: int) -> list[str]:
    """Return the addresses of a host.

    Raises
    ------
    NotReached
        When the name is not known.
    """
    try:
        found: Sequence[Any] = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise NotReached(f"The host “{host[:100]}” is not known.") from error
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


def one_allowed(host: str, port: int, *, private: bool, lookup: Lookup = addresses_of) -> str:
    """Return the address to call for a host.

    Parameters
    ----------
    host : str
        Name or address.
    port : int
        Port of the call.
    private : bool
        Whether private, loopback and link-local addresses may be called as well.
    lookup : callable
        Finds the addresses of a host.

    Returns
    -------
    str
        One of the host's addresses, as a number.

    Raises
    ------
    NotReached
        When the host is not known, or when any of its addresses may not be called.
    """
    found = [ip_address(text.partition("%")[0]) for text in lookup(host, port)]
    if not found:
        raise NotReached(f"The host “{host[:100]}” has no address.")
    for address in found:
        if not (is_host(address) if private else is_public(address)):
            raise NotReached(
                f"The host “{host[:100]}” has the address {address}, which is not a public one. "
                "PUMPWRIGHT_WEBHOOK_PRIVATE=yes allows targets in a private network."
            )
    return str(found[0])


def is_public(address: IPv4Address | IPv6Address) -> bool:
    """Say whether an address belongs to a machine on the public internet."""
    inner = _inside(address)
    if isinstance(inner, IPv6Address) and inner not in _PUBLIC_IPV6:
        return False
    return inner.is_global and is_host(inner)


def is_host(address: IPv4Address | IPv6Address) -> bool:
    """Say whether an address can be that of one machine at all."""
    inner = _inside(address)
    for_later = isinstance(inner, IPv4Address) and inner.is_reserved
    return not (inner.is_multicast or inner.is_unspecified or for_later)


def _inside(address: IPv4Address | IPv6Address) -> IPv4Address | IPv6Address:
    """Return the IPv4 address that an IPv6 address leads to, or the address itself."""
    if isinstance(address, IPv4Address):
        return address
    if any(address in network for network in _EMBEDDING):
        return IPv4Address(int(address) & 0xFFFFFFFF)
    teredo = address.teredo[1] if address.teredo else None
    return address.ipv4_mapped or address.sixtofour or teredo or address
