"""What the broker says about devices it turns away, in its own log. Pure.

Mosquitto publishes its log under ``$SYS/broker/log`` where its configuration says ``log_dest
topic``. Without that, a device with a wrong password or certificate is heard of nowhere but in the
broker's file. The lines were read from Mosquitto 2.0.11; a line of another wording is passed over.
"""

import re
from dataclasses import dataclass

STAMP = re.compile(r"\d+: ")
OPENED = re.compile(r"New connection from (\S+):\d+ on port \d+\.")
LET_IN = re.compile(
    r"New client connected from (\S+):\d+ as .+ \(p\d+, c\d+, k\d+, u'([^'\x00-\x1f]{1,64})'\)\."
)
REFUSED = re.compile(r"Client .+ disconnected[,:] not authorised\.")
BROKEN_TLS = re.compile(r"Client connection from (\S+) failed: (.{1,200})\.")

WRONG_PASSWORD = "Its name or password is wrong."  # noqa: S105 - words
TLS_WORDS = (
    ("certificate expired", "A certificate has expired, the broker's or its own."),
    ("certificate has expired", "Its certificate has expired."),
    ("unknown ca", "It does not trust the broker's certificate: it needs the file ca.der."),
    ("bad certificate", "It does not take the broker's certificate; is it for that name?"),
    ("certificate verify failed", "Its certificate cannot be trusted, or has expired."),
    ("peer did not return a certificate", "It showed no certificate of its own."),
    ("wrong version number", "It does not speak TLS on the port for TLS."),
    ("http request", "It does not speak TLS on the port for TLS."),
)
NO_TLS = "The encrypted connection could not be made ({reason})."
UNKNOWN = "an unknown address"


@dataclass(frozen=True, slots=True)
class TurnedAway:
    """A device the broker did not let in."""

    address: str
    why: str


@dataclass(frozen=True, slots=True)
class LetIn:
    """A device that signed in."""

    address: str
    user: str


class Listening:
    """Reads the lines in order, since one says from where and the next that it came to nothing."""

    def __init__(self) -> None:
        self._opened = UNKNOWN

    def read(self, line: str) -> TurnedAway | LetIn | None:
        """Give what a line means for a device, if anything."""
        text = STAMP.sub("", line, count=1) if STAMP.match(line) else line
        opened, self._opened = self._opened, UNKNOWN
        if found := OPENED.fullmatch(text):
            self._opened = found[1]
        elif found := LET_IN.fullmatch(text):
            return LetIn(found[1], found[2])
        elif REFUSED.fullmatch(text):
            return TurnedAway(opened, WRONG_PASSWORD)
        elif found := BROKEN_TLS.fullmatch(text):
            words = _tls_words(found[2])
            return TurnedAway(found[1], words) if words else None
        return None


def _tls_words(reason: str) -> str:
    """Say what is wrong; nothing where the connection was merely lost in between."""
    for part, words in TLS_WORDS:
        if part in reason:
            return words
    return NO_TLS.format(reason=reason.rpartition(":")[2].strip()) if "alert" in reason else ""
