"""Signing in and out, sessions, the first password, shared links, and how often one may try."""

import logging

import pytest
from starlette.testclient import TestClient

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR
from hilum.keeping.access import IDLE_MS, MOST_MS, digest_of
from hilum.web.guard import passwords
from hilum.web.guard.throttle import ALL_IN_A_MINUTE, FREE, MINUTE_MS, Buckets, Tries
from hilum.web.parts import WebParts
from web.elements import parse
from web.guarded import FIRST_KEY, HERE, PASSWORD, client_of, small_place
from web.sending import form_on, send
from web.small_world import NOW_MS, FixedClock


@pytest.fixture
def place() -> WebParts:
    """The small place with a password."""
    return small_place()


def sign_in(client: TestClient, password: str = PASSWORD, status: int = 303) -> None:
    """Sign in by the form of the page."""
    send(client, "/sign-in", status, password=password)


def at(parts: WebParts, now_ms: int) -> None:
    """Set the clock of the place."""
    assert isinstance(parts.clock, FixedClock)
    parts.clock.now = now_ms


def test_owner_signs_in_and_comes_back_to_the_page_asked_for(place: WebParts) -> None:
    """Who is not signed in gets the form, and after it the page with all of its address."""
    client = client_of(place)
    answer = client.get("/lots?q=e&order=kind")
    assert answer.status_code == 303
    asked = answer.headers["location"]
    send(client, asked, 401, action="/sign-in", password=PASSWORD[:-1])
    form = form_on(client, asked, "/sign-in")
    data = {each.attrs["name"]: each.attrs.get("value", "") for each in form.all("input")}
    answer = client.post("/sign-in", data={**data, "password": PASSWORD})
    assert answer.headers["location"] == "/lots?q=e&order=kind"
    assert client.get("/lots?q=e").status_code == 200


def test_a_session_is_kept_as_a_digest(place: WebParts) -> None:
    """What the browser holds is nowhere in the store."""
    client = client_of(place)
    sign_in(client)
    key = client.cookies["hilum_session"]
    assert len(key) == 43  # 256 bits in base64
    assert place.store.session(key) is None
    assert place.store.session(digest_of(key)) is not None


def test_a_session_ends_when_it_is_not_used(place: WebParts) -> None:
    """Use within a week keeps it; a week without use ends it."""
    client = client_of(place)
    sign_in(client)
    at(place, NOW_MS + IDLE_MS - 1)
    assert client.get("/").status_code == 200
    at(place, NOW_MS + 2 * IDLE_MS - 2)
    assert client.get("/").status_code == 200
    at(place, NOW_MS + 3 * IDLE_MS)
    assert client.get("/").status_code == 303


def test_a_session_ends_after_a_month_in_any_case(place: WebParts) -> None:
    """Using it every day does not keep it for ever."""
    client = client_of(place)
    sign_in(client)
    for day in range(30):
        at(place, NOW_MS + day * MS_PER_DAY)
        assert client.get("/").status_code == 200, day
    at(place, NOW_MS + MOST_MS)
    assert client.get("/").status_code == 303


def test_use_is_noted_once_an_hour(place: WebParts) -> None:
    """Looking at pages does not write to the database each time."""
    client = client_of(place)
    sign_in(client)
    digest = digest_of(client.cookies["hilum_session"])
    for later_ms, noted_ms in ((MS_PER_HOUR - 1, 0), (MS_PER_HOUR, MS_PER_HOUR)):
        at(place, NOW_MS + later_ms)
        client.get("/")
        session = place.store.session(digest)
        assert session is not None
        assert session.used_ms == NOW_MS + noted_ms


def test_signing_out_ends_the_session_itself(place: WebParts) -> None:
    """The key that was in the cookie opens nothing any more, wherever it was copied to."""
    client = client_of(place)
    sign_in(client)
    key = client.cookies["hilum_session"]
    send(client, "/access", 303, action="/access/sign-out")
    assert "hilum_session" not in client.cookies
    other = client_of(place)
    assert other.get("/", headers={"cookie": f"hilum_session={key}"}).status_code == 303


@pytest.mark.parametrize("how", ["everywhere", "password"])
def test_other_browsers_are_signed_out(place: WebParts, how: str) -> None:
    """“Everywhere” means it, and another password does the same."""
    here, there = client_of(place), client_of(place)
    sign_in(here)
    sign_in(there)
    if how == "everywhere":
        send(here, "/access", 303, action="/access/sign-out-everywhere")
        assert here.get("/").status_code == 303
    else:
        new = "sachet gasket lid moss"
        typed = {"old": PASSWORD, "password": new, "again": new}
        send(here, "/access", 303, action="/access/password", **typed)
        assert here.get("/").status_code == 200
    assert there.get("/").status_code == 303


