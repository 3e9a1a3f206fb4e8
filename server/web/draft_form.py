"""A draft as a form: from the records to typed values and back, and what its row buttons do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from server.catalog.items import Catalog, Item
from server.errors import DomainError, Fault, InvalidInquiry
from server.fit.money import round_money
from server.quoting.desk.actors import Role
from server.quoting.desk.approval import reasons_for_approval
from server.quoting.desk.changes import (
    DraftChange,
    LineWish,
    changed,
    own_costs,
    read_change,
    unit_costs,
    wishes_of,
)
from server.quoting.desk.lines import LineChoice
from server.quoting.desk.pricing import SellerMargin, line_total
from server.quoting.desk.revision import Revision
from server.quoting.quote import LineGroup
from server.web.fields_desk import LINE_COLUMNS
from server.web.forms import Form

TERMS = (
    "customer", "contact", "email", "address", "reference", "validity_days", "discount", "freight",
    "tax_rate", "price_list", "payment", "delivery", "warranty", "validity", "notes",
    "internal_notes",
)  # fmt: skip
"""Fields of a draft beside its lines."""

Row = Mapping[str, str]


def form_of(draft: Revision, internal_notes: str) -> Form:
    """Return a draft as it would be typed.

    Parameters
    ----------
    draft : Revision
        The draft.
    internal_notes : str
        Notes for the house.
    """
    content = draft.content
    values = {
        "customer": content.customer.name,
        "contact": content.customer.contact,
        "email": content.customer.email,
        "address": content.customer.address,
        "reference": content.reference,
        "validity_days": str(content.validity_days),
        "discount": _typed(content.discount_percent),
        "freight": _typed(content.freight),
        "tax_rate": _typed(content.tax_rate_percent),
        "price_list": content.price_list,
        "payment": content.texts.payment,
        "delivery": content.texts.delivery,
        "warranty": content.texts.warranty,
        "validity": content.texts.validity,
        "notes": content.notes,
        "internal_notes": internal_notes,
    }
    rows = [_row_of(wish) for wish in wishes_of(content, draft.unit_costs)]
    return with_rows(Form(values=values), rows)


def change_typed(form: Form) -> dict[str, object]:
    """Return what `read_change` reads: every field of the form, an empty one to be emptied."""
    return {**{name: form.value(name) for name in TERMS}, "lines": rows_of(form)}


def rows_of(form: Form) -> list[Row]:
    """Return the typed lines, one mapping each, without cells that are empty."""
    rows: list[Row] = []
    for number in form.row_numbers("lines"):
        cells = {name: form.value(f"lines.{number}.{name}") for name in LINE_COLUMNS}
        rows.append({name: value for name, value in cells.items() if value})
    return rows


def with_rows(form: Form, rows: Sequence[Row]) -> Form:
    """Return the form with other lines."""
    values = {path: value for path, value in form.values.items() if not path.startswith("lines.")}
    values |= {
        f"lines.{number}.{name}": value
        for number, row in enumerate(rows)
        for name, value in row.items()
    }
    return Form(values=values)


def after_button(form: Form, action: str, catalog: Catalog) -> Form:
    """Return the form after one of its row buttons.

    Parameters
    ----------
    form : Form
        As typed.
    action : str
        ``own``, ``add:SKU``, ``remove:3``, ``up:3`` or ``down:3``; anything else changes nothing.
    catalog : Catalog
        Where items come from.
    """
    rows = rows_of(form)
    word, _, about = action.partition(":")
    new = {"quantity": "1", "choice": LineChoice.INCLUDED.value}
    if word == "own":
        return with_rows(form, [*rows, {**new, "group": LineGroup.SERVICES.value}])
    if word == "add" and about in catalog.items:
        return with_rows(form, [*rows, {**new, "sku": about}])
    at = int(about) if about.isascii() and about.isdigit() and len(about) < 4 else len(rows)
    if at >= len(rows):
        return form
    if word == "remove":
        return with_rows(form, [*rows[:at], *rows[at + 1 :]])
    to = {"up": at - 1, "down": at + 1}.get(word, at)
    if 0 <= to < len(rows):
        rows[at], rows[to] = rows[to], rows[at]
    return with_rows(form, rows)


@dataclass(frozen=True)
class Preview:
    """What would be kept, were the form saved now."""

    draft: Revision
    margin: SellerMargin
    approval_reasons: tuple[str, ...]
    line_totals: tuple[Decimal, ...]
    """In the order of the form's lines."""


def preview_of(form: Form, draft: Revision, catalog: Catalog, role: Role) -> Preview:
    """Return what would be kept, were the form saved now; nothing is.

    Parameters
    ----------
    form : Form
        As typed.
    draft : Revision
        The draft as kept.
    catalog : Catalog
        The catalogue whose prices it has.
    role : Role
        Whose limits count.

    Raises
    ------
    InvalidInquiry
        With one fault for each cell that cannot be used.
    OutOfRange
        When an amount is none.
    """
    change = read_change(change_typed(form), draft.content)
    content = changed(draft.content, change, catalog)
    wishes = change.lines or ()
    costs = unit_costs(content.lines, catalog, own_costs(wishes))
    made = replace(draft, content=content, unit_costs=costs)
    totals = tuple(_total_of(wish, catalog) for wish in wishes)
    return Preview(made, made.margin, reasons_for_approval(made, role), totals)


def judged(
    form: Form, draft: Revision, catalog: Catalog, role: Role
) -> tuple[Form, Preview | None]:
    """Return the form with its faults, and the preview where there are none."""
    try:
        return form, preview_of(form, draft, catalog, role)
    except InvalidInquiry as error:
        return form.with_faults(error.faults), None
    except DomainError as error:  # an amount that is none: no single field is wrong
        return form.with_faults([Fault("", "", str(error))]), None


def read_draft(form: Form, draft: Revision) -> DraftChange:
    """Return the change that a form asks for; raises ``InvalidInquiry``."""
    return read_change(change_typed(form), draft.content)


def _total_of(wish: LineWish, catalog: Catalog) -> Decimal:
    price = catalog.get(wish.sku, Item).price if wish.sku else wish.unit_price
    unit = round_money(price, catalog.currency)
    return line_total(unit, wish.quantity, wish.discount_percent, catalog.currency)


def _row_of(wish: LineWish) -> Row:
    cells = {
        "sku": wish.sku,
        "name": wish.name,
        "quantity": str(wish.quantity),
        "unit_price": _typed(wish.unit_price),
        "unit_cost": _typed(wish.unit_cost),
        "discount": _typed(wish.discount_percent),
        "choice": wish.choice.value,
        "group": "" if wish.group is None else wish.group.value,
        "tax_rate": "" if wish.tax_rate_percent is None else f"{wish.tax_rate_percent:f}",
        "note": wish.note,
    }
    return {name: value for name, value in cells.items() if value}


def _typed(amount: Decimal) -> str:
    """Return an amount as people type it, empty for none."""
    return f"{amount:f}" if amount else ""
