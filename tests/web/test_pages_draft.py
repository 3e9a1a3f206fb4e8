"""A draft edited as a browser without scripts does it."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from starlette.testclient import TestClient

from tests.web.browsing import Reader, read
from tests.web.test_pages_desk import number, page, text_of

__all__ = ["number", "page"]  # fixtures

Typed = dict[str, str]


def typed_in(page: TestClient, number: str) -> Typed:
    """Return what the browser would send, were the form sent as it stands."""
    answer = page.get(f"/quotes/{number}/draft")
    assert answer.status_code == 200
    return values_of(answer.text)


def values_of(html: str) -> Typed:
    reader = read_html(html)
    values = {
        i["name"]: i.get("value", "") for i in reader.all("input") if i.get("name") and "id" in i
    }
    values["version"] = next(i["value"] for i in reader.all("input") if i.get("name") == "version")
    for name, inner in re.findall(r'<textarea id="([^"]+)"[^>]*>([^<]*)</textarea>', html):
        values[name] = inner
    for name, inner in re.findall(r'<select id="([^"]+)"[^>]*>(.*?)</select>', html, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', inner)
        values[name] = str(chosen[1]) if chosen else ""
    return values


def read_html(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    return reader


def sent(page: TestClient, number: str, typed: Typed, action: str, status: int = 200) -> str:
    answer = page.post(f"/quotes/{number}/draft", data={**typed, "action": action})
    assert answer.status_code == status, text_of(read(answer))
    return str(answer.text)


def case_of(page: TestClient, number: str) -> dict[str, object]:
    told: dict[str, object] = page.get(f"/api/v1/quotes/{number}/case").json()
    return told


def lines_of(page: TestClient, number: str) -> list[dict[str, str]]:
    quote = part_of(case_of(page, number))
    lines = quote["lines"]
    assert isinstance(lines, list)
    return lines


def part_of(case: dict[str, object]) -> dict[str, object]:
    quote = case["quote"]
    assert isinstance(quote, dict)
    return quote


def bought_of(page: TestClient, number: str) -> list[dict[str, str]]:
    """Return the lines that cost something.

    What comes with a pump depends on the catalogue alone, and the stack of these tests is made by
    hand; the browser's tests look at supplied parts with the real engine.
    """
    return [line for line in lines_of(page, number) if line["group"] != "supplied with the pumps"]


def test_saving_the_form_as_it_stands_changes_nothing_but_the_history(
    page: TestClient, number: str
) -> None:
    before, bought = case_of(page, number), bought_of(page, number)
    sent(page, number, typed_in(page, number), "save")
    after = case_of(page, number)
    assert bought_of(page, number) == bought
    assert {**part_of(after), "lines": []} == {**part_of(before), "lines": []}
    assert after["margin"] == before["margin"]
    assert after["version"] == 2


def test_everything_typed_is_kept_and_adds_up(page: TestClient, number: str) -> None:
    typed = typed_in(page, number)
    typed |= {
        "lines.0.quantity": "2", "lines.0.discount": "12.5", "lines.1.choice": "optional",
        "discount": "3", "freight": "120", "tax_rate": "8.1", "validity_days": "",
        "reference": "RFQ 9", "payment": "", "notes": "By\nlift.", "internal_notes": "Old friend.",
    }  # fmt: skip
    page_text = text_of(read_html(sent(page, number, typed, "save")))
    case = case_of(page, number)
    quote = part_of(case)
    first, second = lines_of(page, number)[:2]
    price = Decimal(first["unit_price"])
    # 2 pieces less 12.5 %, halves away from zero, as the quote's own sentence says.
    assert Decimal(first["total"]) == (price * 2 * Decimal("0.875")).quantize(Decimal("0.01"))
    assert second["choice"] == "optional"
    total = Decimal(str(quote["total"]))
    assert total == sum(Decimal(str(quote[name])) for name in ("net", "freight", "tax"))
    assert quote["freight"] == "120.00"
    assert f"€{total:,}" in page_text
    assert quote["reference"] == "RFQ 9"
    assert "Payment" not in page_text
    assert quote["notes"] == "By\nlift."
    assert case["internal_notes"] == "Old friend."
    assert "Options" in page_text
    assert "Old friend." not in page.get(f"/quotes/{number}/revisions/1").text


def test_lines_are_found_added_moved_and_removed_without_saving(
    page: TestClient, number: str
) -> None:
    before = lines_of(page, number)
    typed = typed_in(page, number)
    found = sent(page, number, {**typed, "find": "vane pump"}, "find")
    offers = [b["value"] for b in read_html(found).all("button") if "add:" in b.get("value", "")]
    assert offers
    html = sent(page, number, values_of(found), offers[0])
    last = max(int(m) for m in re.findall(r'name="lines\.(\d+)\.sku"', html))
    assert values_of(html)[f"lines.{last}.sku"] == offers[0].removeprefix("add:")
    html = sent(page, number, values_of(html), f"up:{last}")
    assert values_of(html)[f"lines.{last - 1}.sku"] == offers[0].removeprefix("add:")
    html = sent(page, number, values_of(html), f"remove:{last - 1}")
    assert {k: v for k, v in values_of(html).items() if k != "find"} == {
        k: v for k, v in typed.items() if k != "find"
    }
    assert lines_of(page, number) == before


def test_a_line_in_ones_own_words_needs_words_and_earns(page: TestClient, number: str) -> None:
    html = sent(page, number, typed_in(page, number), "own")
    typed = values_of(html)
    at = max(int(m) for m in re.findall(r'name="lines\.(\d+)\.name"', html))
    html = sent(page, number, typed, "save", 422)
    assert f'<a href="#lines.{at}.name">' in html
    own = {"name": "Commissioning, one day", "unit_price": "900", "unit_cost": "400"}
    typed |= {f"lines.{at}.{name}": value for name, value in own.items()}
    sent(page, number, typed, "save")
    line = next(each for each in lines_of(page, number) if each["name"] == own["name"])
    assert (line["total"], line["group"]) == ("900.00", "services and other")
    again = typed_in(page, number)
    assert "400.00" in again.values()


def test_what_cannot_be_used_is_told_beside_its_field_and_stays(
    page: TestClient, number: str
) -> None:
    wrong = {
        "lines.0.quantity": "0", "lines.1.discount": "101", "freight": "a lot", "customer": "",
        "email": "nobody", "tax_rate": "51", "validity_days": "1000",
    }  # fmt: skip
    for action in ("save", "reckon"):
        html = sent(page, number, {**typed_in(page, number), **wrong}, action, 422)
        for path in wrong:
            assert f'<a href="#{path}">' in html
            assert html.count(f'id="e-{path}"') == 1
            assert re.search(rf'aria-describedby="[^"]*e-{re.escape(path)}[ "]', html)
        kept = values_of(html)
        assert {path: kept[path] for path in wrong} == wrong
    assert case_of(page, number)["version"] == 1


def test_without_lines_nothing_is_saved(page: TestClient, number: str) -> None:
    typed = {k: v for k, v in typed_in(page, number).items() if not k.startswith("lines.")}
    assert "At least one line is needed." in sent(page, number, typed, "save", 422)


def test_a_stale_draft_names_who_changed_it_and_keeps_what_was_typed(
    page: TestClient, number: str
) -> None:
    typed = {**typed_in(page, number), "reference": "mine"}
    page.post(f"/api/v1/quotes/{number}/changes", json={"version": 1, "reference": "theirs"})
    html = sent(page, number, typed, "save", 409)
    assert "Changed by local user" in text_of(read_html(html))
    assert values_of(html)["reference"] == "mine"
    sent(page, number, values_of(html), "save", 409)
    assert case_of(page, number)["version"] == 2

    replace = next(
        b["value"] for b in read_html(html).all("button") if "replace:" in b.get("value", "")
    )
    sent(page, number, values_of(html), replace)
    assert part_of(case_of(page, number))["reference"] == "mine"
    # The button stands for one version only: pressed once more, it replaces nothing.
    sent(page, number, values_of(html), replace, 409)


def test_what_was_sent_meanwhile_cannot_be_replaced(page: TestClient, number: str) -> None:
    typed = typed_in(page, number)
    page.post(f"/api/v1/quotes/{number}/sending", json={"version": 1})
    html = sent(page, number, typed, "save", 409)
    assert "replace:" not in html
    assert "no draft any more" in html
    answer = page.get(f"/quotes/{number}/draft")
    assert answer.status_code == 409
    assert "it is sent already" in answer.text


@pytest.mark.parametrize("action", ["remove:99", "up:0", "down:-1", "add:nothing", "up:x", "steal"])
def test_a_button_that_is_none_changes_nothing(page: TestClient, number: str, action: str) -> None:
    typed = typed_in(page, number)
    assert values_of(sent(page, number, typed, action)) == typed


def test_five_hundred_lines_are_read_and_one_more_is_told(page: TestClient, number: str) -> None:
    typed = {k: v for k, v in typed_in(page, number).items() if not k.startswith("lines.")}
    for at in range(501):
        typed |= {f"lines.{at}.name": "Hour", f"lines.{at}.choice": "included"}
        typed |= {f"lines.{at}.{name}": "" for name in ("note", "group", "tax_rate", "discount")}
    assert "These are too many lines: 501." in sent(page, number, typed, "save", 422)
    typed = {k: v for k, v in typed.items() if not k.startswith("lines.500.")}
    sent(page, number, typed, "save")
    assert sum(line["name"] == "Hour" for line in lines_of(page, number)) == 500