def test_another_password_needs_the_old_one(place: WebParts) -> None:
    """Somebody at an open browser cannot lock the owner out."""
    client = client_of(place)
    sign_in(client)
    kept = place.store.password_hash()
    typed = {"old": "wrong", "password": "sachet gasket lid moss"}
    send(client, "/access", 422, action="/access/password", again=typed["password"], **typed)
    assert place.store.password_hash() == kept


@pytest.mark.parametrize(
    ("password", "said"),
    [
        ("short", "12 characters"),
        ("password1234", "guessed"),
        ("123456789012", "guessed"),
        ("hilumhilumhilum", "guessed"),
        ("saltmarsh-lane", "guessed"),
        ("x" * 201, "at most 200"),
    ],
)
def test_a_password_that_can_be_guessed_is_refused(password: str, said: str) -> None:
    """Short ones, common ones, and the names of this place (ASVS 5.0, 6.2.1, 6.2.4, 6.2.11)."""
    with pytest.raises(InvalidInputError, match=said):
        passwords.check_new(password, ("saltmarsh-lane",))


def test_any_characters_make_a_password() -> None:
    """No kinds of characters are asked for; blanks and other scripts are taken."""
    for password in (PASSWORD, "кориандр лук море", "vmkwpzrtqhxj"):
        passwords.check_new(password)


def test_passwords_are_hashed_with_argon2id() -> None:
    """With 64 MiB and three passes or more, as RFC 9106 (4) recommends where memory is short."""
    kept = passwords.hash_of(PASSWORD)
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,")
    assert passwords.verify(kept, PASSWORD)
    assert not passwords.verify(kept, PASSWORD.upper())
    assert not passwords.verify("", PASSWORD)
    assert not passwords.verify("no hash", PASSWORD)


def test_letters_with_marks_are_the_same_from_every_device() -> None:
    """One device sends é as one character, another as two; both open."""
    kept = passwords.hash_of("caf\u00e9 tub jar onion")
    assert passwords.verify(kept, "cafe\u0301 tub jar onion")
    assert not passwords.verify(kept, "cafe tub jar onion")


def test_the_first_password_is_set_by_the_link_of_the_console() -> None:
    """Until then every page is closed; the link serves once."""
    place = small_place(password=False, local=False)
    client = client_of(place)
    assert client.get("/").status_code == 403
    assert client.get("/first-password?key=guess").status_code == 403
    typed = {"password": PASSWORD, "again": PASSWORD}
    url = f"/first-password?key={FIRST_KEY}"
    send(client, url, 422, password=PASSWORD, again="something else")
    send(client, url, 303, **typed)
    assert client.get("/").status_code == 200
    assert client_of(place).get("/").status_code == 303
    assert client.get(url).status_code == 403


def test_a_guessed_link_sets_no_password() -> None:
    """The form is refused like the page."""
    place = small_place(password=False, local=False)
    client = client_of(place)
    form = form_on(client, f"/first-password?key={FIRST_KEY}", "/first-password")
    data = {each.attrs["name"]: each.attrs.get("value", "") for each in form.all("input")}
    data |= {"key": "guess", "password": PASSWORD, "again": PASSWORD}
    assert client.post("/first-password", data=data).status_code == 403
    assert place.store.password_hash() == ""


def test_a_place_for_this_machine_alone_needs_no_password_until_one_is_set() -> None:
    """The page says so; setting one there signs this browser in and closes the rest."""
    place = small_place(password=False)
    client = client_of(place)
    page = parse(client.get("/access").text)
    assert "No password is set" in page.one(of="headline").text
    assert client.get("/sign-in?next=/lots").headers["location"] == "/lots"
    send(client, "/access", 303, action="/access/password", password=PASSWORD, again=PASSWORD)
    assert client.get("/lots").status_code == 200
    assert client_of(place).get("/lots").status_code == 303


def test_a_shared_link_looks_until_it_is_withdrawn(place: WebParts) -> None:
    """It is made on a page, shown once, opens the pages, and opens nothing once withdrawn."""
    owner, guest = client_of(place), client_of(place)
    sign_in(owner)
    typed = {"scope": "share", "name": "Neighbour"}
    page = send(owner, "/access", 200, action="/access/grant", **typed)
    link = page.one("code").text
    assert link.startswith(f"{HERE}/shared/")
    assert link not in owner.get("/access").text
    assert guest.get(link.removeprefix(HERE)).status_code == 200
    assert guest.get("/lots").status_code == 200
    assert guest.get("/lots/new").status_code == 403
    send(owner, "/access", 303, action="/access/withdraw")
    assert guest.get("/lots").status_code == 303
    assert guest.get(link.removeprefix(HERE)).status_code == 404


