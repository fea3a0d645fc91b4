"""A small place that is guarded by a password, and everybody who might come to it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from argon2 import PasswordHasher
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.access import Scope
from hilum.domain.model import MS_PER_DAY, Box, BoxType, Lot, Reading, Stay, Wrap
from hilum.domain.ports import Store
from hilum.keeping.access import begin_session, digest_of, give
from hilum.stores.memory import MemoryStore
from hilum.web.app import create_app
from hilum.web.live import LiveHub
from hilum.web.parts import Doors, IngestStatus, Taken, WebParts, WebSettings
from web.small_world import NOW_MS, FixedClock

PASSWORD = "drawer tub jar onion"  # noqa: S105 - of the small place
FIRST_KEY = "first-key"
FORM_TOKEN = "f" * 43
HERE = "http://localhost"
CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
"""Hashes that take no time; how dear they are stands in each hash."""


def taken_in(sensor: str, payload: bytes) -> Taken:
    """Say that a reading was kept, unless nothing was sent."""
    del sensor
    return Taken(1, 0, ()) if payload else Taken(0, 0, (("json", "There is nothing in it."),))


def little_store() -> Store:
    """A box with a lot in it: enough for pages to answer, and quick to make."""
    store = MemoryStore()
    store.save_box(Box("drawer", "Card drawer", BoxType.DRAWER))
    store.save_lot(Lot("L-0001", "onion"))
    store.add_stay(Stay(0, "L-0001", "drawer", Wrap.PAPER, NOW_MS - MS_PER_DAY))
    store.add([Reading("saltmarsh-lane/one", NOW_MS - 60_000, 18.0, 40.0)], NOW_MS)
    return store


def small_place(*, password: bool = True, local: bool = True) -> WebParts:
    """Parts of the small place, with or without a password."""
    store = little_store()
    if password:
        store.set_password_hash(CHEAP.hash(PASSWORD))
    return WebParts(
        store=store,
        clock=FixedClock(),
        live=LiveHub(),
        ingest_status=lambda: IngestStatus(connected=True, broker="127.0.0.1:1883"),
        settings=WebSettings(site="saltmarsh-lane", time_zone="Europe/Brussels"),
        doors=Doors(local=local, first_key=digest_of(FIRST_KEY)),
        ingest_http=taken_in,
        sheets=lambda: Sheets(store, FixedClock(), "Europe/Brussels"),
    )


def client_of(parts: WebParts, base: str = HERE) -> TestClient:
    """Ask the application without a network; errors are answers, redirects are not followed."""
    return TestClient(
        create_app(parts), base, raise_server_exceptions=False, follow_redirects=False
    )


@dataclass(frozen=True)
class Visitor:
    """What somebody brings along."""

    headers: Mapping[str, str]
    cookies: Mapping[str, str]


def bearer(key: str) -> Visitor:
    """Someone with a token."""
    return Visitor({"authorization": f"Bearer {key}"}, {})


def owner(parts: WebParts) -> Visitor:
    """The owner, signed in."""
    return Visitor({}, {"hilum_session": begin_session(parts.store, NOW_MS)})


def visitors(parts: WebParts) -> dict[str, Visitor]:
    """Everybody there is, by name."""
    store, found = parts.store, {"nobody": Visitor({}, {}), "owner": owner(parts)}
    for name, scope, sensor in (
        ("share", Scope.SHARE, ""),
        ("read", Scope.READ, ""),
        ("ingest", Scope.INGEST, "home/tub-1"),
    ):
        _, key = give(store, scope, name, NOW_MS, sensor=sensor)
        gone, gone_key = give(store, scope, f"{name} withdrawn", NOW_MS, sensor=sensor)
        store.withdraw_grant(gone.id, NOW_MS)
        for title, each in ((name, key), (f"{name} withdrawn", gone_key)):
            cookie = Visitor({}, {"hilum_share": each})
            found[title] = cookie if scope is Scope.SHARE else bearer(each)
    return found


def with_form(visitor: Visitor) -> Visitor:
    """The same visitor, with the cookie that belongs to ``FORM_TOKEN``."""
    return replace(visitor, cookies={**visitor.cookies, "hilum_form": FORM_TOKEN})


def cookie_header(visitor: Visitor) -> dict[str, str]:
    """Headers of a visitor, cookies among them."""
    pairs = "; ".join(f"{name}={value}" for name, value in visitor.cookies.items())
    return {**visitor.headers, **({"cookie": pairs} if pairs else {})}
