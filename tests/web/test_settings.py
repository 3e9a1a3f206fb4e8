"""Settings: the command line before the environment before the defaults."""

from __future__ import annotations

from pathlib import Path

import pytest

from server.bootstrap import ROOT
from server.paths import Folder, checkout, folder
from server.web.outgoing.target import Target
from server.web.settings import BadSetting, Settings, settings_from


def test_nothing_said_gives_a_server_for_this_machine_alone() -> None:
    assert settings_from({}) == Settings("127.0.0.1", 8765, ROOT / ".data")


def test_the_environment_is_read() -> None:
    environment = {
        "PUMPWRIGHT_HOST": "0.0.0.0",  # noqa: S104  # a word, nothing listens
        "PUMPWRIGHT_PORT": "80",
        "PUMPWRIGHT_DATA_DIR": "/srv/data",
        "PUMPWRIGHT_CATALOG_DIR": "/srv/catalog",
        "PUMPWRIGHT_PUBLIC_BASE_URL": "https://quotes.example.org/",
    }
    assert settings_from(environment) == Settings(
        host="0.0.0.0",  # noqa: S104  # a word, nothing listens
        port=80,
        data_dir=Path("/srv/data"),
        catalog_dir=Path("/srv/catalog"),
        public_base_url="https://quotes.example.org",
    )


def test_the_command_line_wins() -> None:
    environment = {"PUMPWRIGHT_PORT": "80", "PUMPWRIGHT_DATA_DIR": "/srv/data"}
    found = settings_from(environment, host="::1", port=0, data_dir=Path("here"))
    assert (found.host, found.port, found.data_dir) == ("::1", 0, Path("here").absolute())


@pytest.mark.parametrize("port", ["x", "-1", "65536", "8.0", "²"])
def test_a_bad_port_is_named(port: str) -> None:
    with pytest.raises(BadSetting, match="PUMPWRIGHT_PORT"):
        settings_from({"PUMPWRIGHT_PORT": port})


@pytest.mark.parametrize("url", ["quotes.example.org", "ftp://x", "https://", "https://x/?a=1"])
def test_a_bad_public_address_is_named(url: str) -> None:
    with pytest.raises(BadSetting, match="PUMPWRIGHT_PUBLIC_BASE_URL"):
        settings_from({"PUMPWRIGHT_PUBLIC_BASE_URL": url})


@pytest.mark.parametrize("name", Folder)
def test_a_checkout_uses_its_own_folders(name: Folder) -> None:
    assert checkout() == ROOT
    assert folder(name) == ROOT / name.value
    assert folder(name).is_dir()


def test_the_target_of_events_is_read_and_its_secret_is_not_shown() -> None:
    environment = {
        "PUMPWRIGHT_WEBHOOK_URL": "http://erp.internal:8080/in",
        "PUMPWRIGHT_WEBHOOK_SECRET": "x" * 32,
        "PUMPWRIGHT_WEBHOOK_PRIVATE": "yes",
    }
    found = settings_from(environment)
    assert found.webhook == Target("http://erp.internal:8080/in", "x" * 32, private=True)
    assert "x" * 32 not in repr(found)
    assert settings_from({}).webhook is None


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("PUMPWRIGHT_WEBHOOK_URL", "http://example.org/in"),
        ("PUMPWRIGHT_WEBHOOK_URL", ""),
        ("PUMPWRIGHT_WEBHOOK_SECRET", "short"),
        ("PUMPWRIGHT_WEBHOOK_PRIVATE", "perhaps"),
        ("PUMPWRIGHT_TRIES_PER_HOUR", "0"),
        ("PUMPWRIGHT_TRIES_PER_HOUR", "many"),
    ],
)
def test_a_target_or_limit_that_cannot_be_used_is_refused_at_the_start(
    name: str, value: str
) -> None:
    good = {
        "PUMPWRIGHT_WEBHOOK_URL": "https://example.org/in",
        "PUMPWRIGHT_WEBHOOK_SECRET": "x" * 32,
    }
    assert settings_from(good).webhook is not None
    with pytest.raises(BadSetting, match=name.removeprefix("PUMPWRIGHT_").split("_")[0]):
        settings_from({**good, name: value})
