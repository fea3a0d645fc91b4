"""What a channel is: something that can be handed a message, or says why it cannot."""

from dataclasses import dataclass
from typing import Protocol

from hilum.domain.alerts import Notice
from hilum.domain.errors import HilumError


class ChannelError(HilumError):
    """A message could not be handed over; the text says why, without any secret."""


@dataclass(frozen=True, slots=True)
class Message:
    """What is handed to a channel.

    ``id`` is the same at every attempt, also after a crash: what gets a message twice can tell by
    it. ``topic`` is where it is filed: ``alerts/<id>`` or ``digest``.
    """

    id: str
    step: str
    subject: str
    text: str
    data: tuple[tuple[str, float | str | None], ...] = ()
    alert: str | None = None
    urgent: bool = False


class Channel(Protocol):
    """One way to tell."""

    @property
    def name(self) -> str:
        """Name in lists and in the database; holds no secret."""
        ...

    def send(self, message: Message) -> None:
        """Hand a message over; returns once it is accepted, else raises ``ChannelError``."""
        ...


def message_of(notice: Notice) -> Message:
    """Give what is sent of a notice."""
    return Message(
        notice.key,
        notice.step,
        notice.subject,
        notice.text,
        notice.data,
        notice.alert,
        notice.urgent,
    )
