"""The time, if it is known; never a guess.

A board without a battery for its clock starts at 1970, 2000 or some year of its own. Such a time is
none: the sensor then sends readings without a time, and the service takes that of their arrival.
"""

import socket
import time

TYPE_CHECKING = False  # for type checkers: a board has no module typing
if TYPE_CHECKING:
    from collections.abc import Callable

EARLIEST = 1735689600  # 2025-01-01: before this was written, so no true time
UNIX_OF_1900 = 2208988800  # seconds from 1900, where NTP counts from, to 1970
ERA = 4294967296  # NTP begins again in February 2036
PORT = 123


class Clock:
    """The time of this board.

    Parameters
    ----------
    seconds
        Counts seconds from the start of the board's own calendar; by default ``time.time``.
    set_clock
        Sets the board's clock to seconds since 1970 UTC, so that it goes on through a deep sleep;
        None: the difference is kept in memory.
    """

    def __init__(
        self,
        seconds: "Callable[[], float] | None" = None,
        set_clock: "Callable[[int], None] | None" = None,
    ) -> None:
        self.seconds = seconds or time.time
        self.set_clock = set_clock
        self.offset = 946684800 if time.gmtime(0)[0] == 2000 else 0

    def now(self) -> int | None:
        """Seconds since 1970 UTC, a whole number; None if the clock was never set."""
        count = int(self.seconds()) + self.offset
        return count if count >= EARLIEST else None

    def set(self, true: int) -> None:
        """Set the clock to seconds since 1970 UTC."""
        if self.set_clock is not None:
            self.set_clock(true)
        else:
            self.offset = true - int(self.seconds())


def stretched(time_s: int, start: int, wrong: int, true: int) -> int:
    """Time of a reading by the true clock, when the board's own ran evenly too fast or too slow.

    Parameters
    ----------
    time_s
        Time by the board's clock [s], as the others.
    start
        When both still agreed: the first reading that waits.
    wrong, true
        The same moment by the board's clock and by the true one.
    """
    if wrong <= start or true <= start:  # they never agreed
        return time_s + true - wrong
    return start + (time_s - start) * (true - start) // (wrong - start)


def ntp_time(host: str, port: int = PORT, timeout_s: float = 3) -> int | None:
    """Ask a time server (RFC 5905, client mode); seconds since 1970 UTC, or None."""
    try:
        address = socket.getaddrinfo(host, port, socket.AF_INET, socket.SOCK_DGRAM)[0][-1]
        line = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    except OSError:
        return None
    try:
        line.settimeout(timeout_s)
        line.connect(address)
        line.send(b"\x23" + bytes(47))  # version 4, mode 3: client
        return read_answer(line.recv(48))
    except OSError:
        return None
    finally:
        line.close()


def read_answer(answer: bytes) -> int | None:
    """Time in an answer; None if it is no answer of a server that knows the time."""
    if len(answer) < 48 or answer[0] & 7 != 4 or answer[0] >> 6 == 3 or not 1 <= answer[1] <= 15:
        return None
    seconds = 0
    for byte in answer[40:44]:  # when the answer was sent
        seconds = seconds * 256 + byte
    if seconds == 0:
        return None
    if seconds < 2147483648:  # first half of the next era
        seconds += ERA
    true = seconds - UNIX_OF_1900
    return true if true >= EARLIEST else None
