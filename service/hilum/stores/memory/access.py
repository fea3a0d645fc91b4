"""Who may do what, in memory."""

from collections.abc import Sequence
from dataclasses import replace

from hilum.domain.access import Grant, Session
from hilum.stores import rules
from hilum.stores.memory.state import State, found


class AccessSection:
    """The owner's password and sessions, tokens and shared links."""

    _state: State

    def password_hash(self) -> str:
        """See the port."""
        with self._state.held():
            return self._state.password_hash

    def set_password_hash(self, text: str, *, first: bool = False) -> None:
        """See the port."""
        with self._state.held():
            if first and self._state.password_hash:
                raise rules.has_password()
            self._state.password_hash = text
            self._state.sessions.clear()

    def session(self, digest: str) -> Session | None:
        """See the port."""
        with self._state.held():
            return self._state.sessions.get(digest)

    def save_session(self, session: Session) -> None:
        """See the port."""
        with self._state.held():
            self._state.sessions[session.digest] = session

    def touch_session(self, digest: str, used_ms: int) -> None:
        """See the port."""
        with self._state.held():
            if kept := self._state.sessions.get(digest):
                self._state.sessions[digest] = replace(kept, used_ms=used_ms)

    def drop_session(self, digest: str) -> None:
        """See the port."""
        with self._state.held():
            self._state.sessions.pop(digest, None)

    def drop_sessions(self, used_before_ms: int | None = None) -> None:
        """See the port."""
        given = rules.LATEST_MS if used_before_ms is None else used_before_ms
        with self._state.held():
            kept = self._state.sessions
            self._state.sessions = {d: s for d, s in kept.items() if s.used_ms >= given}

    def grants(self) -> Sequence[Grant]:
        """See the port."""
        with self._state.held():
            return list(self._state.grants.values())

    def grant_by(self, digest: str) -> Grant | None:
        """See the port."""
        with self._state.held():
            return next((g for g in self._state.grants.values() if g.digest == digest), None)

    def add_grant(self, grant: Grant) -> Grant:
        """See the port."""
        with self._state.held():
            kept = replace(grant, id=len(self._state.grants) + 1)
            self._state.grants[kept.id] = kept
            return kept

    def withdraw_grant(self, grant_id: int, at_ms: int) -> None:
        """See the port."""
        with self._state.held():
            kept = found(self._state.grants, grant_id, "grant")
            if kept.withdrawn_ms is None:
                self._state.grants[grant_id] = replace(kept, withdrawn_ms=at_ms)

    def touch_grant(self, grant_id: int, used_ms: int) -> None:
        """See the port."""
        with self._state.held():
            if kept := self._state.grants.get(grant_id):
                self._state.grants[grant_id] = replace(kept, used_ms=used_ms)
