"""What the tests of pages look at an answer with."""

from __future__ import annotations

import html.parser

from httpx import Response

from server.web.examples import EXAMPLES
from server.web.forms import Form

EXAMPLE = {**Form.from_request(EXAMPLES["mirror-coater"]).values, "action": "advise"}


class Reader(html.parser.HTMLParser):
    """Collects what the checks below look at."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = {name: value or "" for name, value in attrs}
        self.tags.append((tag, named))
        if "id" in named:
            self.ids.append(named["id"])

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    def all(self, tag: str) -> list[dict[str, str]]:
        return [named for name, named in self.tags if name == tag]


def read(answer: Response) -> Reader:
    reader = Reader()
    reader.feed(answer.text)
    return reader


def values_of(reader: Reader) -> dict[str, str]:
    return {i["name"]: i["value"] for i in reader.all("input") if i.get("type") == "text"}
