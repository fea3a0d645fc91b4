"""Tells by a push service, one of the many that apprise knows (extra ``push``)."""

import logging
from typing import Any

from hilum.domain.errors import PartMissingError, SettingsError
from hilum.notify.channel import ChannelError, Message


class PushChannel:
    """One push service.

    The library is loaded on first use, since it is large.

    Parameters
    ----------
    url : str
        Address as apprise writes it; holds secrets and so never shows.
    name : str
        Name of the channel.
    """

    def __init__(self, url: str, name: str = "push-1") -> None:
        self.name = name
        self._url = url
        self._target: Any = None

    def __repr__(self) -> str:
        return f"PushChannel({self.name!r})"

    def send(self, message: Message) -> None:
        """See the port. A push service cannot tell a repeated message by its id."""
        target = self._loaded()
        try:
            done = target.notify(title=message.subject, body=message.text)
        except Exception as error:  # noqa: BLE001 - whatever a plugin raises
            words = f"The push service failed ({type(error).__name__})."
            raise ChannelError(words) from None  # its own text may hold the address
        if not done:
            raise ChannelError("The push service did not take the message.")

    def _loaded(self) -> Any:  # noqa: ANN401 - a foreign object that stays in here
        if self._target is None:
            try:
                import apprise  # noqa: PLC0415 - large; only where push is set
            except ImportError as error:
                raise PartMissingError(
                    "Push services need an optional part. Where Hilum was installed from, with "
                    "its pip: pip install '.[push]'"
                ) from error
            logging.getLogger("apprise").setLevel(logging.CRITICAL + 1)  # it logs addresses
            target = apprise.Apprise()
            if not target.add(self._url):
                raise SettingsError("A push address is none that the push library knows.")
            self._target = target
        return self._target
