"""Consumables of installed pumps: by table or by row; as page, JSON, CSV and calendar."""

from __future__ import annotations

from starlette.testclient import TestClient

from tests.web.browsing import read

TABLE = """pump,quantity,fluid,last service,hours a year,label
VANE2-0160,2,,2025-03-01,2000,Room 12
unheard-of pump,1,,,,
"""
ASKED = {"table": TABLE, "as_of": "2026-01-01", "horizon_years": 2}


def test_a_program_gets_lines_dates_and_the_rows_that_were_refused(browser: TestClient) -> None:
    told = browser.post("/api/v1/consumables", json=ASKED).json()
    assert told["as_of"] == "2026-01-01"
    assert {due["label"] for due in told["due"]} == {"Room 12"}
    assert all("2026-01-01" <= due["day"] < "2028-01-01" for due in told["due"])
    assert any("since the last service" in line["reason"] for line in told["lines"])
    (refused,) = told["refused"]
    assert refused["number"] == 3
    assert "no such pump" in refused["faults"][0]["message"]


def test_the_same_request_gives_the_same_calendar(browser: TestClient) -> None:
    first, second = (browser.post("/api/v1/consumables.ics", json=ASKED) for _ in range(2))
    assert first.headers["content-type"].startswith("text/calendar")
    assert first.content == second.content
    assert first.text.count("BEGIN:VEVENT") == len(
        browser.post("/api/v1/consumables", json=ASKED).json()["due"]
    )


def test_a_program_gets_the_list_as_csv(browser: TestClient) -> None:
    answer = browser.post("/api/v1/consumables.csv", json=ASKED)
    assert answer.text.startswith("Group,SKU")


def test_a_table_without_a_usable_row_is_refused_row_by_row(browser: TestClient) -> None:
    answer = browser.post("/api/v1/consumables", json={"table": "pump\nx\ny\n"})
    assert answer.status_code == 422
    assert [e["message"][:5] for e in answer.json()["errors"]] == ["Row 2", "Row 3"]


def test_no_pump_at_all_is_refused(browser: TestClient) -> None:
    answer = browser.post("/api/v1/consumables", json={})
    assert answer.json()["errors"][0]["field"] == "pumps"


def test_a_service_in_the_future_is_refused_beside_its_cell(browser: TestClient) -> None:
    pump = {"sku": "VANE2-0160", "last_service": "2027-01-01"}
    answer = browser.post("/api/v1/consumables", json={"pumps": [pump], "as_of": "2026-01-01"})
    assert answer.json()["errors"][0]["field"] == "pumps.0.last_service"


def test_the_page_reads_an_uploaded_file_and_keeps_it(browser: TestClient) -> None:
    file = {"table_file": ("pumps.csv", TABLE.encode("utf-8-sig"), "text/csv")}
    typed = {"as_of": "2026-01-01", "horizon_years": "2", "action": "advise"}
    page = browser.post("/consumables", data=typed, files=file)
    assert page.status_code == 200
    text = " ".join("".join(read(page).text).split())
    assert "1 of 2 rows of the table were not used" in text
    assert "unheard-of pump" in text
    assert "When it is due" in text
    assert "VANE2-0160,2,,2025-03-01,2000,Room 12" in page.text  # still there to be mended


def test_the_page_gives_the_calendar(browser: TestClient) -> None:
    typed = {"table": TABLE, "as_of": "2026-01-01", "action": "ics"}
    answer = browser.post("/consumables", data=typed)
    assert answer.headers["content-disposition"] == 'attachment; filename="upkeep.ics"'
    assert answer.text.startswith("BEGIN:VCALENDAR\r\n")


def test_a_spreadsheet_that_is_no_csv_is_refused(browser: TestClient) -> None:
    file = {"table_file": ("pumps.xlsx", b"PK\x03\x04\x00\x00", "application/zip")}
    page = browser.post("/consumables", data={"action": "advise"}, files=file)
    assert page.status_code == 422
    assert "save the spreadsheet as CSV" in page.text


def test_a_stack_of_an_advice_has_its_calendar(browser: TestClient, advice_path: str) -> None:
    answer = browser.get(f"{advice_path}/stack/1/upkeep.ics")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/calendar")
    assert answer.text.startswith("BEGIN:VCALENDAR\r\n")
    assert answer.content == browser.get(f"{advice_path}/stack/1/upkeep.ics").content
