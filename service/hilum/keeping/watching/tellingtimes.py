"""When people are told: quiet hours and the weekly digest, as the settings say or as set here.

What is set here holds, whatever the settings say, until it is put back.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import tzinfo

from hilum.domain.alerts import DigestTime, Notice, QuietTimes, Telling, TellingSetting
from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import Event, EventType
from hilum.domain.ports import Store
from hilum.keeping.watching.digest import digest_due_ms, digest_notices
from hilum.keeping.watching.quiet import QuietHours
from hilum.keeping.watching.telling import ChannelPlan

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def held(setting: TellingSetting, written: Telling) -> Telling:
    """Give what holds: what was set, else what the settings say."""
    return Telling(setting.quiet or written.quiet, setting.digest or written.digest)


class TellingTimes:
    """Knows at each moment when people are told; what is set counts from the next step on.

    Parameters
    ----------
    store : Store
        Holds what was set.
    written : Telling
        What the settings say.
    zone : tzinfo
        Where.
    """

    def __init__(self, store: Store, written: Telling, zone: tzinfo) -> None:
        self._store = store
        self._written = written
        self._zone = zone

    def due_ms(self, now_ms: int) -> int:
        """Give the time itself, or the end of the quiet hours it falls into."""
        quiet = held(self._store.telling(), self._written).quiet
        return QuietHours(quiet.start, quiet.end, self._zone).due_ms(now_ms)

    def digests(self, plans: Sequence[ChannelPlan], now_ms: int) -> list[Notice]:
        """Give the digest that is due, if there is one; one due before its time was set is not."""
        setting = self._store.telling()
        digest = held(setting, self._written).digest
        due_ms = digest_due_ms(now_ms, digest.weekday, digest.hour, self._zone)
        if not digest.on or due_ms < (setting.digest_set_ms or 0):
            return []
        return digest_notices(self._store, plans, now_ms, due_ms)


def quiet_words(quiet: QuietTimes) -> str:
    """Say when people are not disturbed."""
    if quiet.start == quiet.end:
        return "No quiet hours: everything is told at once."
    return f"From {quiet.start:%H:%M} to {quiet.end:%H:%M}, local time."


def digest_words(digest: DigestTime) -> str:
    """Say when the digest comes."""
    if not digest.on:
        return "Switched off."
    return f"Every {DAYS[digest.weekday]} at {digest.hour:02}:00, local time."


def set_quiet(store: Store, quiet: QuietTimes, now_ms: int) -> Event:
    """Set the quiet hours, with a line in the journal."""
    store.save_telling(replace(store.telling(), quiet=quiet))
    words = quiet_words(quiet)
    return _journal(store, f"Quiet hours were set. {words}", "set quiet hours", now_ms)


def reset_quiet(store: Store, now_ms: int) -> Event:
    """Put the quiet hours back to what the settings say, with a line in the journal.

    Raises
    ------
    NotFoundError
        They were not set here.
    """
    setting = store.telling()
    if setting.quiet is None:
        raise NotFoundError("The quiet hours are as in the settings.")
    store.save_telling(replace(setting, quiet=None))
    text = "The quiet hours are as in the settings again."
    return _journal(store, text, "reset quiet hours", now_ms)


def set_digest(store: Store, digest: DigestTime, now_ms: int) -> Event:
    """Set the weekly digest, with a line in the journal.

    Raises
    ------
    InvalidInputError
        There is no such day or hour.
    """
    if not 0 <= digest.weekday < len(DAYS):
        raise InvalidInputError("Choose a day of the week.", "weekday")
    if not 0 <= digest.hour <= 23:
        raise InvalidInputError("The hour lies between 0 and 23.", "hour")
    store.save_telling(replace(store.telling(), digest=digest, digest_set_ms=now_ms))
    text = f"The weekly digest was set. {digest_words(digest)}"
    return _journal(store, text, "set digest", now_ms)


def reset_digest(store: Store, now_ms: int) -> Event:
    """Put the digest back to what the settings say, with a line in the journal.

    Raises
    ------
    NotFoundError
        It was not set here.
    """
    setting = store.telling()
    if setting.digest is None:
        raise NotFoundError("The weekly digest is as in the settings.")
    store.save_telling(replace(setting, digest=None, digest_set_ms=now_ms))
    return _journal(store, "The weekly digest is as in the settings again.", "reset digest", now_ms)


def _journal(store: Store, text: str, action: str, now_ms: int) -> Event:
    return store.add_event(
        Event(0, now_ms, EventType.SETTING, text=text, data=(("action", action),))
    )
