"""The requirements form: filled by hand, from an example, from a preset or from earlier advice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.errors import DomainError, Fault, InvalidInquiry, NotFound
from server.fit.inquiry import checked
from server.fit.letter.reader import read_letter
from server.fit.presets import PRESETS, PresetValue
from server.fit.requirements import Application
from server.quoting.inquiries import ReceivedInquiry
from server.web.choices import Choice, form_choices
from server.web.deps import Services, ServicesDep, advise_and_save
from server.web.examples import EXAMPLES
from server.web.fields import FIELDS, ROWS, label_at, pattern
from server.web.forms import Form
from server.web.letter_view import LetterView, filled_from
from server.web.pages import RendererDep
from server.web.typed import Pairs, action_of
from server.web.words import words

router = APIRouter()


@dataclass(frozen=True)
class InquiryPage:
    """The form with what was typed, what is wrong and what was filled in."""

    template: ClassVar[str] = "inquiry/form.html"
    form: Form
    choices: Mapping[str, Sequence[Choice]]
    notes: tuple[str, ...] = ()
    editing: bool = False
    view: LetterView | None = None
    """The customer's letter with marks, once it was read."""
    received: ReceivedInquiry | None = None
    """The inquiry of a customer that the form is filled with."""


@router.get("/inquiry")
def empty_form(request: Request, services: ServicesDep, renderer: RendererDep) -> HTMLResponse:
    """Show the form: empty, with an example, or with an earlier inquiry and a change to it."""
    asked = request.query_params
    form = Form()
    notes: tuple[str, ...] = ()
    received: ReceivedInquiry | None = None
    if token := asked.get("from"):
        form = Form.from_request(services.advices.get(token).inquiry)
        received = services.inquiries.of_advice(token)
    elif token := asked.get("received"):
        received = services.inquiries.get(token)
        form = filled_with(received)
    elif example := asked.get("example"):
        if example not in EXAMPLES:
            raise NotFound("There is no such example.")
        form = Form.from_request(EXAMPLES[example])
        notes = ("An invented example; nothing in it is anyone’s real inquiry.",)
    for path, value in zip(asked.getlist("change"), asked.getlist("to"), strict=False):
        if pattern(path) in FIELDS and value:
            before = words(form.value(path)) or "nothing"
            form = form.with_values({path: value[:100]})
            notes += (f"{label_at(path)}: {words(value[:100])} instead of {before[:100]}.",)
    editing = bool(asked.get("from"))
    return renderer.page(
        request, InquiryPage(form, form_choices(), notes, editing, received=received)
    )


@router.post("/inquiry")
def send_form(
    request: Request, pairs: Pairs, services: ServicesDep, renderer: RendererDep
) -> Response:
    """Give advice, or show the form again: with faults, with usual values, or with one more row."""
    form = Form.from_pairs(pairs).without("stack").without("sender")
    received = received_of(pairs, services)
    action = action_of(pairs)
    view: LetterView | None = None
    notes: tuple[str, ...] = ()
    if action == "read":
        form, view = with_letter(form)
    elif action == "preset":
        form, notes = with_usual_values(form)
    elif action.startswith("row:") and action.removeprefix("row:") in ROWS:
        form = form.with_row(action.removeprefix("row:"))
    elif action != "fill":
        answered = advised(form, services)
        if isinstance(answered, str):
            if received is not None:
                services.inquiries.note_advice(received.token, answered)
            return RedirectResponse(f"/advice/{answered}", status_code=303)
        form = answered
    status = 422 if form.faults else 200
    shown = InquiryPage(form, form_choices(), notes, view=view, received=received)
    return renderer.page(request, shown, status)


LETTER = "letter"


def with_letter(form: Form) -> tuple[Form, LetterView | None]:
    """Return the form with what a letter states, and the letter's view; or the form with a fault.

    Parameters
    ----------
    form : Form
        As typed, the letter among it; what stands in other fields stays.
    """
    try:
        return filled_from(read_letter(form.value(LETTER)), form)
    except InvalidInquiry as error:
        faults = [replace(fault, field=LETTER) for fault in error.faults]
        return form.with_faults(faults), None


def received_of(pairs: Pairs, services: Services) -> ReceivedInquiry | None:
    """Return the customer's inquiry that a form was filled with, None for any other form."""
    token = next((value for name, value in pairs if name == "received"), "")
    return services.inquiries.get(token) if token else None


def filled_with(received: ReceivedInquiry) -> Form:
    """Return the form filled with a customer's inquiry, named after them."""
    form = Form.from_request(received.typed)
    who = received.sender.as_customer.name
    return form if form.value("title") else form.with_values({"title": who})


def advised(form: Form, services: Services) -> str | Form:
    """Return the token of the saved advice, or the form with its faults.

    Parameters
    ----------
    form : Form
        As typed.
    services : Services
        Engine and stores.

    Returns
    -------
    str or Form
        A form only when it has faults.
    """
    try:
        return advise_and_save(services, checked(form.without(LETTER).request("chamber"))).token
    except InvalidInquiry as error:
        return form.with_faults(error.faults)
    except DomainError as error:  # a model's limit: no single field is wrong
        return form.with_faults([Fault("", "", str(error))])


def with_usual_values(form: Form) -> tuple[Form, tuple[str, ...]]:
    """Return the form with an application's usual values in its empty fields, and what was filled.

    Parameters
    ----------
    form : Form
        With an application chosen.

    Returns
    -------
    form : Form
        With a fault when no application was chosen.
    notes : tuple of str
        One for each value, with its reason.
    """
    chosen = form.value("application")
    if chosen not in set(Application):
        fault = Fault("application", chosen, "Choose first what the chamber is for.")
        return form.with_faults([fault]), ()
    preset = PRESETS[Application(chosen)]
    missing = [value for value in preset.values if not form.value(value.field)]
    notes = [
        f"{label_at(value.field)}: {words(_as_typed(value))}; {value.reason}." for value in missing
    ]
    if not form.row_has_values("chamber.surfaces"):
        notes.append("Surfaces: left empty; their area will be estimated from the volume.")
    if not missing:
        notes.insert(0, f"{preset.title} needs nothing that you have not given.")
    filled = form.with_values({value.field: _as_typed(value) for value in missing})
    return replace(filled, faults=()), tuple(notes)


def _as_typed(value: PresetValue) -> str:
    if isinstance(value.value, bool):
        return "yes" if value.value else "no"
    return value.value
