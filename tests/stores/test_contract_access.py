"""Who may do what: what every store must do with it."""

from dataclasses import replace

import pytest

from hilum.domain.access import Grant, Scope, Session
from hilum.domain.errors import ConflictError, NotFoundError
from hilum.domain.ports import Store

SESSION = Session("d1", 100, 200)
GRANT = Grant(0, Scope.INGEST, "Tüb", "g1", 100, sensor="home/tub-1", until_ms=900)


def test_password_is_kept_and_ends_sessions(store: Store) -> None:
    """There is none at first; a new one ends every session."""
    assert store.password_hash() == ""
    store.set_password_hash("one", first=True)
    store.save_session(SESSION)
    store.set_password_hash("two")
    assert store.password_hash() == "two"
    assert store.session("d1") is None


def test_first_password_is_set_once(store: Store) -> None:
    """Whoever comes second with a first password is refused, and nothing ends."""
    store.set_password_hash("one", first=True)
    store.save_session(SESSION)
    with pytest.raises(ConflictError, match="a password already"):
        store.set_password_hash("two", first=True)
    assert store.password_hash() == "one"
    assert store.session("d1") == SESSION


def test_session_comes_back_until_it_is_dropped(store: Store) -> None:
    """A session is found by its digest, its last use noted, and ended once."""
    store.save_session(SESSION)
    store.touch_session("d1", 300)
    assert store.session("d1") == replace(SESSION, used_ms=300)
    store.drop_session("d1")
    store.drop_session("d1")
    assert store.session("d1") is None


def test_ended_session_cannot_be_used_back_to_life(store: Store) -> None:
    """Noting the use of a session that has just ended does nothing."""
    store.touch_session("d1", 300)
    assert store.session("d1") is None


def test_sessions_are_dropped_by_age_or_all(store: Store) -> None:
    """Those not used since a time end; without one, all do."""
    late = Session("d2", 100, 500)
    store.save_session(SESSION)
    store.save_session(late)
    store.drop_sessions(500)
    assert (store.session("d1"), store.session("d2")) == (None, late)
    store.drop_sessions()
    assert store.session("d2") is None


def test_grant_comes_back_whole(store: Store) -> None:
    """A grant is found by digest and listed in order of entry."""
    first = store.add_grant(GRANT)
    second = store.add_grant(Grant(0, Scope.SHARE, "Neighbour", "g2", 150))
    assert first == replace(GRANT, id=first.id)
    assert store.grant_by("g1") == first
    assert store.grant_by("g3") is None
    assert store.grants() == [first, second]
    store.touch_grant(second.id, 700)
    assert store.grants()[1] == replace(second, used_ms=700)


def test_grant_is_withdrawn_once_and_stays_listed(store: Store) -> None:
    """Withdrawing again does not change the time; one that is not there is an error."""
    kept = store.add_grant(GRANT)
    store.withdraw_grant(kept.id, 400)
    store.withdraw_grant(kept.id, 500)
    assert store.grants() == [replace(kept, withdrawn_ms=400)]
    with pytest.raises(NotFoundError, match="no grant"):
        store.withdraw_grant(kept.id + 1, 400)


def test_grant_holds_until_its_end() -> None:
    """A grant ends at its time, or when it is withdrawn."""
    assert GRANT.holds(899)
    assert not GRANT.holds(900)
    assert not replace(GRANT, withdrawn_ms=100).holds(200)
