"""Password, tokens and links from the command line."""

import io
from pathlib import Path

import pytest

from cli.conftest import Run
from hilum.domain.access import Scope
from hilum.keeping.access import digest_of, granted
from hilum.stores.sqlite import SqliteStore
from hilum.web.guard.passwords import verify

PASSWORD = "drawer tub jar onion"  # noqa: S105 - of an empty place


@pytest.fixture
def database(tmp_path: Path) -> Path:
    """Where the commands keep what they are told."""
    return tmp_path / "data" / "hilum.sqlite3"


def test_password_is_read_as_a_line(
    hilum: Run, database: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a keyboard it comes in as a line, and only its hash is kept."""
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{PASSWORD}\n"))
    answer = hilum("password")
    assert answer.code == 0
    assert PASSWORD not in answer.out
    store = SqliteStore.open_readonly(database)
    kept = store.password_hash()
    store.close()
    assert verify(kept, PASSWORD)
    assert PASSWORD.encode() not in database.read_bytes()


@pytest.mark.parametrize(("line", "said"), [("", "no password to read"), ("short\n", "12 char")])
def test_password_that_cannot_be_used(
    hilum: Run, monkeypatch: pytest.MonkeyPatch, line: str, said: str
) -> None:
    """Nothing, or one that is too short, is wrong use and told so."""
    monkeypatch.setattr("sys.stdin", io.StringIO(line))
    answer = hilum("password")
    assert answer.code == 2
    assert said in answer.err


def test_token_is_shown_once_and_revoked(hilum: Run, database: Path) -> None:
    """It names its sensor, is good for readings, is in no list, and opens nothing once revoked."""
    key = hilum("tokens", "add", "Shed logger", "--sensor", "shed-1").out.splitlines()[-1]
    store = SqliteStore.open_readonly(database)
    [grant] = store.grants()
    store.close()
    assert (grant.scope, grant.sensor, grant.digest) == (
        Scope.INGEST,
        "home/shed-1",
        digest_of(key),
    )
    listed = hilum("tokens", "list").out
    assert "Shed logger\tingest home/shed-1\tholds, never used" in listed
    told = hilum("tokens", "list", "--json")
    assert [token["name"] for token in told.json["tokens"]] == ["Shed logger"]
    assert key not in listed + told.out
    assert grant.digest not in listed + told.out
    assert hilum("tokens", "revoke", "1").code == 0
    assert "withdrawn" in hilum("tokens", "list").out
    store = SqliteStore(database)
    assert granted(store, key, grant.made_ms + 1) is None
    store.close()


def test_link_is_made_for_some_days_and_withdrawn(hilum: Run) -> None:
    """It is an address to pass on; tokens and links are listed apart."""
    _, link, words = hilum("share", "add", "Neighbour", "--days", "30").out.splitlines()
    assert link.startswith("http://127.0.0.1:8420/shared/")
    assert "another device" in words
    assert "Neighbour\tshare\tholds" in hilum("share", "list").out
    assert hilum("tokens", "list").out == "There are no tokens.\n"
    assert hilum("tokens", "revoke", "1").code == 3
    assert hilum("share", "withdraw", "1").code == 0
    assert "withdrawn" in hilum("share", "list").out


def test_link_leads_where_others_reach_the_pages(
    hilum: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The public address of the settings, where there is one; never a number nobody can open."""
    monkeypatch.setenv("HILUM_HOST", "0.0.0.0")  # noqa: S104 - nothing is served
    assert "http://localhost:8420/shared/" in hilum("share", "add", "Neighbour").out
    monkeypatch.setenv("HILUM_PUBLIC_URL", "https://seeds.example")
    assert "https://seeds.example/shared/" in hilum("share", "add", "Neighbour").out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("tokens", "add", "x"), "--sensor NAME, or --read"),
        (("tokens", "add", "x", "--read", "--sensor", "y"), "--sensor NAME, or --read"),
        (("tokens", "add", " ", "--read"), "needs a name"),
        (("tokens", "add", "x", "--sensor", "a/b/c"), "no name of a sensor"),
        (("tokens", "add", "x", "--sensor", "../up"), "no name of a sensor"),
    ],
)
def test_what_cannot_be_given_is_told(hilum: Run, words: tuple[str, ...], said: str) -> None:
    """Wrong use, in words."""
    answer = hilum(*words)
    assert answer.code == 2
    assert said in answer.err