def test_what_is_refused_comes_back_as_it_was_typed(place: WebParts) -> None:
    """Why, and everything that was typed for the token; no password is ever sent back."""
    client = client_of(place)
    sign_in(client)
    typed = {"scope": "ingest", "name": "Shed", "sensor": "a/b/c", "days": "9"}
    page = send(client, "/access", 422, action="/access/grant", **typed)
    assert "no name of a sensor" in page.one(of="finding").text
    form = page.one("form", action="/access/grant")
    kept = {each.attrs["name"]: each.attrs["value"] for each in form.all("input", type="text")}
    assert kept == {"name": "Shed", "sensor": "a/b/c", "days": "9"}
    assert "checked" in form.one("input", value="ingest").attrs
    page = send(
        client, "/access", 422, action="/access/password", old=PASSWORD, again=PASSWORD[:-1]
    )
    assert [e for e in page.all("input", type="password") if e.attrs.get("value")] == []
    assert place.store.grants() == []


def test_wrong_passwords_have_to_wait_longer_and_longer() -> None:
    """Five are free, then 2 s, 4 s, to a quarter of an hour; a right one forgets them."""
    tries, waits = Tries(), []
    now_ms = 0
    for _ in range(20):
        now_ms += tries.wait_ms("192.0.2.1", now_ms)
        tries.wrong("192.0.2.1", now_ms)
        waits.append(tries.wait_ms("192.0.2.1", now_ms) // 1000)
    assert waits[:8] == [0, 0, 0, 0, 2, 4, 8, 16]
    assert max(waits) == waits[-1] == 900
    assert tries.wait_ms("192.0.2.2", now_ms) == 0
    tries.right("192.0.2.1")
    assert tries.wait_ms("192.0.2.1", now_ms) == 0


def test_one_household_counts_as_one_address() -> None:
    """The addresses of a /64 are one; an IPv4 address within IPv6 is itself (RFC 4291, 2.5)."""
    tries = Tries()
    for number in range(FREE):
        tries.wrong(f"2001:db8::{number}", 0)
        tries.wrong("::ffff:192.0.2.9", 0)
    assert tries.wait_ms("2001:db8::ffff", 0) > 0
    assert tries.wait_ms("192.0.2.9", 0) > 0
    assert tries.wait_ms("2001:db8:0:1::1", 0) == 0


def test_all_addresses_together_are_bounded() -> None:
    """Many addresses that try once each are held back too, for a minute."""
    tries = Tries()
    for number in range(ALL_IN_A_MINUTE):
        tries.wrong(f"192.0.2.{number}", 1000)
    assert tries.wait_ms("198.51.100.1", 1000) == MINUTE_MS
    assert tries.wait_ms("198.51.100.1", 1000 + MINUTE_MS) == 0


def test_a_throttled_address_is_told_when_to_come_back(place: WebParts) -> None:
    """429 with the seconds, and even the right password has to wait."""
    client = client_of(place)
    for _ in range(FREE):
        sign_in(client, "wrong", 401)
    form = form_on(client, "/sign-in", "/sign-in")
    data = {each.attrs["name"]: each.attrs.get("value", "") for each in form.all("input")}
    answer = client.post("/sign-in", data={**data, "password": PASSWORD})
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "2"
    at(place, NOW_MS + 2000)
    sign_in(client)


def test_bucket_fills_again() -> None:
    """So many at once, then as they trickle in, each name for itself."""
    buckets = Buckets(3, 0.5)
    assert [buckets.take(1, 0) for _ in range(4)] == [True, True, True, False]
    assert buckets.take(2, 0)
    assert not buckets.take(1, 1999)
    assert buckets.take(1, 2000)
    assert [buckets.take(1, 3_600_000) for _ in range(4)] == [True, True, True, False]


def test_nothing_secret_is_logged(place: WebParts, caplog: pytest.LogCaptureFixture) -> None:
    """Password, session, link and tokens, right or wrong, stand in no line of the log."""
    caplog.set_level(logging.DEBUG)
    client = client_of(place)
    sign_in(client, "a wrong password", 401)
    sign_in(client)
    secrets = [PASSWORD, "a wrong password", client.cookies["hilum_session"]]
    for scope in ("share", "read"):
        page = send(client, "/access", 200, action="/access/grant", scope=scope, name="N", days="3")
        secrets.append(page.one("code").text.removeprefix(f"{HERE}/shared/"))
    client.get(f"/shared/{secrets[-2]}")
    for key in (secrets[-1], "made-up-token"):
        client.post("/api/readings", headers={"authorization": f"Bearer {key}"})
    lines = [record.getMessage() for record in caplog.records if record.name.startswith("hilum")]
    assert any("wrong password" in line for line in lines)
    assert any("password was given" in line for line in lines)
    told = "\n".join(lines).replace("A wrong password came", "")
    assert [secret for secret in [*secrets, "made-up-token"] if secret in told] == []
