"""A quote as XML for other programs: a Quotation of ISO/IEC 19845:2015 (UBL 2.1).

Optional and alternative lines are lines of their own: their item has the property “Choice” with
the value ``optional`` or ``alternative``, and the totals leave them out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Final
from xml.etree import ElementTree as ET

from server.quoting.desk.pricing import TaxLine
from server.quoting.order import Party
from server.quoting.papers.printed import Printed, PrintedLine
from server.quoting.quote import Quote

_BASE: Final = "urn:oasis:names:specification:ubl:schema:xsd:"
ROOT: Final = f"{_BASE}Quotation-2"
CAC: Final = f"{_BASE}CommonAggregateComponents-2"
CBC: Final = f"{_BASE}CommonBasicComponents-2"

PIECE: Final = "C62"
"""Code of “one” in UN/ECE Recommendation 20."""

# What XML 1.0 (section 2.2) cannot hold even as a reference.
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def quote_xml(view: Printed) -> bytes:
    """Return a quote as a UBL Quotation, UTF-8.

    Parameters
    ----------
    view : Printed
        What it says.
    """
    quote = view.quote
    for prefix, space in (("", ROOT), ("cac", CAC), ("cbc", CBC)):
        ET.register_namespace(prefix, space)
    root = ET.Element(f"{{{ROOT}}}Quotation")
    writer = _Writer(root, quote.currency)
    writer.text("UBLVersionID", "2.1")
    writer.text("ID", quote.number or "draft")
    writer.text("IssueDate", quote.day.isoformat())
    for note in _notes(view):
        writer.text("Note", note)
    writer.text("PricingCurrencyCode", quote.currency)
    writer.text("LineCountNumeric", str(len(quote.lines)))
    validity = writer.child("ValidityPeriod")
    validity.text("StartDate", quote.day.isoformat())
    validity.text("EndDate", quote.valid_until.isoformat())
    if quote.reference:
        writer.child("RequestForQuotationDocumentReference").text("ID", quote.reference)
    _party(writer.child("SellerSupplierParty"), quote.seller)
    _party(writer.child("BuyerCustomerParty"), quote.customer)
    _terms(writer, view)
    _charges(writer, quote)
    _taxes(writer, quote)
    _totals(writer, quote)
    for line in view.lines:
        _line(writer.child("QuotationLine"), line, quote)
    ET.indent(root)
    text = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'.encode()


class _Writer:
    """Adds elements to one element; which namespace follows from what they hold."""

    def __init__(self, element: ET.Element, currency: str) -> None:
        self._element = element
        self._currency = currency

    def child(self, name: str) -> _Writer:
        return _Writer(ET.SubElement(self._element, f"{{{CAC}}}{name}"), self._currency)

    def text(self, name: str, text: str, **attributes: str) -> None:
        leaf = ET.SubElement(self._element, f"{{{CBC}}}{name}", attributes)
        leaf.text = _NO_XML.sub("\ufffd", text)

    def amount(self, name: str, amount: Decimal) -> None:
        self.text(name, f"{amount:f}", currencyID=self._currency)


def _notes(view: Printed) -> Iterator[str]:
    quote = view.quote
    told = (
        view.standing,
        f"Revision {quote.revision}" if quote.revision > 1 else "",
        quote.title,
        quote.stack_title,
        quote.notes,
        quote.rounding,
        *view.goods,
        *quote.export_hints,
        *quote.flags,
    )
    yield from filter(None, told)


def _party(writer: _Writer, who: Party) -> None:
    party = writer.child("Party")
    party.child("PartyName").text("Name", who.name)
    lines = [line for line in who.address.splitlines() if line.strip()]
    if lines:
        address = party.child("PostalAddress")
        for line in lines:
            address.child("AddressLine").text("Line", line)
    if who.contact or who.email:
        contact = party.child("Contact")
        if who.contact:
            contact.text("Name", who.contact)
        if who.email:
            contact.text("ElectronicMail", who.email)


def _terms(writer: _Writer, view: Printed) -> None:
    quote = view.quote
    for shipment in quote.shipments:
        delivery = writer.child("Delivery")
        delivery.text("Quantity", str(sum(n for _, n in shipment.pieces)), unitCode=PIECE)
        delivery.child("Despatch").text("EstimatedDespatchDate", shipment.day.isoformat())
    if quote.texts.delivery:
        writer.child("DeliveryTerms").text("SpecialTerms", quote.texts.delivery)
    conditions = [f"{word}: {text}" for word, text in view.terms if text != quote.texts.delivery]
    if conditions:
        held = writer.child("TransactionConditions")
        for condition in conditions:
            held.text("Description", condition)


def _charges(writer: _Writer, quote: Quote) -> None:
    if quote.discount:
        _charge(writer, "false", "Discount", quote.discount, quote.discount_percent,
                quote.lines_total)  # fmt: skip
    if quote.freight:
        _charge(writer, "true", "Freight", quote.freight)


def _charge(
    writer: _Writer,
    adds: str,
    reason: str,
    amount: Decimal,
    percent: Decimal | None = None,
    base: Decimal | None = None,
) -> None:
    charge = writer.child("AllowanceCharge")
    charge.text("ChargeIndicator", adds)
    charge.text("AllowanceChargeReason", reason)
    if percent is not None:
        charge.text("MultiplierFactorNumeric", f"{percent / 100:f}")
    charge.amount("Amount", amount)
    if base is not None:
        charge.amount("BaseAmount", base)


def _taxes(writer: _Writer, quote: Quote) -> None:
    total = writer.child("TaxTotal")
    total.amount("TaxAmount", quote.tax)
    for each in quote.taxes_by_rate:
        _subtotal(total.child("TaxSubtotal"), each)


def _subtotal(writer: _Writer, each: TaxLine) -> None:
    writer.amount("TaxableAmount", each.base)
    writer.amount("TaxAmount", each.tax)
    writer.text("Percent", f"{each.rate_percent:f}")
    _category(writer.child("TaxCategory"), each.rate_percent)


def _category(writer: _Writer, rate_percent: Decimal) -> None:
    writer.text("Percent", f"{rate_percent:f}")
    writer.child("TaxScheme").text("Name", "Tax on sales")


def _totals(writer: _Writer, quote: Quote) -> None:
    totals = writer.child("QuotedMonetaryTotal")
    totals.amount("LineExtensionAmount", quote.lines_total)
    totals.amount("TaxExclusiveAmount", quote.net + quote.freight)
    totals.amount("TaxInclusiveAmount", quote.total)
    totals.amount("AllowanceTotalAmount", quote.discount)
    totals.amount("ChargeTotalAmount", quote.freight)
    totals.amount("PayableAmount", quote.total)


def _line(writer: _Writer, printed: PrintedLine, quote: Quote) -> None:
    line = printed.line
    writer.text("ID", printed.position)
    item = writer.child("LineItem")
    item.text("ID", printed.position)
    if line.note:
        item.text("Note", line.note)
    item.text("Quantity", str(line.quantity), unitCode=PIECE)
    item.amount("LineExtensionAmount", line.total)
    if printed.ships:
        item.child("Delivery").child("Despatch").text("Instructions", printed.ships)
    if line.discount_percent:
        before = line.unit_price * line.quantity
        _charge(item, "false", "Discount", before - line.total, line.discount_percent, before)
    price = item.child("Price")
    price.amount("PriceAmount", line.unit_price)
    price.text("BaseQuantity", "1", unitCode=PIECE)
    _item(item.child("Item"), printed, quote)


def _item(writer: _Writer, printed: PrintedLine, quote: Quote) -> None:
    line = printed.line
    writer.text("Name", line.name)
    if line.sku:
        writer.child("SellersItemIdentification").text("ID", line.sku)
    for goods in quote.dangerous_goods:
        if line.sku in goods.skus:
            hazard = writer.child("HazardousItem")
            hazard.text("UNDGCode", goods.un_number.removeprefix("UN "))
            hazard.text("TechnicalName", goods.name)
            hazard.text("HazardClassID", goods.hazard_class)
    rate = quote.tax_rate_percent if line.tax_rate_percent is None else line.tax_rate_percent
    _category(writer.child("ClassifiedTaxCategory"), rate)
    for name, value in (("Group", line.group.value), ("Choice", line.choice.value)):
        told = writer.child("AdditionalItemProperty")
        told.text("Name", name)
        told.text("Value", value)
