"""The customer's side: seen, downloaded, answered by link; and the seller's pages around it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import pytest
from httpx import Response
from starlette.testclient import TestClient

from server.catalog.items import Catalog
from server.fit.inquiry import checked
from server.quoting.desk import use_cases
from server.quoting.desk.actors import Actor, Role
from server.quoting.desk.case import QuoteCase
from server.quoting.desk.delivery import DeliveryCounts
from server.quoting.desk.states import QuoteState
from server.quoting.desk.use_cases import Seen
from server.web.build import build_app
from server.web.deps import Services, advise_and_save, offer_and_save
from server.web.settings import Settings
from tests.builders import HandMadeEngine
from tests.fakes import MemoryCatalogStore
from tests.fit.test_inquiry import SHORTEST
from tests.outside import NOON, a_message
from tests.web.browsing import read
from tests.web.conftest import BASE_URL, memory_services

SELLER = Actor("S. Seller", Role.SALES_MANAGER)


@dataclass
class Desk:
    """A quote that was sent, its link, and two people's browsers."""

    client: TestClient
    services: Services
    number: str
    path: str = ""

    @property
    def case(self) -> QuoteCase:
        return self.services.desk.get(self.number)

    def seen(self) -> Seen:
        return Seen(self.number, self.case.version)

    def send(self) -> None:
        use_cases.send(SELLER, self.services.room, self.seen())

    def share(self, days: str = "") -> str:
        answer = self.client.post(f"/quotes/{self.number}/links", data={"link.days": days})
        assert answer.status_code == 201
        found = re.search(rf'value="{BASE_URL}(/q/[\w-]{{43}})"', answer.text)
        assert found is not None
        return found[1]

    def answer(self, action: str = "accept", name: str = "Rosa Field", note: str = "") -> Response:
        data = {"answer.name": name, "answer.note": note, "action": action}
        answer: Response = self.client.post(f"{self.path}/answer", data=data)
        return answer


def desk_on(client: TestClient, services: Services) -> Desk:
    saved = advise_and_save(services, checked(SHORTEST))
    typed = {"customer": "Institute of Thin Films", "notes": "Thank you for asking."}
    number = offer_and_save(SELLER, services, saved.token, 1, typed).number
    desk = Desk(client, services, number)
    use_cases.write_internal_notes(SELLER, services.room, desk.seen(), "They have money.")
    desk.send()
    desk.path = desk.share()
    return desk


@pytest.fixture
def desk(settings: Settings, demo_catalog: Catalog) -> Iterator[Desk]:
    catalogs = MemoryCatalogStore(demo_catalog)
    services = replace(memory_services(), engine=HandMadeEngine(), catalogs=catalogs)
    app = build_app(settings, services, at_end=lambda: None)
    accept = {"accept": "text/html,*/*"}
    with TestClient(app, base_url=BASE_URL, headers=accept) as client:
        yield desk_on(client, services)


def test_the_customer_sees_the_quote_without_what_is_the_sellers(desk: Desk) -> None:
    answer = desk.client.get(desk.path)
    assert answer.status_code == 200
    text = answer.text
    for seen in (desk.number, "Institute of Thin Films", "Thank you for asking.", "Valid until"):
        assert seen in text
    cost = f"{desk.case.current.unit_costs[0]:,}"
    assert float(cost.replace(",", "")) > 0
    for hidden in (
        cost,
        "They have money.",
        "S. Seller",
        "approval",
        "/quotes",
        'aria-label="Main"',
    ):
        assert hidden not in text
    assert answer.headers["x-robots-tag"] == "noindex, nofollow"
    assert answer.headers["cache-control"] == "private, no-store"
    assert len(read(answer).all("h1")) == 1


@pytest.mark.parametrize(
    ("name", "start"),
    [
        ("quote.pdf", b"%PDF"), ("quote.xlsx", b"PK"), ("quote.csv", b""), ("quote.xml", b"<?xml"),
        ("card.pdf", b"%PDF"), ("card", b"<!doctype html>"),
    ],
)  # fmt: skip
def test_the_documents_come_by_the_link_and_hide_the_same(
    desk: Desk, name: str, start: bytes
) -> None:
    answer = desk.client.get(f"{desk.path}/{name}?revision=1")
    assert answer.status_code == 200
    assert answer.content.startswith(start)
    assert b"They have money." not in answer.content
    assert str(desk.case.current.unit_costs[0]).encode() not in answer.content
    assert answer.headers["cache-control"] == "private, no-store"


def test_an_ending_that_is_none_leads_nowhere(desk: Desk) -> None:
    assert desk.client.get(f"{desk.path}/quote.exe").status_code in {404, 422}


@pytest.mark.parametrize(
    ("action", "state", "said"),
    [
        ("accept", QuoteState.ACCEPTED, "You accepted"),
        ("decline", QuoteState.DECLINED, "You declined"),
    ],
)
def test_the_answer_is_recorded_and_thanked_for(
    desk: Desk, action: str, state: QuoteState, said: str
) -> None:
    thanks = desk.answer(action, note="PO <4711>")
    assert thanks.status_code == 200
    assert "Thank you, Rosa Field" in thanks.text
    assert said in thanks.text
    assert 'name="answer.name"' not in thanks.text
    assert desk.case.state is state
    assert desk.case.answer is not None
    assert desk.case.answer.note == "PO <4711>"
    kinds = [message.kind for message in desk.services.desk.messages]  # type: ignore[attr-defined]
    assert kinds[-1] == ("quote.accepted" if action == "accept" else "quote.declined")


