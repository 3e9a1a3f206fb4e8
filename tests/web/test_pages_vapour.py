"""Pages of vapour: partial pressures, drying, the way of vapour, wet goods in the form."""

from __future__ import annotations

import re

from starlette.testclient import TestClient

from tests.web.browsing import read, values_of


def test_a_stack_shows_what_its_pressure_consists_of_and_where_vapour_goes(
    browser: TestClient, advice_path: str
) -> None:
    page = re.sub(r"<[^>]+>", "", browser.get(f"{advice_path}/stack/1").text)
    assert "What the pressure consists of, at base pressure" in page
    assert "Final pressure of the pump (light fractions of its mineral)" in page
    assert "Where the vapour goes, a day" in page
    assert "Liquid-nitrogen trap lets water by up to" in page
    assert "Drying the goods" in page


def test_wet_goods_at_fault_keep_what_was_typed_and_open_their_group(browser: TestClient) -> None:
    typed = {
        "chamber.volume": "200 L", "target_pressure": "1 mbar", "action": "advise",
        "process.wet_goods.0.substance": "water", "process.wet_goods.0.mass": "2 kg",
        "process.wet_goods.0.rate": "1 g/h", "process.wet_goods.0.drying_time": "6 h",
    }  # fmt: skip
    answer = browser.post("/inquiry", data=typed)
    assert answer.status_code == 422
    assert values_of(read(answer))["process.wet_goods.0.mass"] == "2 kg"
    assert "At the stated rate the goods need" in answer.text
    assert re.search(r'<details class="more" open>\s*<summary>Drying', answer.text)
