"""A person and a program who ask the same get the same answer, from the real engine."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

from fastapi.testclient import TestClient

from server.web.app import create_app
from server.web.examples import EXAMPLES
from server.web.settings import Settings


def typed_cells(page: str) -> dict[str, str]:
    """The form's cells as a browser would send them, read from the page itself."""
    cells: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", page):
        found = dict(re.findall(r'(\w+)="([^"]*)"', tag))
        chosen = found.get("type") not in {"checkbox", "radio"} or " checked" in tag
        if "name" in found and chosen and found.get("type") != "submit":
            cells[found["name"]] = unescape(found.get("value", "on"))
    select = re.compile(r'<select[^>]*name="([^"]+)"[^>]*>(.*?)</select>', re.DOTALL)
    for name, options in select.findall(page):
        selected = re.search(r'<option[^>]*value="([^"]*)"[^>]*selected', options)
        cells[name] = unescape(selected.group(1)) if selected else ""
    return cells


def test_form_and_api_rank_the_same_stacks(tmp_path: Path) -> None:
    """The contract's example, filled into the form by the page, sent as a browser sends it."""
    app = create_app(Settings(host="127.0.0.1", port=0, data_dir=tmp_path))
    with TestClient(app, base_url="http://127.0.0.1") as client:
        page = client.get("/inquiry", params={"example": "mirror-coater"}).text
        sent = client.post(
            "/inquiry",
            data=typed_cells(page),
            headers={"Origin": "http://127.0.0.1"},
            follow_redirects=False,
        )
        assert sent.status_code == 303, sent.text[:500]
        token = sent.headers["location"].rsplit("/", 1)[-1]
        by_form = client.get(f"/api/v1/advice/{token}").json()
        by_api = client.post("/api/v1/advice", json=dict(EXAMPLES["mirror-coater"])).json()
    assert len(by_form["stacks"]) == 10
    assert by_form["stacks"] == by_api["stacks"]
    assert by_form["counts"] == by_api["counts"]
