"""Settings of a running server: the only module that reads the environment."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from server.errors import DomainError, OutOfRange
from server.paths import default_data_dir
from server.web.outgoing.target import Target

DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8765
DEFAULT_TRIES = 60


class BadSetting(DomainError):
    """A setting of the environment or the command line that cannot be used."""


@dataclass(frozen=True)
class Settings:
    """What a server needs to know before it starts."""

    host: str
    port: int
    data_dir: Path
    catalog_dir: Path | None = None
    public_base_url: str | None = None
    webhook: Target | None = None
    """Where the quote desk's events go."""
    tries_per_hour: int = DEFAULT_TRIES
    """Links that lead nowhere that one address may try, and inquiries it may send, in an hour."""


def settings_from(
    environment: Mapping[str, str],
    *,
    host: str | None = None,
    port: int | None = None,
    data_dir: Path | None = None,
) -> Settings:
    """Return the settings: the command line's words first, then the environment's, then defaults.

    Parameters
    ----------
    environment : mapping of str to str
        ``PUMPWRIGHT_HOST``, ``_PORT``, ``_DATA_DIR``, ``_CATALOG_DIR``, ``_PUBLIC_BASE_URL``,
        ``_WEBHOOK_URL``, ``_WEBHOOK_SECRET``, ``_WEBHOOK_PRIVATE``, ``_TRIES_PER_HOUR``, and
        ``XDG_DATA_HOME`` for the default of the data folder.
    host, port, data_dir : str, int, Path or None
        From the command line; None where nothing was said.

    Returns
    -------
    Settings
        Complete, with absolute paths.

    Raises
    ------
    BadSetting
        When a value cannot be used; the message names the variable.
    """
    data_home = environment.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    chosen = data_dir or environment.get("PUMPWRIGHT_DATA_DIR") or default_data_dir(Path(data_home))
    catalog = environment.get("PUMPWRIGHT_CATALOG_DIR") or None
    return Settings(
        host=host or environment.get("PUMPWRIGHT_HOST") or DEFAULT_HOST,
        port=_port(environment) if port is None else port,
        data_dir=Path(chosen).expanduser().absolute(),
        catalog_dir=Path(catalog).expanduser().absolute() if catalog else None,
        public_base_url=_base_url(environment),
        webhook=_webhook(environment),
        tries_per_hour=_tries(environment),
    )


def settings_of_environment(
    *, host: str | None = None, port: int | None = None, data_dir: Path | None = None
) -> Settings:
    """Return the settings of this process; see `settings_from`."""
    return settings_from(os.environ, host=host, port=port, data_dir=data_dir)


def _port(environment: Mapping[str, str]) -> int:
    text = environment.get("PUMPWRIGHT_PORT") or str(DEFAULT_PORT)
    if not (text.isascii() and text.isdigit() and int(text) <= 65535):
        raise BadSetting(f"PUMPWRIGHT_PORT is “{text[:40]}”; a number from 0 to 65535 is wanted.")
    return int(text)


def _base_url(environment: Mapping[str, str]) -> str | None:
    text = environment.get("PUMPWRIGHT_PUBLIC_BASE_URL") or None
    if text is None:
        return None
    parts = urlsplit(text)
    if parts.scheme not in {"http", "https"} or not parts.netloc or parts.query or parts.fragment:
        raise BadSetting(
            f"PUMPWRIGHT_PUBLIC_BASE_URL is “{text[:80]}”; an address such as "
            "https://quotes.example.org is wanted."
        )
    return text.rstrip("/")


def _webhook(environment: Mapping[str, str]) -> Target | None:
    url = environment.get("PUMPWRIGHT_WEBHOOK_URL") or ""
    secret = environment.get("PUMPWRIGHT_WEBHOOK_SECRET") or ""
    private = environment.get("PUMPWRIGHT_WEBHOOK_PRIVATE") or "no"
    if private not in {"yes", "no"}:
        raise BadSetting(f"PUMPWRIGHT_WEBHOOK_PRIVATE is “{private[:40]}”; yes or no is wanted.")
    if not url and not secret:
        return None
    try:
        return Target(url, secret, private == "yes")
    except OutOfRange as error:
        raise BadSetting(f"PUMPWRIGHT_WEBHOOK_URL and _WEBHOOK_SECRET: {error}") from error


def _tries(environment: Mapping[str, str]) -> int:
    text = environment.get("PUMPWRIGHT_TRIES_PER_HOUR") or str(DEFAULT_TRIES)
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= 1_000_000):
        raise BadSetting(
            f"PUMPWRIGHT_TRIES_PER_HOUR is “{text[:40]}”; a number from 1 to 1000000 is wanted."
        )
    return int(text)
