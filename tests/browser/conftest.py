"""The real app on a free port, and Debian's Chromium."""

from __future__ import annotations

import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from server.web.app import create_app
from server.web.outgoing.target import Target
from server.web.settings import Settings
from tests.outside import SECRET, Receiver, receiving

START_S = 60.0

NewContext = Callable[..., BrowserContext]


@pytest.fixture(scope="session")
def receiver() -> Iterator[Receiver]:
    """Return the next system, which is told of quotes."""
    with receiving() as receiver:
        yield receiver


@pytest.fixture(scope="session")
def address(tmp_path_factory: pytest.TempPathFactory, receiver: Receiver) -> Iterator[str]:
    """Serve the app, with its real engine and database, until the tests are done."""
    folder = tmp_path_factory.mktemp("site")
    target = Target(receiver.address, SECRET, private=True)
    app = create_app(Settings(host="127.0.0.1", port=0, data_dir=folder, webhook=target))
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning"))
    thread = threading.Thread(target=server.run)
    thread.start()
    ends = time.monotonic() + START_S
    while not server.started and time.monotonic() < ends:
        time.sleep(0.05)
    assert server.started
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join()


@pytest.fixture(scope="session")
def chromium(chromium_path: str) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def shots() -> Path:
    """Return where screenshots are left to look at."""
    folder = Path(tempfile.gettempdir()) / "pumpwright-shots"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture
def tab(chromium: Browser, address: str) -> Iterator[Page]:
    """Return a page that fails the test when a script fails or the policy refuses something."""
    context = chromium.new_context(base_url=address, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda m: said.append(m.text) if m.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    yield page
    context.close()
    assert [text for text in said if "status of 422" not in text] == []


@pytest.fixture(scope="session")
def advice_path(chromium: Browser, address: str) -> str:
    """Return the address of an advice of two stacks on the example."""
    context = chromium.new_context(base_url=address)
    page = context.new_page()
    page.goto("/inquiry?example=mirror-coater&change=limit&to=2")
    page.get_by_role("button", name="Get advice", exact=True).last.click()
    page.wait_for_url("**/advice/*", timeout=60_000)
    path = page.url.removeprefix(address)
    context.close()
    return path
