"""Where a webhook may lead."""

import pytest

from hilum.notify.channel import ChannelError
from hilum.notify.guard import checked_addresses, is_public, resolve

PRIVATE = {
    "127.0.0.1": "this machine",
    "127.255.0.3": "this machine",
    "0.0.0.0": "any address",  # noqa: S104 - to be refused
    "10.1.2.3": "private (RFC 1918)",
    "172.16.0.1": "private (RFC 1918)",
    "192.168.1.1": "private (RFC 1918)",
    "169.254.169.254": "link-local (RFC 3927)",
    "100.64.0.1": "shared (RFC 6598)",
    "192.0.2.5": "documentation (RFC 5737)",
    "198.18.0.1": "benchmarks (RFC 2544)",
    "224.0.0.251": "multicast",
    "255.255.255.255": "broadcast",
    "240.0.0.1": "reserved",
    "::1": "this machine",
    "::": "any address",
    "fe80::1": "link-local",
    "fe80::1%eth0": "link-local with a zone",
    "fc00::1": "unique local (RFC 4193)",
    "fd12:3456::1": "unique local (RFC 4193)",
    "ff02::1": "multicast",
    "::ffff:127.0.0.1": "IPv4 inside IPv6 (RFC 4291)",
    "::ffff:10.0.0.1": "IPv4 inside IPv6",
    "::127.0.0.1": "IPv4-compatible (RFC 4291)",
    "64:ff9b::7f00:1": "NAT64 of 127.0.0.1 (RFC 6052)",
    "64:ff9b:1::a00:1": "local NAT64 (RFC 8215)",
    "2002:7f00:1::": "6to4 of 127.0.0.1 (RFC 3056)",
    "2001:0:7f00:1::": "Teredo by 127.0.0.1 (RFC 4380)",
    "2001:db8::1": "documentation (RFC 3849)",
    "not an address": "nonsense",
}
PUBLIC = ("93.184.215.14", "8.8.8.8", "2606:4700:4700::1111", "64:ff9b::808:808", "::ffff:8.8.8.8")


@pytest.mark.parametrize("address", PRIVATE)
def test_addresses_that_are_not_public(address: str) -> None:
    """Special addresses (IANA registries), also hidden inside others, are not public."""
    assert not is_public(address)


@pytest.mark.parametrize("address", PUBLIC)
def test_public_addresses(address: str) -> None:
    """Ordinary addresses of the internet are public, also hidden inside others."""
    assert is_public(address)


def test_one_private_address_among_public_ones_is_enough() -> None:
    """A host is refused as soon as any of its addresses is private, unless that is allowed."""

    def lookup(host: str, port: int) -> list[str]:
        assert (host, port) == ("hooks.example", 443)
        return ["8.8.8.8", "10.0.0.1"]

    with pytest.raises(ChannelError, match=r"hooks.example .* not on the public internet"):
        checked_addresses("hooks.example", 443, allow_private=False, lookup=lookup)
    found = checked_addresses("hooks.example", 443, allow_private=True, lookup=lookup)
    assert found == ["8.8.8.8", "10.0.0.1"]


@pytest.mark.parametrize(
    "host", ["2130706433", "0x7f000001", "0177.0.0.1", "127.1", "localhost", "::1", "0"]
)
def test_every_way_to_write_this_machine(host: str) -> None:
    """Decimal, hexadecimal, octal and short forms all end at this machine, and are refused."""
    with pytest.raises(ChannelError, match=r"not on the public internet|cannot be found"):
        checked_addresses(host, 443, allow_private=False)


@pytest.mark.parametrize("host", ["no-such-host.invalid", "", "a" * 300, "ä..b"])
def test_hosts_that_cannot_be_found(host: str) -> None:
    """A host that does not resolve is said by name."""
    with pytest.raises(ChannelError, match=r"cannot be found|not on the public internet"):
        checked_addresses(host, 443, allow_private=False)


def test_nothing_found() -> None:
    """An empty answer is no answer."""
    with pytest.raises(ChannelError, match="no address"):
        checked_addresses("x", 443, allow_private=True, lookup=lambda _host, _port: [])


def test_numbers_resolve_without_a_server() -> None:
    """A written address resolves to itself, once."""
    assert resolve("127.0.0.1", 443) == ["127.0.0.1"]
