"""Which addresses a webhook may reach: the public internet, unless the settings allow more.

A name is resolved once, every address it gives is checked, and the connection goes to one of those
addresses, so that a name that changes its answer in between (DNS rebinding) gains nothing.
"""

import ipaddress
import socket
from collections.abc import Callable, Iterator

from hilum.notify.channel import ChannelError

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Resolve = Callable[[str, int], list[str]]

NAT64 = (ipaddress.ip_network("64:ff9b::/96"), ipaddress.ip_network("64:ff9b:1::/48"))
COMPATIBLE = ipaddress.ip_network("::/96")


def resolve(host: str, port: int) -> list[str]:
    """Give the addresses of a host as the system knows them, without repeats."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise ChannelError(f"The host {host} of the webhook cannot be found.") from error
    return list(dict.fromkeys(str(item[4][0]) for item in found))


def checked_addresses(
    host: str, port: int, *, allow_private: bool, lookup: Resolve = resolve
) -> list[str]:
    """Resolve a host and refuse it if any of its addresses is not public.

    Raises
    ------
    ChannelError
        It cannot be found, or leads into a private network, to this machine or to a neighbour.
    """
    found = lookup(host, port)
    if not found:
        raise ChannelError(f"The host {host} of the webhook has no address.")
    if not allow_private and not all(map(is_public, found)):
        raise ChannelError(
            f"The host {host} of the webhook is not on the public internet. If it is meant, set "
            "webhook_allow_private."
        )
    return found


def is_public(text: str) -> bool:
    """Whether an address belongs to the public internet, also if hidden inside another one."""
    try:
        address = ipaddress.ip_address(text.split("%", 1)[0])
    except ValueError:
        return False
    return all(
        each.is_global
        and not (each.is_multicast or each.is_reserved or each.is_link_local or each.is_unspecified)
        for each in _unwrapped(address)
    )


def _unwrapped(address: Address) -> Iterator[Address]:
    """Give the address, or the IPv4 addresses it carries inside."""
    if isinstance(address, ipaddress.IPv4Address):
        yield address
        return
    inner = [address.ipv4_mapped, address.sixtofour, *(address.teredo or ())]
    if any(address in network for network in (*NAT64, COMPATIBLE)):
        inner.append(ipaddress.IPv4Address(int(address) & 0xFFFFFFFF))
    carried = [each for each in inner if each is not None]
    yield from carried or [address]
