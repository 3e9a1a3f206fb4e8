"""One signed call to the next system."""

from __future__ import annotations

from datetime import datetime
from urllib.parse import urlsplit

import httpx

from server.quoting.desk.delivery import Delivery
from server.quoting.desk.signing import (
    KEY_HEADER,
    KIND_HEADER,
    SIGNATURE_HEADER,
    TIME_HEADER,
    signature,
)
from server.web.outgoing.addresses import Lookup, NotReached, addresses_of, one_allowed
from server.web.outgoing.target import Target, parts_of

TIMEOUT = httpx.Timeout(10.0, connect=5.0)


def post(target: Target, delivery: Delivery, now: datetime, lookup: Lookup = addresses_of) -> None:
    """Deliver an event; return when the receiver has said that it took it.

    Parameters
    ----------
    target : Target
        Where to.
    delivery : Delivery
        The event.
    now : datetime
        The time that is signed, UTC.
    lookup : callable
        Finds the addresses of a host.

    Raises
    ------
    NotReached
        For everything else; the message says what happened.
    """
    scheme, host, port, path = parts_of(target.url)
    address = one_allowed(host, port, private=target.private, lookup=lookup)
    body = delivery.message.body.encode()
    timestamp = int(now.timestamp())
    headers = {
        "Host": urlsplit(target.url).netloc,
        "Content-Type": "application/json",
        "User-Agent": "Pumpwright",
        TIME_HEADER: str(timestamp),
        SIGNATURE_HEADER: signature(target.secret, timestamp, body),
        KEY_HEADER: delivery.key,
        KIND_HEADER: delivery.message.kind,
    }
    numeric = f"[{address}]" if ":" in address else address
    # The call goes to the address; certificate and Host are those of the name.
    request = httpx.Request(
        "POST",
        f"{scheme}://{numeric}:{port}{path}",
        headers=headers,
        content=body,
        extensions={"sni_hostname": host, "timeout": TIMEOUT.as_dict()},
    )
    try:
        with httpx.Client(timeout=TIMEOUT, follow_redirects=False, trust_env=False) as client:
            answer = client.send(request, stream=True)  # its body is nothing to us
            answer.close()
    except httpx.HTTPError as error:
        raise NotReached(f"The receiver could not be reached: {said(error)}.") from error
    if answer.is_redirect:
        raise NotReached(
            f"The receiver answered {answer.status_code} and pointed elsewhere; redirects are not "
            "followed."
        )
    if not answer.is_success:
        raise NotReached(f"The receiver answered {answer.status_code}.")


def said(error: Exception) -> str:
    """Return what an error of the network says, without line breaks and not too long."""
    words = " ".join(str(error).split()) or type(error).__name__
    return words[:200].rstrip(".")
