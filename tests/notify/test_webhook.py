"""The webhook: what is sent, how it is signed, and where it never goes."""

import hashlib
import hmac
import json
from pathlib import Path

import httpx
import pytest
import respx

from hilum.domain.errors import SettingsError
from hilum.notify.channel import ChannelError, Message
from hilum.notify.webhook import WebhookChannel, WebhookSettings, signature
from notify.servers import (
    AWAY,
    FAIL,
    HANG,
    OK,
    REFUSE,
    TRICKLE,
    Certificates,
    certificates,
    hook_server,
)

SECRET = "sword fish"  # noqa: S105 - of the tests
NOW_MS = 1_735_689_600_123
MESSAGE = Message(
    "damp-1.raised.1", "raised", "Damp", "It is “damp”.", (("value", 41.5),), "damp-1"
)


def channel(url: str, **more: object) -> WebhookChannel:
    """Make a channel that may lead to this machine."""
    settings = WebhookSettings(url, **{"allow_private": True, "timeout_s": 0.5, **more})  # type: ignore[arg-type]
    return WebhookChannel(settings, lambda: NOW_MS)


def public(url: str, *addresses: str, **more: object) -> WebhookChannel:
    """Make a channel whose host resolves to these addresses."""
    settings = WebhookSettings(url, **more)  # type: ignore[arg-type]
    return WebhookChannel(settings, lambda: NOW_MS, lambda _host, _port: list(addresses))


def test_a_message_arrives_signed(certs: Certificates) -> None:
    """The body is JSON with units and the id; the signature is HMAC-SHA256 over time and body."""
    with hook_server(certs.context) as hook:
        channel(hook.url, secret=SECRET, ca_file=certs.ca_file).send(MESSAGE)

    ((headers, body),) = hook.requests
    assert hook.paths == ["/hook"]
    assert headers["host"] == f"localhost:{hook.port}"
    assert headers["hilum-message-id"] == "damp-1.raised.1"
    assert headers["hilum-timestamp"] == "1735689600"
    wanted = hmac.new(SECRET.encode(), b"1735689600." + body, hashlib.sha256).hexdigest()
    assert headers["hilum-signature"] == f"sha256={wanted}"
    assert json.loads(body) == {
        "message_id": "damp-1.raised.1",
        "step": "raised",
        "subject": "Damp",
        "text": "It is “damp”.",
        "urgent": False,
        "alert": {"value": 41.5},
    }


def test_signature_of_a_known_case() -> None:
    """RFC 4231, test case 2: key "Jefe", data "what do ya want for nothing?"."""
    plain = hmac.new(b"Jefe", b"what do ya want for nothing?", hashlib.sha256).hexdigest()
    assert plain == "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    joined = hmac.new(b"Jefe", b"17.what", hashlib.sha256).hexdigest()
    assert signature("Jefe", "17", b"what") == f"sha256={joined}"


def test_without_a_secret_nothing_is_signed(certs: Certificates) -> None:
    """No secret, no signature."""
    with hook_server(certs.context) as hook:
        channel(hook.url, ca_file=certs.ca_file).send(MESSAGE)
    assert "hilum-signature" not in hook.requests[0][0]


@pytest.mark.parametrize(
    ("mood", "words"),
    [
        (FAIL, r"refused the message \(status 503\)"),
        (HANG, "did not answer in time"),
        (REFUSE, "broke off"),
        (AWAY, "redirects are not followed"),
    ],
)
def test_a_server_that_does_not_take_it(certs: Certificates, mood: str, words: str) -> None:
    """Errors, silence, a closed door and redirects are failures, and asked once only."""
    with hook_server(certs.context, [mood]) as hook:
        with pytest.raises(ChannelError, match=words) as caught:
            channel(hook.url, ca_file=certs.ca_file).send(MESSAGE)
        assert hook.seen == 1
    assert hook.url not in str(caught.value)


def test_an_answer_byte_by_byte_ends_at_the_deadline(certs: Certificates) -> None:
    """No wait between two bytes is too long, and the answer never ends: the whole call does.

    The server would go on for 20 s, and each byte comes well within the 0.5 s of a step.
    """
    with hook_server(certs.context, [TRICKLE, OK]) as hook:
        slow = channel(hook.url, ca_file=certs.ca_file, whole_s=0.8)
        with pytest.raises(ChannelError, match="did not answer in time"):
            slow.send(MESSAGE)
        slow.send(MESSAGE)
        assert hook.ids == [MESSAGE.id]


def test_nobody_listens(certs: Certificates) -> None:
    """A port without a server is said to be out of reach."""
    with hook_server(certs.context) as hook:
        pass
    with pytest.raises(ChannelError, match="cannot be reached"):
        channel(hook.url, ca_file=certs.ca_file).send(MESSAGE)


def test_a_strange_certificate_is_refused(certs: Certificates, tmp_path: Path) -> None:
    """A certificate of another authority, or for another name, ends the connection."""
    untrusted = pytest.raises(ChannelError, match=r"certificate .* cannot be trusted")
    with hook_server(certs.context) as hook, untrusted:
        channel(hook.url).send(MESSAGE)
    other = certificates(tmp_path, "elsewhere.example")
    with hook_server(other.context) as hook, untrusted:
        channel(hook.url, ca_file=other.ca_file).send(MESSAGE)
    assert hook.requests == []


