"""Who sends an inquiry: what is read of it, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from server.errors import InvalidInquiry
from server.quoting.inquiries import CONSENT, must_be_small, read_sender

GOOD = {
    "name": "A. Person",
    "company": "Institute of Thin Films",
    "email": "a@example.org",
    "message": "First line\r\nsecond line",
    "consent": "yes",
}


def faults_of(**changed: Any) -> dict[str, str]:
    with pytest.raises(InvalidInquiry) as raised:
        read_sender({**GOOD, **changed})
    return {fault.field: fault.message for fault in raised.value.faults}


def test_a_sender_is_read_and_becomes_the_customer() -> None:
    sender = read_sender(GOOD)
    assert sender.message == "First line\nsecond line"
    assert sender.consent == CONSENT
    customer = sender.as_customer
    assert (customer.name, customer.contact) == ("Institute of Thin Films", "A. Person")
    alone = read_sender({**GOOD, "company": ""})
    assert alone.as_customer.name == "A. Person"


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", ""), ("name", "x" * 201), ("name", "\x00\x07"), ("name", 7),
        ("company", "x" * 201), ("email", ""), ("email", "nobody"), ("email", "a@b"),
        ("email", "x" * 10_000 + "@y.org"),
        ("message", "x" * 5001), ("consent", ""), ("consent", "no"), ("consent", None),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_a_fault_of_its_field(field: str, value: object) -> None:
    assert list(faults_of(**{field: value})) == [f"sender.{field}"]


def test_every_fault_is_told_at_once() -> None:
    wrong = faults_of(name="", email="x", consent="")
    assert set(wrong) == {"sender.name", "sender.email", "sender.consent"}
    assert "no such field" in faults_of(extra="1")["sender.extra"]


def test_control_characters_go_and_other_scripts_stay() -> None:
    sender = read_sender({**GOOD, "name": "עברית \u202e<b>名前</b>\x1b 🙂", "message": "a\tb"})
    assert sender.name == "עברית <b>名前</b> 🙂"


def test_requirements_of_a_sensible_size_pass_and_huge_ones_do_not() -> None:
    must_be_small({"chamber": {"volume": "50 L"}})
    with pytest.raises(InvalidInquiry, match="too long"):
        must_be_small({"title": "x" * 30_000})
