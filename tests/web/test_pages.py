"""The pages as a browser without scripts sees them: what they show and where they lead."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import fields
from decimal import Decimal
from pathlib import Path

import pytest
from fastapi import FastAPI
from jinja2 import Environment, meta, nodes
from starlette.testclient import TestClient

from server.catalog.items import Catalog
from server.fit.presets import PRESETS
from server.fit.requirements import Application
from server.paths import Folder, folder
from server.web.pages import ErrorPage, Page
from server.web.routes import (
    pages_advice,
    pages_catalog,
    pages_check,
    pages_consumables,
    pages_desk,
    pages_draft,
    pages_home,
    pages_inquiry,
    pages_quote,
    pages_quotes,
)
from tests.web.browsing import EXAMPLE, read, values_of

PAGE_CLASSES: list[type[Page]] = [ErrorPage] + [
    page
    for module in (
        pages_home,
        pages_inquiry,
        pages_advice,
        pages_check,
        pages_consumables,
        pages_catalog,
        pages_quote,
        pages_quotes,
        pages_desk,
        pages_draft,
    )
    for name, page in vars(module).items()
    if name.endswith("Page") and page.__module__ == module.__name__
]


PATHS = [
    "/", "/inquiry", "/inquiry?example=mirror-coater", "/check", "/check?sku=VAPOURJET-050-A",
    "/catalog", "/catalog?group=Backing+pumps&q=scroll", "/help", "/about", "{advice}",
    "{advice}/stack/1", "{advice}/stack/2", "{advice}/stack/1/workings", "/inquiry?from={token}",
    "{advice}/stack/1/quote", "{advice}/stack/1/card", "/consumables", "/quotes",
    "/consumables?sku=VANE2-0160",
]  # fmt: skip


@pytest.mark.parametrize("path", PATHS)
def test_every_page_is_whole(browser: TestClient, advice_path: str, path: str) -> None:
    token = advice_path.rsplit("/", 1)[1]
    answer = browser.get(path.format(advice=advice_path, token=token))
    assert answer.status_code == 200
    reader = read(answer)
    assert len(reader.ids) == len(set(reader.ids))
    assert len(reader.all("h1")) == 1
    assert re.search(r"<title>[^<]+ · Pumpwright</title>", answer.text)
    labelled = {label["for"] for label in reader.all("label") if "for" in label}
    for control in reader.all("input") + reader.all("select") + reader.all("textarea"):
        assert control.get("type") == "checkbox" or control["id"] in labelled
        for described in control.get("aria-describedby", "").split():
            assert described in reader.ids
    for image in reader.all("img"):
        assert image["alt"]
    # Nothing inline: the policy for scripts and styles would refuse it.
    assert not [t for t, named in reader.tags if "style" in named or "onclick" in named]
    assert all(script.get("src") for script in reader.all("script"))
    assert "style" not in {tag for tag, _ in reader.tags}


@pytest.mark.parametrize("path", PATHS)
def test_no_link_leads_nowhere(browser: TestClient, advice_path: str, path: str) -> None:
    token = advice_path.rsplit("/", 1)[1]
    reader = read(browser.get(path.format(advice=advice_path, token=token)))
    targets = {link["href"] for link in reader.all("a")} | {s["src"] for s in reader.all("script")}
    for target in sorted(targets)[:60]:
        if target.startswith("#"):
            assert target[1:] in reader.ids
        else:
            assert browser.get(target).status_code == 200, target


@pytest.mark.parametrize("page", PAGE_CLASSES, ids=lambda page: page.__name__)
def test_a_template_reads_nothing_but_its_page(site: FastAPI, page: type[Page]) -> None:
    environment = site.state.renderer.environment
    own = {f.name for f in fields(page)}  # type: ignore[arg-type]
    read_by = ""
    for name in [page.template, *included(environment, page.template)]:
        source = environment.loader.get_source(environment, name)[0]
        tree = environment.parse(source)
        read_by += source
        known = own | {"nav"} | set(environment.globals) | defined_in(tree)
        assert meta.find_undeclared_variables(tree) <= known, name
    for name in own:
        assert re.search(rf"\b{name}\b", read_by), f"{name} is handed over but never read"


def included(environment: Environment, template: str) -> list[str]:
    assert environment.loader is not None
    source = environment.loader.get_source(environment, template)[0]
    return re.findall(r'{% include "([^"]+)"', source)


def defined_in(tree: nodes.Template) -> set[str]:
    return {node.target for node in tree.find_all(nodes.Import)} | {
        macro.name for macro in tree.find_all(nodes.Macro)
    }


def test_templates_parse(site: FastAPI) -> None:
    environment = site.state.renderer.environment
    names = environment.list_templates()
    assert names
    for name in names:
        environment.get_template(name)


def test_the_main_job_by_form(browser: TestClient, advice_path: str) -> None:
    answer = browser.get(advice_path)
    text = " ".join("".join(read(answer).text).split())
    assert "180 L to 2.00e-5 mbar in 25 min" in text
    assert "Vapour-jet pump 160 with two-stage vane pump" in text
    assert "4.20×" in text
    assert "(weakest point)" in text
    assert "€9,840.50" in text
    assert "no application was named" in text
    assert "Why combinations do not fit" in text
    assert "1 210" in text  # the thin space was split at


def test_verdicts_are_words_and_signs_beside_colours(browser: TestClient, advice_path: str) -> None:
    text = browser.get(advice_path).text
    for sign, word in (("✓", "fits"), ("✕", "does not fit"), ("△", "marginal"), ("✓", "passes")):
        assert re.search(rf'aria-hidden="true">{sign}</span>{word}', text)


def test_nothing_fits_is_a_page_that_helps(browser: TestClient) -> None:
    asked = {"chamber.volume": "5 m3", "target_pressure": "1e-9 mbar"}
    answer = browser.post("/inquiry", data=asked)
    assert answer.status_code == 200
    assert "No stack of this catalogue does all of it" in answer.text
    assert "A foreline of 40 mm bore instead of 25 mm." in answer.text
    link = next(a["href"] for a in read(answer).all("a") if "change=" in a["href"])
    changed = browser.get(link)
    assert values_of(read(changed))["foreline.bore"] == "40 mm"
    assert values_of(read(changed))["chamber.volume"] == "5 m3"
    assert "40 mm instead of nothing" in changed.text
    text = " ".join("".join(read(answer).text).split())
    assert "Gas load and foreline pressure" in text
    assert "these no longer pass: budget. Try it in the form" in text


def test_the_workings_show_formula_inputs_value_and_source(
    browser: TestClient, advice_path: str
) -> None:
    answer = browser.get(f"{advice_path}/stack/1/workings")
    # a number is never broken in two at the minus of its power of ten
    assert '<span class="nowrap">2.600e-4</span>' in answer.text
    text = "".join(read(answer).text)
    assert "Q = Σ qᵢ·Aᵢ" in text
    assert "A steel [m2] = " in text
    assert "2.600e-4 Pa m3/s" in text
    assert "Scientific Foundations of Vacuum Technique" in text


def test_an_earlier_inquiry_fills_the_form_as_it_was_typed(
    browser: TestClient, advice_path: str
) -> None:
    answer = browser.get("/inquiry", params={"from": advice_path.rsplit("/", 1)[1]})
    shown = values_of(read(answer))
    for path, typed in EXAMPLE.items():
        if path in shown:
            assert shown[path] == typed
    assert "Change the inquiry" in answer.text


@pytest.mark.parametrize("application", PRESETS)
def test_usual_values_fill_empty_fields_and_say_so(
    browser: TestClient, application: Application
) -> None:
    typed = {"application": application, "duty.shift": "7 h", "action": "preset"}
    answer = browser.post("/inquiry", data=typed)
    assert answer.status_code == 200
    reader = read(answer)
    shown = values_of(reader)
    chosen = {o["value"] for o in reader.all("option") if "selected" in o}
    assert shown["duty.shift"] == "7 h"
    for value in PRESETS[application].values:
        if value.field != "duty.shift":
            assert value.value in {shown.get(value.field), *chosen}
            assert value.reason in answer.text.replace("&#39;", "'")


def test_usual_values_need_an_application(browser: TestClient) -> None:
    answer = browser.post("/inquiry", data={"action": "preset", "chamber.volume": "1 L"})
    assert answer.status_code == 422
    assert "Choose first what the chamber is for." in answer.text
    assert values_of(read(answer))["chamber.volume"] == "1 L"


def test_a_row_is_added_without_scripts(browser: TestClient) -> None:
    before = values_of(
        read(browser.post("/inquiry", data={**EXAMPLE, "action": "row:process.gas"}))
    )
    assert before["process.gas.0.species"] == "argon"
    assert before["process.gas.1.species"] == ""
    both = {**EXAMPLE, "action": "row:process.gas", "process.gas.1.species": "Ar"}
    after = values_of(read(browser.post("/inquiry", data=both)))
    assert after["process.gas.1.species"] == "Ar"
    assert "process.gas.2.species" in after


def test_a_choice_of_pumps_is_judged_beside_its_form(
    browser: TestClient, demo_catalog: Catalog
) -> None:
    asked = {
        "stack.high_vacuum_pump": "VAPOURJET-050-A",
        "stack.backing_pump": "VANE2-0160",
        "chamber.volume": "20 L",
        "target_pressure": "1e-5 mbar",
    }
    answer = browser.post("/check", data=asked)
    assert answer.status_code == 200
    assert "Foreline pressure" in answer.text
    chosen = {o["value"] for o in read(answer).all("option") if "selected" in o}
    assert "VAPOURJET-050-A" in chosen
    assert "VAPOURJET-050-A" in demo_catalog.items


def test_a_check_can_be_sent_on_as_an_inquiry(browser: TestClient) -> None:
    typed = {"action": "fill", "chamber.volume": "20 L", "stack.backing_pump": "NO-SUCH"}
    answer = browser.post("/inquiry", data=typed)
    assert answer.status_code == 200
    assert values_of(read(answer))["chamber.volume"] == "20 L"


def test_the_catalogue_never_shows_cost_prices(browser: TestClient, demo_catalog: Catalog) -> None:
    for sku in list(demo_catalog.items)[::40]:
        item = demo_catalog.items[sku]
        answer = browser.get(f"/catalog/{sku}")
        assert answer.status_code == 200
        assert item.name in answer.text.replace("&#39;", "'")
        assert f"{item.cost_price:,}" not in answer.text
        assert "ost price" not in answer.text


def test_the_catalogue_is_narrowed_down(browser: TestClient) -> None:
    everything = browser.get("/catalog")
    scrolls = browser.get("/catalog", params={"group": "Backing pumps", "q": "scroll"})
    assert "Turbomolecular pumps</h2>" in everything.text
    assert "Turbomolecular pumps</h2>" not in scrolls.text
    assert 0 < scrolls.text.count("<tr><th") < 20
    nothing = browser.get("/catalog", params={"q": "zzzz <script>"})
    assert "0 items" in nothing.text
    assert "<script>" not in nothing.text


def test_pictures_of_charts_come_without_scripts(browser: TestClient, advice_path: str) -> None:
    images = [image["src"] for image in read(browser.get(advice_path)).all("img")]
    assert len(images) == 5
    picture = browser.get(images[0])
    assert picture.headers["content-type"] == "image/svg+xml"
    assert picture.text.startswith("<svg")


def test_static_files_carry_no_foreign_address() -> None:
    for path in Path(folder(Folder.STATIC)).rglob("*"):
        if path.is_file():
            addresses = re.findall(r"https?://[^\s\"')]+", path.read_text("utf-8"))
            assert set(addresses) <= {"http://www.w3.org/2000/svg"}, path


QUOTED = {
    "customer": "Institute of Thin Films",
    "contact": "A. Person",
    "address": "1 Lane\n2 Town",
    "tax_rate": "19",
    "validity_days": "45",
    "notes": "By lift.",
}


@pytest.fixture(scope="module")
def quote_path(browser: TestClient, advice_path: str) -> str:
    answer = browser.post(f"{advice_path}/stack/1/quote", data=QUOTED, follow_redirects=False)
    assert answer.status_code == 303
    return str(answer.headers["location"])


def test_a_quote_holds_customer_lines_totals_and_cautions(
    browser: TestClient, quote_path: str
) -> None:
    text = " ".join("".join(read(browser.get(quote_path)).text).split())
    for expected in (
        "Institute of Thin Films", "2 Town", "VAPOURJET-160-W", "Centring ring of the inlet",
        "supplied", "Tax, 19 %", "By lift.", "Hot boiler", "Foreline pressure",
    ):  # fmt: skip
        assert expected in text


def test_a_quotes_page_and_its_files_agree_to_the_cent(
    browser: TestClient, quote_path: str
) -> None:
    number = quote_path.rsplit("/", 1)[1]
    page = browser.get(quote_path)
    links = [a["href"] for a in read(page).all("a") if a["href"].startswith("/api/")]
    files = {link.rsplit(".", 1)[1]: link for link in links}
    assert set(files) == {"pdf", "xlsx", "csv", "xml", "json"}
    rows = list(csv.reader(io.StringIO(browser.get(files["csv"]).text)))
    told = browser.get(files["json"]).json()
    assert told["number"] == number
    total = Decimal(told["total"])
    assert total == sum(Decimal(line["total"]) for line in told["lines"]) + Decimal(told["tax"])
    assert str(total) in rows[-1]
    assert f"€{total:,}" in page.text
    assert number in browser.get("/quotes").text


def test_a_quote_without_a_customer_asks_for_one_and_keeps_the_rest(
    browser: TestClient, advice_path: str
) -> None:
    wrong = {**QUOTED, "customer": "", "tax_rate": "a fifth"}
    answer = browser.post(f"{advice_path}/stack/1/quote", data=wrong)
    assert answer.status_code == 422
    assert '<a href="#customer">Customer</a>' in answer.text
    assert '<a href="#tax_rate">' in answer.text
    assert values_of(read(answer))["tax_rate"] == "a fifth"
    assert "1 Lane\n2 Town</textarea>" in answer.text.replace("\r", "")


def test_the_card_starts_the_backing_pump_before_cooling_before_the_heater(
    browser: TestClient, advice_path: str
) -> None:
    """The order of starting a vapour-jet pump: common practice, no source."""
    text = browser.get(f"{advice_path}/stack/1/card").text
    steps = re.findall(r"<li>(.*?)</li>", text, re.DOTALL)
    start = [step.lower() for step in steps]
    backing = next(i for i, s in enumerate(start) if "rotary vane pump" in s and "switch" in s)
    cooling = next(i for i, s in enumerate(start) if "cooling water" in s and i > backing)
    heater = next(i for i, s in enumerate(start) if "heater" in s and "switch" in s and i > backing)
    assert backing < cooling < heater
    assert '<span class="when">Wait ' in text
    assert "Hot boiler" in text


def test_consumables_give_packs_reasons_and_a_file(browser: TestClient) -> None:
    asked = {
        "pumps.0.sku": "VANE2-0160",
        "pumps.0.quantity": "2",
        "pumps.3.sku": "VAPOURJET-050-A",
        "horizon_years": "3",
        "duty.shift": "12 h",
    }
    answer = browser.post("/consumables", data=asked)
    assert answer.status_code == 200
    text = " ".join("".join(read(answer).text).split())
    total = re.search(r"For 3 years: (€[0-9,.]+)", text)
    assert total
    file = browser.post("/consumables", data={**asked, "action": "csv"})
    assert file.headers["content-type"].startswith("text/csv")
    rows = list(csv.reader(io.StringIO(file.text)))
    assert f"€{Decimal(rows[-1][6]):,}" == total[1]
    for row in rows[1:-1]:
        assert row[2] in text
        assert row[8] in text


def test_consumables_need_a_pump_of_the_catalogue(browser: TestClient) -> None:
    nothing = browser.post("/consumables", data={"horizon_years": "2"})
    assert nothing.status_code == 422
    assert "Choose at least one pump." in nothing.text
    unknown = browser.post("/consumables", data={"pumps.0.sku": "NO-SUCH"})
    assert unknown.status_code == 422
    assert '<a href="#pumps.0.sku">Pump, pump 1</a>' in unknown.text
    assert '<option value="NO-SUCH" selected>' in unknown.text
