"""Bounds how often something may be tried.

In memory: a restart forgets, which nobody can bring about from outside, while a table of wrong
passwords would let outsiders write to the disk.
"""

import ipaddress
from collections import OrderedDict, deque
from dataclasses import dataclass
from threading import Lock

FREE = 5
FIRST_WAIT_MS, LONGEST_WAIT_MS = 2_000, 900_000
FORGET_MS = 3_600_000
ALL_IN_A_MINUTE = 30
MINUTE_MS = 60_000
MOST_ADDRESSES = 10_000


@dataclass(slots=True)
class _Tries:
    wrong: int = 0
    last_ms: int = 0


class Tries:
    """Wrong passwords, by address and of all together.

    Five are free, then an address waits, twice as long each time, up to a quarter of an hour. All
    addresses together may be wrong thirty times a minute. Common practice, no source.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._by: OrderedDict[str, _Tries] = OrderedDict()
        self._all: deque[int] = deque(maxlen=ALL_IN_A_MINUTE)

    def wait_ms(self, address: str, now_ms: int) -> int:
        """How long this address has to wait; 0 if it may try."""
        with self._lock:
            found = self._by.get(network_of(address), _Tries())
            over = found.wrong - FREE
            until_ms = now_ms
            if over >= 0:
                until_ms = found.last_ms + min(FIRST_WAIT_MS << min(over, 20), LONGEST_WAIT_MS)
            if len(self._all) == ALL_IN_A_MINUTE:
                until_ms = max(until_ms, self._all[0] + MINUTE_MS)
            return max(0, until_ms - now_ms)

    def wrong(self, address: str, now_ms: int) -> int:
        """Note a wrong one; give how many this address has had."""
        with self._lock:
            self._all.append(now_ms)
            name = network_of(address)
            found = self._by.pop(name, _Tries())
            if now_ms - found.last_ms > FORGET_MS:
                found.wrong = 0
            found.wrong += 1
            found.last_ms = now_ms
            self._by[name] = found
            if len(self._by) > MOST_ADDRESSES:
                self._by.popitem(last=False)
            return found.wrong

    def right(self, address: str) -> None:
        """Forget what an address had wrong."""
        with self._lock:
            self._by.pop(network_of(address), None)


def network_of(address: str) -> str:
    """Give what one household has: an IPv4 address, or the /64 of an IPv6 address."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv6Address):
        mapped = found.ipv4_mapped
        return str(mapped or ipaddress.ip_network((found, 64), strict=False))
    return address


class Buckets:
    """So many at once, then so many a second, each name on its own; names come from our table.

    Parameters
    ----------
    burst : int
        How many at once.
    per_s : float
        How many a second after that.
    """

    def __init__(self, burst: int, per_s: float) -> None:
        self._burst, self._per_s = burst, per_s
        self._lock = Lock()
        self._left: dict[int, tuple[float, int]] = {}

    def take(self, name: int, now_ms: int) -> bool:
        """Take one, if there is one left."""
        with self._lock:
            left, at_ms = self._left.get(name, (float(self._burst), now_ms))
            gained = max(0, now_ms - at_ms) / 1000 * self._per_s
            left = min(self._burst, left + gained)
            taken = left >= 1
            self._left[name] = (left - taken, now_ms)
            return taken
