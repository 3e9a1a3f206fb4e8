"""Which addresses an outgoing call may reach."""

from __future__ import annotations

from ipaddress import ip_address

import pytest

from server.web.outgoing.addresses import NotReached, addresses_of, is_public, one_allowed

# Ranges from the registries of special-purpose addresses (RFC 6890 and its updates).
NOT_PUBLIC = [
    "127.0.0.1", "127.9.9.9", "10.1.2.3", "172.16.0.1", "172.31.255.255", "192.168.1.1",
    "169.254.169.254", "100.64.0.1", "0.0.0.0", "224.0.0.1", "240.0.0.1", "255.255.255.255",  # noqa: S104
    "192.0.2.1", "198.18.0.1", "203.0.113.9", "::1", "::", "fe80::1", "fc00::1", "fd12::1",
    "ff02::1", "fec0::1", "2001:db8::1", "::ffff:127.0.0.1", "::ffff:10.0.0.1",
    "::ffff:169.254.169.254",
    "64:ff9b::7f00:1", "64:ff9b::a00:1", "2002:7f00:1::", "2002:a00:1::", "100::1",
]  # fmt: skip
PUBLIC = ["8.8.8.8", "1.1.1.1", "172.32.0.1", "2606:4700::1111", "64:ff9b::808:808"]


@pytest.mark.parametrize("text", NOT_PUBLIC)
def test_what_is_not_public_is_refused(text: str) -> None:
    assert not is_public(ip_address(text))
    with pytest.raises(NotReached, match="not a public one"):
        one_allowed("in.example.org", 443, private=False, lookup=lambda *_: [text])


@pytest.mark.parametrize("text", PUBLIC)
def test_a_public_address_is_called(text: str) -> None:
    assert one_allowed("in.example.org", 443, private=False, lookup=lambda *_: [text]) == text


@pytest.mark.parametrize("text", ["127.0.0.1", "192.168.1.1", "::1", "fd12::1", "fe80::1%2"])
def test_the_setting_allows_private_addresses(text: str) -> None:
    found = one_allowed("inside", 80, private=True, lookup=lambda *_: [text])
    assert found == text.partition("%")[0]


@pytest.mark.parametrize("text", ["0.0.0.0", "224.0.0.1", "240.0.0.1", "::", "ff02::1"])  # noqa: S104
def test_no_setting_allows_what_is_no_machine(text: str) -> None:
    with pytest.raises(NotReached):
        one_allowed("inside", 80, private=True, lookup=lambda *_: [text])


def test_one_private_address_among_public_ones_is_enough_to_refuse() -> None:
    with pytest.raises(NotReached, match=r"10\.0\.0\.1"):
        one_allowed("mixed", 443, private=False, lookup=lambda *_: ["8.8.8.8", "10.0.0.1"])


def test_the_real_lookup_knows_this_machine_and_says_so_of_nobody() -> None:
    assert "127.0.0.1" in addresses_of("localhost", 80) + addresses_of("127.0.0.1", 80)
    for name in ("no-such-host.invalid", "x" * 300):
        with pytest.raises(NotReached, match="not known"):
            addresses_of(name, 80)


@pytest.mark.parametrize("text", ["2130706433", "0x7f.1", "127.1", "0177.0.0.1"])
def test_odd_spellings_of_loopback_are_seen_through(text: str) -> None:
    with pytest.raises(NotReached):
        one_allowed(text, 80, private=False)