def test_a_second_answer_is_refused_and_what_was_typed_stays(desk: Desk) -> None:
    desk.answer()
    again = desk.answer("decline", name="Somebody Else")
    assert again.status_code == 409
    assert "accepted already" in again.text
    assert desk.case.answer is not None
    assert desk.case.answer.name == "Rosa Field"


@pytest.mark.parametrize(
    ("name", "note", "said"),
    [("", "", "needed"), ("x" * 10_000, "", "too long"), ("Rosa", "y" * 5001, "too long")],
)
def test_a_fault_stands_beside_its_field(desk: Desk, name: str, note: str, said: str) -> None:
    answer = desk.answer(name=name, note=note)
    assert answer.status_code == 422
    assert said in answer.text
    assert note in answer.text
    assert desk.case.answer is None


def test_a_button_that_is_none_changes_nothing(desk: Desk) -> None:
    assert desk.answer("destroy").status_code == 422
    assert desk.case.answer is None


def test_a_later_revision_is_announced_on_the_old_link(desk: Desk) -> None:
    use_cases.revise(SELLER, desk.services.room, desk.seen())
    desk.send()
    old = desk.client.get(desk.path)
    assert "Revision 2 of this quote has been sent" in old.text
    assert "for its link" in old.text
    assert "A later revision has taken the place" in old.text
    assert desk.answer().status_code == 409
    desk.share()
    shown = desk.client.get(desk.path)
    assert f'href="{desk.path}?revision=2"' in shown.text
    newer = desk.client.get(f"{desk.path}?revision=2")
    assert "Accept or decline" in newer.text
    data = {"answer.name": "Rosa Field", "action": "accept"}
    thanks = desk.client.post(f"{desk.path}/answer?revision=2", data=data)
    assert "Thank you, Rosa Field" in thanks.text
    assert desk.case.state is QuoteState.ACCEPTED


def test_guessed_ended_and_expired_links_get_the_same_page(desk: Desk) -> None:
    ended, path = desk.path, desk.share()
    links = desk.services.links
    first = links.of_quote(desk.number)[-1]
    desk.client.post(f"/quotes/{desk.number}/links/{first.digest}/end")
    latest = links.of_quote(desk.number)[0]
    links.kept[latest.digest] = replace(latest, expires_at=NOON)  # type: ignore[attr-defined]
    pages = [desk.client.get(each) for each in (ended, path, "/q/" + "x" * 43, "/q/x/card")]
    assert {page.status_code for page in pages} == {404}
    assert len({page.text for page in pages}) == 1
    assert "ask for a new one" in pages[0].text
    assert 'href="/"' not in pages[0].text
    assert desk.client.post(f"{ended}/answer", data={"action": "accept"}).status_code == 404


def test_who_guesses_too_often_is_kept_waiting(settings: Settings) -> None:
    services = memory_services()
    app = build_app(replace(settings, tries_per_hour=3), services, at_end=lambda: None)
    with TestClient(app, base_url=BASE_URL) as client:
        desk = desk_on(client, services)
        statuses = [client.get(f"/q/guess-{n}").status_code for n in range(5)]
        assert statuses == [404, 404, 404, 429, 429]
        assert client.get(desk.path).status_code == 429


def test_the_seller_sees_makes_and_ends_links(desk: Desk) -> None:
    page = desk.client.get(f"/quotes/{desk.number}/links")
    assert "Works</td>" in page.text
    assert "/q/" not in page.text  # shown once, when it was made
    (link,) = desk.services.links.of_quote(desk.number)
    after = desk.client.post(f"/quotes/{desk.number}/links/{link.digest}/end")
    assert after.status_code == 200
    assert "Ended" in after.text
    unknown = desk.client.post(f"/quotes/{desk.number}/links/{'0' * 64}/end")
    assert unknown.status_code == 404


@pytest.mark.parametrize("days", ["0", "366", "soon", "1e9"])
def test_days_that_are_none_are_refused_beside_their_field(desk: Desk, days: str) -> None:
    answer = desk.client.post(f"/quotes/{desk.number}/links", data={"link.days": days})
    assert answer.status_code == 422
    assert f'value="{days}"' in answer.text
    assert len(desk.services.links.of_quote(desk.number)) == 1


def test_nothing_is_shared_before_it_is_sent(desk: Desk) -> None:
    token = desk.case.current.content.advice_token
    draft = offer_and_save(SELLER, desk.services, token, 1, {"customer": "Another"}).number
    assert "Send the quote first" in desk.client.get(f"/quotes/{draft}/links").text
    refused = desk.client.post(f"/quotes/{draft}/links", data={})
    assert refused.status_code == 409
    assert "send it first" in refused.text


def test_stuck_events_are_shown_and_sent_off_again(desk: Desk) -> None:
    outbox: Any = desk.services.outbox
    outbox.put([a_message(desk.number)])
    taken = outbox.claim(NOON)
    outbox.failed(taken.key, "The receiver answered 500.", None)
    page = desk.client.get("/deliveries")
    assert "1 event was tried for a week in vain" in page.text
    assert "The receiver answered 500." in page.text
    assert "nowhere yet" in page.text
    desk.client.post(f"/deliveries/{taken.key}/again")
    assert outbox.counts() == DeliveryCounts(waiting=1)
    assert desk.client.post(f"/deliveries/{taken.key}/again").status_code == 404
