"""Mail: encrypted, one address, no header that a name could slip in."""

from dataclasses import replace
from email.header import decode_header, make_header
from threading import enumerate as enumerate_threads

import pytest

from hilum.domain.errors import SettingsError
from hilum.keeping.watching.telling import one_line
from hilum.notify.channel import ChannelError, Message
from hilum.notify.mail import MailChannel, MailSettings
from notify.servers import FAIL, HANG, OK, REFUSE, Certificates, endless_greeting, mail_server

NOW_MS = 1_735_689_600_000
PASSWORD, OTHER = "tea caddy", "swordfish"
MESSAGE = Message("damp-1.raised.1", "raised", "Damp: Blue tub", "It is damp.\n\nClose it.\n")


def settings(port: int, certs: Certificates | None, **more: object) -> MailSettings:
    """Make settings for a server of this machine."""
    base = MailSettings(
        "localhost", "Ann <ann@example.org>", "box@example.org", port, timeout_s=0.7
    )
    return replace(base, ca_file=certs.ca_file if certs else None, **more)  # type: ignore[arg-type]


def send(made: MailSettings, message: Message = MESSAGE) -> None:
    """Send one message."""
    MailChannel(made, lambda: NOW_MS).send(message)


@pytest.mark.parametrize("tls", ["starttls", "tls"])
def test_a_letter_arrives_encrypted(certs: Certificates, tls: str) -> None:
    """Subject, text, id and date arrive; both ways to encrypt work, one with a password."""
    signs_in = {"user": "box", "password": PASSWORD} if tls == "starttls" else {}
    with mail_server(
        certs.context, implicit=not signs_in, password=signs_in.get("password")
    ) as box:
        send(settings(box.port, certs, tls=tls, **signs_in))

    (letter,) = box.letters
    assert letter["Subject"] == "Damp: Blue tub"
    assert letter["To"] == "Ann <ann@example.org>"
    assert letter["Date"] == "Wed, 01 Jan 2025 00:00:00 +0000"
    assert letter["Auto-Submitted"] == "auto-generated"
    assert letter.get_content().replace("\r", "").strip() == "It is damp.\n\nClose it."
    assert box.ids == ["damp-1.raised.1"]
    assert box.recipients == ["ann@example.org"]


def test_a_second_attempt_has_the_same_id(certs: Certificates) -> None:
    """A repeated letter can be told by its Message-ID."""
    with mail_server(certs.context) as box:
        for _ in range(2):
            send(settings(box.port, certs))
    assert len({letter["Message-ID"] for letter in box.letters}) == 1


@pytest.mark.parametrize(
    ("mood", "words"),
    [(FAIL, r"refused the message \(451\)"), (REFUSE, r"refused the message \(554\)"),
     (HANG, "did not answer in time|broke off")],
)  # fmt: skip
def test_a_server_that_does_not_take_it(certs: Certificates, mood: str, words: str) -> None:
    """A refusal and silence are failures with a reason."""
    with (
        mail_server(certs.context, [mood]) as box,
        pytest.raises(ChannelError, match=words),
    ):
        send(settings(box.port, certs))
    assert box.letters == []


def test_an_answer_without_end_ends_at_the_deadline() -> None:
    """The server would greet for 20 s, and each line comes well within the 0.7 s of a step."""
    with (
        endless_greeting() as port,
        pytest.raises(ChannelError, match="did not answer in time"),
    ):
        send(settings(port, None, whole_s=0.5))
    (sending,) = [each for each in enumerate_threads() if each.name == "hilum-mail"]
    assert sending.daemon  # it keeps nobody from leaving


def test_a_wrong_password_is_said_but_not_shown(certs: Certificates) -> None:
    """The error names the matter, and neither name nor password."""
    with (
        mail_server(certs.context, password=PASSWORD) as box,
        pytest.raises(ChannelError, match="refused the name or password") as caught,
    ):
        send(settings(box.port, certs, user="box", password=OTHER))
    assert OTHER not in str(caught.value)
    assert OTHER not in repr(settings(1, None, password=OTHER))


def test_nothing_is_sent_in_the_clear(certs: Certificates) -> None:
    """A server without STARTTLS gets no letter."""
    with (
        mail_server(certs.context, encrypts=False) as box,
        pytest.raises(ChannelError, match="offers no encryption"),
    ):
        send(settings(box.port, certs))
    assert box.letters == []


def test_a_strange_certificate_is_refused(certs: Certificates) -> None:
    """A server whose certificate nobody vouches for gets neither letter nor password."""
    with (
        mail_server(certs.context) as box,
        pytest.raises(ChannelError, match="certificate cannot be trusted"),
    ):
        send(settings(box.port, None))
    assert box.letters == []


@pytest.mark.parametrize("host", ["localhost", "no-such-host.invalid"])
def test_a_server_out_of_reach(certs: Certificates, host: str) -> None:
    """A server that is not there is said to be out of reach."""
    with mail_server(certs.context) as box:
        pass
    with pytest.raises(ChannelError, match="cannot be reached: no connection"):
        send(settings(box.port, certs, host=host))


NASTY = "Tub\r\nBcc: eve@example.org\r\n\r\n<script>\x00\u2028\u2029 \ud800 ü"


def test_a_name_slips_nothing_into_the_headers(certs: Certificates) -> None:
    """Line ends and control signs in the name of a box stay inside one subject line."""
    for subject in (NASTY, one_line(NASTY)):
        with mail_server(certs.context) as box:
            send(settings(box.port, certs), replace(MESSAGE, subject=subject, text=NASTY))
        (letter,) = box.letters
        assert letter["Bcc"] is None
        assert box.recipients == ["ann@example.org"]
        shown = str(make_header(decode_header(letter["Subject"])))
        assert shown.startswith("Tub Bcc: eve@example.org <script>")
        assert "\n" not in shown
        assert "Bcc: eve@example.org" in letter.get_content()


def test_a_long_name_is_cut(certs: Certificates) -> None:
    """A subject has at most 200 signs, and one of an alert at most 150."""
    with mail_server(certs.context) as box:
        send(settings(box.port, certs), replace(MESSAGE, subject="ü" * 5000))
    assert box.letters[0]["Subject"] == "ü" * 200
    assert len(one_line("ü" * 5000)) == 150


@pytest.mark.parametrize(
    "address",
    ["", "ann", "ann@", "@example.org", "a@b, c@d", "a@b\r\nBcc: c@d", "a b@c", "Ann <>", "<",
     "a@b@c"],
)  # fmt: skip
def test_addresses_that_cannot_be_used(address: str) -> None:
    """What is no single mail address is refused with the name of the setting."""
    with pytest.raises(SettingsError, match="“mail_to” holds no mail address"):
        MailChannel(MailSettings("h", address, "box@example.org"), lambda: NOW_MS)
    with pytest.raises(SettingsError, match="“mail_from” holds no mail address"):
        MailChannel(MailSettings("h", "box@example.org", address), lambda: NOW_MS)
    assert OK not in address
