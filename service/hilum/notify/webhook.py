"""Tells by an HTTPS request with signed JSON.

Headers: ``Hilum-Message-Id`` (the same at every attempt), ``Hilum-Timestamp`` (seconds since 1970)
and, where a secret is set, ``Hilum-Signature: sha256=`` and the HMAC-SHA256 in hex, by that secret,
over the timestamp, a full stop and the body.
"""

import asyncio
import hashlib
import hmac
import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from hilum.domain.errors import SettingsError
from hilum.notify.channel import ChannelError, Message
from hilum.notify.guard import Resolve, checked_addresses, resolve
from hilum.notify.tls import tls_context

TIMEOUT_S = 10.0
WHOLE_S = 30.0
"""A call ends after so long, whatever trickles in: a wait between two bytes bounds nothing."""

AGENT = "hilum"


@dataclass(frozen=True, slots=True)
class WebhookSettings:
    """Where to, and how.

    The address often holds a secret and so does not show. ``allow_private``: it may lead into a
    private network.
    """

    url: str = field(repr=False)
    secret: str | None = field(default=None, repr=False)
    allow_private: bool = False
    ca_file: Path | None = None
    timeout_s: float = TIMEOUT_S  # of each step
    whole_s: float = WHOLE_S


class WebhookChannel:
    """One webhook.

    Parameters
    ----------
    settings : WebhookSettings
        Where to, and how.
    now_ms : callable
        Tells the time for the signature.
    lookup : callable
        Finds addresses of a host.

    Raises
    ------
    SettingsError
        The address is no HTTPS address, or the certificate file cannot be used.
    """

    name = "webhook"

    def __init__(
        self, settings: WebhookSettings, now_ms: Callable[[], int], lookup: Resolve = resolve
    ) -> None:
        self._settings = settings
        self._now_ms = now_ms
        self._lookup = lookup
        self._url = _checked_url(settings.url)
        self._host = self._url.raw_host.decode("ascii")  # names in other scripts: punycode
        self._tls = tls_context(settings.ca_file)

    def send(self, message: Message) -> None:
        """See the port; any answer but 200 to 299 is a failure, redirects are not followed."""
        allowed = self._settings.allow_private
        port = self._url.port or 443
        found = checked_addresses(self._host, port, allow_private=allowed, lookup=self._lookup)
        body = self._body(message)
        try:
            status = asyncio.run(self._call(found, body, self._headers(message, body)))
        except (httpx.TimeoutException, TimeoutError) as error:
            raise ChannelError("The webhook did not answer in time.") from error
        except httpx.ConnectError as error:
            raise ChannelError(_unreached(error)) from error
        except httpx.HTTPError as error:
            raise ChannelError(f"The webhook broke off ({type(error).__name__}).") from error
        _check(status)

    async def _call(self, found: list[str], body: bytes, headers: dict[str, str]) -> int:
        """Go through the addresses until one takes a connection; give the status it answers."""
        client = httpx.AsyncClient(
            verify=self._tls,
            timeout=self._settings.timeout_s,
            follow_redirects=False,
            trust_env=False,  # a proxy would resolve the name itself
        )
        async with asyncio.timeout(self._settings.whole_s), client:
            for address in found[:-1]:
                with suppress(httpx.ConnectError):
                    return await self._post(client, address, body, headers)
            return await self._post(client, found[-1], body, headers)

    async def _post(
        self, client: httpx.AsyncClient, address: str, body: bytes, headers: dict[str, str]
    ) -> int:
        async with client.stream(
            "POST",
            self._url.copy_with(host=address),
            content=body,
            headers=headers,
            extensions={"sni_hostname": self._host},
        ) as answer:
            return answer.status_code

    def _body(self, message: Message) -> bytes:
        content = {
            "message_id": message.id,
            "step": message.step,
            "subject": message.subject,
            "text": message.text,
            "urgent": message.urgent,
            "alert": dict(message.data) if message.alert else None,
        }
        return json.dumps(content, ensure_ascii=False, allow_nan=False).encode()

    def _headers(self, message: Message, body: bytes) -> dict[str, str]:
        stamp = str(self._now_ms() // 1000)
        headers = {
            "Host": self._url.netloc.decode("ascii"),
            "Content-Type": "application/json",
            "User-Agent": AGENT,
            "Hilum-Message-Id": message.id,
            "Hilum-Timestamp": stamp,
        }
        if self._settings.secret:
            headers["Hilum-Signature"] = signature(self._settings.secret, stamp, body)
        return headers


def signature(secret: str, stamp: str, body: bytes) -> str:
    """Sign a body: HMAC-SHA256 (RFC 2104) over timestamp, full stop and body, in hex."""
    signed = f"{stamp}.".encode() + body
    return "sha256=" + hmac.new(secret.encode(), signed, hashlib.sha256).hexdigest()


def _checked_url(text: str) -> httpx.URL:
    """Refuse what is no plain HTTPS address; the address itself is not repeated."""
    try:
        url = httpx.URL(text)
    except (httpx.InvalidURL, ValueError) as error:
        raise SettingsError("The address of the webhook cannot be read.") from error
    if url.scheme != "https" or not url.host or not 0 < (url.port or 443) < 65_536:
        raise SettingsError("The address of the webhook must begin with https:// and name a host.")
    if url.userinfo:
        raise SettingsError(
            "The address of the webhook holds a name or password; set webhook_secret instead."
        )
    return url.copy_with(fragment=None)


def _check(status: int) -> None:
    if 300 <= status < 400:
        raise ChannelError(
            f"The webhook sent us elsewhere (status {status}); redirects are not followed. Set the "
            "final address."
        )
    if not 200 <= status < 300:
        raise ChannelError(f"The webhook refused the message (status {status}).")


def _unreached(error: httpx.ConnectError) -> str:
    if "CERTIFICATE" in str(error).upper():
        return "The certificate of the webhook's host cannot be trusted."
    return "The webhook cannot be reached."