def test_the_name_is_checked_although_the_address_is_dialled(tmp_path: Path) -> None:
    """The connection goes to the address that was checked; the certificate must fit the name."""
    certs = certificates(tmp_path, "hooks.example")
    asked = []

    def lookup(host: str, port: int) -> list[str]:
        asked.append((host, port))
        return ["127.0.0.1"] if len(asked) == 1 else ["8.8.8.8"]

    with hook_server(certs.context) as hook:
        url = f"https://hooks.example:{hook.port}/a?b=c"
        settings = WebhookSettings(url, allow_private=True, ca_file=certs.ca_file, timeout_s=2)
        WebhookChannel(settings, lambda: NOW_MS, lookup).send(MESSAGE)
    assert asked == [("hooks.example", hook.port)]  # once: no second answer can slip in
    assert hook.requests[0][0]["host"] == f"hooks.example:{hook.port}"
    assert hook.paths == ["/a?b=c"]


def test_a_name_that_changes_its_answer_gains_nothing() -> None:
    """DNS rebinding: a public answer first is what is dialled; a private answer is refused."""
    answers = [["93.184.215.14"], ["127.0.0.1"]]
    settings = WebhookSettings("https://rebind.example/")
    target = WebhookChannel(settings, lambda: NOW_MS, lambda _host, _port: answers.pop(0))
    with respx.mock(assert_all_called=True) as router:
        route = router.post("https://93.184.215.14/").respond(200)
        target.send(MESSAGE)
        request = route.calls[0].request
        assert request.headers["host"] == "rebind.example"
        assert request.extensions["sni_hostname"] == "rebind.example"
        with pytest.raises(ChannelError, match="not on the public internet"):
            target.send(MESSAGE)
        assert route.call_count == 1


@pytest.mark.parametrize("address", ["10.0.0.1", "::ffff:127.0.0.1", "fe80::1", "64:ff9b::7f00:1"])
def test_private_addresses_are_never_dialled(address: str) -> None:
    """A host that resolves into a private network gets no connection."""
    with respx.mock(assert_all_called=False) as router:
        anything = router.route().respond(200)
        with pytest.raises(ChannelError, match="webhook_allow_private"):
            public("https://hooks.example/", "8.8.8.8", address).send(MESSAGE)
        assert anything.call_count == 0


def test_the_next_address_is_tried() -> None:
    """Where the first address takes no connection, the second one gets the message."""
    with respx.mock as router:
        router.post("https://[2606:4700:4700::1111]:8443/").mock(side_effect=httpx.ConnectError)
        second = router.post("https://93.184.215.14:8443/").respond(202)
        public("https://h.example:8443/", "2606:4700:4700::1111", "93.184.215.14").send(MESSAGE)
        assert second.call_count == 1


@pytest.mark.parametrize("status", [199, 301, 307, 400, 404, 429, 500])
def test_only_success_counts(status: int) -> None:
    """Every status but 200 to 299 is a failure that names the status."""
    with respx.mock as router:
        router.post("https://93.184.215.14/").respond(status)
        with pytest.raises(ChannelError, match=str(status)):
            public("https://h.example/", "93.184.215.14").send(MESSAGE)


def test_a_proxy_of_the_environment_is_not_used(monkeypatch: pytest.MonkeyPatch) -> None:
    """A proxy would look up the name itself, past the check."""
    monkeypatch.setenv("HTTPS_PROXY", "http://127.0.0.1:9")
    monkeypatch.setenv("ALL_PROXY", "http://127.0.0.1:9")
    with respx.mock as router:
        router.post("https://93.184.215.14/").respond(200)
        public("https://h.example/", "93.184.215.14").send(MESSAGE)


@pytest.mark.parametrize(
    "url",
    ["http://h.example/", "ftp://h.example/", "h.example", "https://", "https://h:99999/", "",
     "https://user:pw@h.example/", "https://h.example:x/", "file:///etc/passwd", "https://\n/"],
)  # fmt: skip
def test_addresses_that_cannot_be_used(url: str) -> None:
    """Anything but an https address without a password in it is refused, without repeating it."""
    with pytest.raises(SettingsError) as caught:
        channel(url)
    assert "pw" not in str(caught.value)


def test_a_missing_certificate_file_is_said(tmp_path: Path) -> None:
    """A certificate file that is not there is named."""
    with pytest.raises(SettingsError, match=r"gone\.pem"):
        channel("https://h.example/", ca_file=tmp_path / "gone.pem")


def test_secrets_do_not_show(caplog: pytest.LogCaptureFixture) -> None:
    """Neither the address nor the secret stands in a text form, an error or the log."""
    caplog.set_level("DEBUG")
    settings = WebhookSettings("https://h.example/tea-caddy", secret=SECRET, timeout_s=1)
    target = WebhookChannel(settings, lambda: NOW_MS, lambda _host, _port: ["10.0.0.1"])
    with pytest.raises(ChannelError) as caught:
        target.send(MESSAGE)
    for text in (repr(settings), repr(target), str(caught.value), caplog.text):
        assert "caddy" not in text
        assert SECRET not in text
    assert OK not in {FAIL, HANG}
