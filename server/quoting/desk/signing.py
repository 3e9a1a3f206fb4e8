"""The signature that lets a receiver tell our events from anybody else's."""

from __future__ import annotations

import hashlib
import hmac

TIME_HEADER = "Pumpwright-Timestamp"
SIGNATURE_HEADER = "Pumpwright-Signature"
KEY_HEADER = "Pumpwright-Delivery"
KIND_HEADER = "Pumpwright-Event"
SHORTEST_SECRET = 24


def signature(secret: str, timestamp: int, body: bytes) -> str:
    """Return the HMAC-SHA-256 (RFC 2104, FIPS 180-4) of a time and a body, in hexadecimal.

    Parameters
    ----------
    secret : str
        Known to sender and receiver alone.
    timestamp : int
        Seconds since 1970-01-01 UTC; the receiver refuses old ones, so that nobody can send a
        recorded event again.
    body : bytes
        As sent.
    """
    signed = str(timestamp).encode() + b"." + body
    return hmac.new(secret.encode(), signed, hashlib.sha256).hexdigest()
