"""Tells by e-mail, over an encrypted connection."""

import smtplib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path
from queue import Empty, Queue
from threading import Thread
from typing import Literal

from hilum.domain.errors import SettingsError
from hilum.notify.channel import ChannelError, Message
from hilum.notify.tls import tls_context

TIMEOUT_S = 20.0
WHOLE_S = 60.0
"""Sending ends after so long, whatever trickles in: a wait between two lines bounds nothing."""

LATE = "The mail server did not answer in time."
LONGEST_SUBJECT = 200


@dataclass(frozen=True, slots=True)
class MailSettings:
    """The mail server, and who writes to whom.

    ``tls``: "starttls" begins in the clear and is encrypted before anything is said (port 587),
    "tls" is encrypted from the first byte on (port 465).
    """

    host: str
    to: str
    sender: str
    port: int = 587
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: Literal["starttls", "tls"] = "starttls"
    site: str = "home"
    ca_file: Path | None = None
    timeout_s: float = TIMEOUT_S  # of each step
    whole_s: float = WHOLE_S


class MailChannel:
    """Mail to one address.

    Parameters
    ----------
    settings : MailSettings
        Server and addresses.
    now_ms : callable
        Tells the time for the header.
    name : str
        Name of the channel.

    Raises
    ------
    SettingsError
        An address cannot be used.
    """

    def __init__(
        self, settings: MailSettings, now_ms: Callable[[], int], name: str = "mail"
    ) -> None:
        self.name = name
        self._settings = settings
        self._now_ms = now_ms
        self._tls = tls_context(settings.ca_file)
        self._to = _address(settings.to, "mail_to")
        self._sender = _address(settings.sender, "mail_from")

    def send(self, message: Message) -> None:
        """See the port.

        The letter goes out in a thread of its own, which is left to itself at the deadline: the
        library bounds no call as a whole. Should it get through after all, the same Message-ID
        tells the two apart.
        """
        letter, ended = self._letter(message), Queue[BaseException | None]()

        def work() -> None:
            try:
                self._deliver(letter)
            except BaseException as error:  # noqa: BLE001 - raised again below
                ended.put(error)
            else:
                ended.put(None)

        Thread(target=work, name="hilum-mail", daemon=True).start()
        try:
            problem = ended.get(timeout=self._settings.whole_s)
        except Empty as error:
            raise ChannelError(LATE) from error
        if problem is not None:
            raise problem

    def _deliver(self, letter: EmailMessage) -> None:
        try:
            server = self._connect()
            try:
                if self._settings.user:
                    server.login(self._settings.user, self._settings.password or "")
                server.send_message(letter, self._sender.addr_spec, [self._to.addr_spec])
            finally:
                _leave(server)
        except smtplib.SMTPException as error:
            raise ChannelError(_in_words(error)) from error
        except TimeoutError as error:
            raise ChannelError(LATE) from error
        except (OSError, UnicodeError) as error:
            words = "its certificate cannot be trusted" if "CERT" in str(error) else "no connection"
            raise ChannelError(f"The mail server cannot be reached: {words}.") from error

    def _connect(self) -> smtplib.SMTP:
        settings = self._settings
        where = (settings.host, settings.port)
        if settings.tls == "tls":
            return smtplib.SMTP_SSL(*where, timeout=settings.timeout_s, context=self._tls)
        server = smtplib.SMTP(*where, timeout=settings.timeout_s)
        try:
            server.starttls(context=self._tls)
        except BaseException:
            server.close()
            raise
        return server

    def _letter(self, message: Message) -> EmailMessage:
        letter = EmailMessage()
        letter["From"] = self._sender
        letter["To"] = self._to
        letter["Subject"] = header(message.subject)
        letter["Date"] = format_datetime(datetime.fromtimestamp(self._now_ms() / 1000, UTC))
        letter["Message-ID"] = f"<{message.id}@{self._settings.site}.hilum.invalid>"
        letter["Auto-Submitted"] = "auto-generated"  # RFC 3834: no one answers by machine
        letter.set_content(message.text.encode("utf-8", "replace").decode())
        return letter


def _leave(server: smtplib.SMTP) -> None:
    """Say goodbye; how the server takes that no longer matters to the letter."""
    with suppress(smtplib.SMTPException, OSError):
        server.quit()
    server.close()


def header(text: str) -> str:
    """Make a text safe for a header: one line, printable."""
    shown = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(shown.encode("utf-8", "replace").decode().split())[:LONGEST_SUBJECT]


def _address(text: str, setting: str) -> Address:
    """Read one mail address, with or without a name before it in <…>."""
    display, addr = "", text.strip()
    if addr.endswith(">") and "<" in addr:
        display, addr = addr[:-1].rsplit("<", 1)
    words = f"The setting “{setting}” holds no mail address."
    if not text.isprintable() or "," in addr:
        raise SettingsError(words)
    try:
        address = Address(header(display.strip(' "')), addr_spec=addr.strip())
    except (ValueError, IndexError, MessageError) as error:
        raise SettingsError(words) from error
    if not address.username or not address.domain:
        raise SettingsError(words)
    return address


def _in_words(error: smtplib.SMTPException) -> str:
    """Say what the server did, without what it was told."""
    code = getattr(error, "smtp_code", None)
    number = f" ({code})" if code else ""
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return f"The mail server refused the name or password{number}."
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return "The mail server refused the address of the recipient."
    if isinstance(error, smtplib.SMTPSenderRefused):
        return f"The mail server refused the address of the sender{number}."
    if isinstance(error, smtplib.SMTPNotSupportedError):
        return "The mail server offers no encryption (STARTTLS) or no sign-in."
    if isinstance(error, smtplib.SMTPServerDisconnected):
        return "The mail server broke off the connection."
    return f"The mail server refused the message{number}."
