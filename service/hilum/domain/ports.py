"""What the application asks of the outside. One contract-test suite runs over every implementation.

All methods may be called from any thread. Writes are durable when the call returns.
Errors: ``NotFoundError``, ``ConflictError``, ``InvalidInputError``, ``StoreError``.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Protocol

from hilum.domain.access import Grant, Session
from hilum.domain.alerts import (
    Alert,
    AlertChange,
    Notice,
    NoticeState,
    RuleSetting,
    TellingSetting,
)
from hilum.domain.corrections import Correction
from hilum.domain.model import (
    AddOutcome,
    Arrival,
    Box,
    Changes,
    CurveKey,
    DirtyMark,
    Event,
    GerminationTest,
    HourTier,
    Ints,
    LedgerRows,
    Lot,
    Placement,
    PlanLine,
    Reading,
    Reject,
    SeasonPlan,
    Sensor,
    Series,
    Stay,
)


class Clock(Protocol):
    """Tells the time, so that tests can set it."""

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        ...


class ReadingStore(Protocol):
    """Readings: the raw truth, and the hour tier derived from it."""

    def add(self, readings: Sequence[Reading], received_ms: int) -> AddOutcome:
        """Keep readings, durably, in one step with the dirty marks they cause.

        The same sensor and time again with equal values changes nothing (a duplicate); a value that
        was not reported before is filled in; a differing value is a conflict: the kept one stays
        and the new one is returned, and also kept as a reject with reason ``conflict``.
        Unknown sensors are registered.
        """
        ...

    def series(self, sensor: str, start_ms: int, end_ms: int) -> Series:
        """Give readings with start <= time < end; an unknown sensor has none."""
        ...

    def before(self, sensor: str, time_ms: int) -> Reading | None:
        """Give the newest reading strictly before a time."""
        ...

    def newest(self, sensor: str) -> Reading | None:
        """Give the newest reading by sensor time."""
        ...

    def extent(self, sensor: str) -> tuple[int, int, int] | None:
        """Count, first and last time of a sensor's readings; ``None`` if it has none."""
        ...

    def pages(
        self, sensor: str, start_ms: int, end_ms: int, size: int
    ) -> Iterator[Sequence[Reading]]:
        """Readings with all columns in batches of at most ``size``, in order of time."""
        ...

    def hours(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """Summaries of the hours that start in start <= hour < end."""
        ...

    def days(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """Summaries of the UTC days that start in start <= day < end."""
        ...

    def refresh_tiers(self, from_ms: Mapping[str, int]) -> None:
        """Recompute summaries of hours from the one that holds a time on, by sensor; of days too.

        Nothing before that time may have changed since they were last recomputed.
        """
        ...


class KeepingStore(Protocol):
    """Everything else that is true: sensors, boxes, lots, where they were, tests, events."""

    def sensors(self) -> Sequence[Sensor]:
        """Every sensor known, by name."""
        ...

    def sensor(self, name: str) -> Sensor:
        """Give one sensor; NotFoundError if it never spoke."""
        ...

    def save_sensor(self, sensor: Sensor) -> None:
        """Add or replace by name."""
        ...

    def set_presence(self, name: str, online: bool, received_ms: int) -> None:
        """Note what a sensor's last will says; registers an unknown one."""
        ...

    def boxes(self) -> Sequence[Box]:
        """Every box, by name."""
        ...

    def box(self, slug: str) -> Box:
        """Give one box; NotFoundError if there is none."""
        ...

    def save_box(self, box: Box) -> None:
        """Add or replace by slug; a new gap limit marks its inside sensors from their start."""
        ...

    def placements(
        self, *, box: str | None = None, sensor: str | None = None
    ) -> Sequence[Placement]:
        """In order of start."""
        ...

    def add_placement(self, placement: Placement) -> Placement:
        """Add (``id`` 0) and give back with its id; marks the box dirty from its start.

        A second ``inside`` sensor at the same time in one box, or one sensor in two places at the
        same time, is a ``ConflictError``.
        """
        ...

    def end_placement(self, placement_id: int, to_ms: int) -> None:
        """End a placement; marks the box's sensor dirty from then on."""
        ...

    def lots(self) -> Sequence[Lot]:
        """Every lot, by code."""
        ...

    def lot(self, code: str) -> Lot:
        """Give one lot; NotFoundError if there is none."""
        ...

    def save_lot(self, lot: Lot) -> None:
        """Add or replace by code."""
        ...

    def save_lots(self, lots: Sequence[Lot]) -> None:
        """Add or replace many in one step: all or none."""
        ...

    def stays(self, *, lot: str | None = None, box: str | None = None) -> Sequence[Stay]:
        """In order of start."""
        ...

    def add_stay(self, stay: Stay) -> Stay:
        """Add (``id`` 0); an open stay of the lot ends where the new one begins.

        A stay that overlaps another of the same lot in any other way is a ``ConflictError``.
        """
        ...

    def end_stay(self, stay_id: int, to_ms: int) -> None:
        """End a stay."""
        ...

    def tests(self, lot: str | None = None) -> Sequence[GerminationTest]:
        """Germination tests in order of date."""
        ...

    def add_test(self, test: GerminationTest) -> GerminationTest:
        """Add (``id`` 0) and give back with its id."""
        ...

    def events(
        self,
        *,
        box: str | None = None,
        lot: str | None = None,
        start_ms: int = 0,
        limit: int = 1000,
    ) -> Sequence[Event]:
        """Newest first."""
        ...

    def add_event(self, event: Event) -> Event:
        """Add (``id`` 0) and give back with its id."""
        ...

    def strike_event(self, event_id: int) -> None:
        """Strike an event through; it stays in the journal."""
        ...

    def change(self, changes: Changes) -> Changes:
        """Write all of this or nothing; give it back with the ids that were given.

        ``NotFoundError`` if an id, or a lot, box or sensor that is referred to, is not there and
        not among the changes; ``ConflictError`` if a lot would be in two boxes at the same time.
        """
        ...

    def add_rejects(self, rejects: Sequence[Reject]) -> None:
        """Keep rejects, payload cut to 2,000 bytes."""
        ...

    def rejects(self, *, limit: int = 100, sensor: str | None = None) -> Sequence[Reject]:
        """Newest first. The table keeps the newest 10,000 and the count of all, by reason."""
        ...

    def reject_counts(self) -> dict[str, int]:
        """Count of all rejects ever kept, by reason."""
        ...


class LedgerStore(Protocol):
    """The derived part: curves and their hourly rows. Deleting it loses nothing."""

    def dirty(self) -> Sequence[DirtyMark]:
        """Marks not yet worked off."""
        ...

    def clear_dirty(self, marks: Sequence[DirtyMark]) -> None:
        """Clear these marks; of those that changed since they were read, what came since stays.

        What came since may be said to begin earlier than it does, never later.
        """
        ...

    def mark_dirty(self, sensor: str, from_ms: int) -> None:
        """Ask for recomputation from a time on."""
        ...

    def arrived(self, arrivals: Sequence[Arrival]) -> None:
        """Take note of readings that another process stored: who spoke, and what is dirty now."""
        ...

    def may_miss(self) -> None:
        """Note that arrivals may go by unheard until ``hears`` is called."""
        ...

    def hears(self, site: str) -> None:
        """Note that every arrival at a site is heard from now on.

        If some may have been missed before, every sensor is marked dirty from its start.
        """
        ...

    def curves(self, box: str | None = None) -> Sequence[CurveKey]:
        """Curves that are known."""
        ...

    def add_curves(self, keys: Sequence[CurveKey]) -> None:
        """Make curves known that were not; known ones stay as they are."""
        ...

    def drop_curves(self, keys: Sequence[CurveKey]) -> None:
        """Forget curves and their rows."""
        ...

    def rows(self, key: CurveKey, start_hour: int = 0, end_hour: int | None = None) -> LedgerRows:
        """Rows with start <= hour < end; an unknown curve has none."""
        ...

    def rows_at(self, asked: Sequence[tuple[CurveKey, int]]) -> tuple[Ints, LedgerRows]:
        """Give at most two rows for each curve and time, and the place in ``asked`` of each.

        They are the last with ``last_ms`` <= time and the one after it, in the order asked.
        """
        ...

    def replace_rows(self, changes: Sequence[tuple[CurveKey, int, LedgerRows]]) -> None:
        """In one step, for each curve: put these rows in the place of all from that hour on."""
        ...

    def revision(self) -> int:
        """Give a number that is another one after each change on which figures of lots rest.

        That is what people entered (boxes, lots, stays, tests, placements, corrections, plans; not
        the journal), and rows of the ledger older than its newest two.
        """
        ...


class AlertStore(Protocol):
    """Alerts, what is to be told about them, and how the rules are set."""

    def alerts(
        self, *, open_only: bool = False, box: str | None = None, limit: int = 1000
    ) -> Sequence[Alert]:
        """Newest first, by the time the value passed the limit."""
        ...

    def alert(self, alert_id: str) -> Alert:
        """Give one alert; NotFoundError if there is none."""
        ...

    def change_alerts(self, changes: Sequence[AlertChange]) -> int:
        """Make steps, durably, in one transaction with their journal lines and notices.

        A step whose alert is no longer as it says (someone else was quicker) is left out whole.
        Gives back how many were made.
        """
        ...

    def add_notices(self, notices: Sequence[Notice]) -> int:
        """Keep notices whose key and channel are new; give back how many were."""
        ...

    def notices(
        self,
        *,
        state: NoticeState | None = None,
        channel: str | None = None,
        alert: str | None = None,
        limit: int = 100,
    ) -> Sequence[Notice]:
        """Newest first."""
        ...

    def has_notice(self, key: str) -> bool:
        """Tell whether a notice with this key was ever made, on any channel."""
        ...

    def due_notices(self, channel: str, now_ms: int, limit: int = 20) -> Sequence[Notice]:
        """Pending notices of a channel whose time has come, oldest first.

        Of each alert only the oldest pending one is given, so that its steps are told in order.
        """
        ...

    def save_notice(self, notice: Notice) -> None:
        """Replace a notice by id."""
        ...

    def drop_notices(self, before_ms: int) -> int:
        """Forget what was made before then and is sent or given up; give how many that were."""
        ...

    def rule_settings(self, box: str | None = None) -> Sequence[RuleSetting]:
        """Settings of all rules, or those for one box (``""``: for all boxes)."""
        ...

    def save_rule_setting(self, setting: RuleSetting) -> None:
        """Add or replace by rule and box."""
        ...

    def drop_rule_setting(self, rule: str, box: str) -> None:
        """Go back to the rule's own values; nothing happens if they were not changed."""
        ...

    def telling(self) -> TellingSetting:
        """When people are told, as far as it was set."""
        ...

    def save_telling(self, setting: TellingSetting) -> None:
        """Put this in its place."""
        ...

    def paces(self) -> Mapping[str, int]:
        """Usual seconds between two messages, by sensor, as far as they were learned."""
        ...

    def save_paces(self, paces: Mapping[str, int]) -> None:
        """Add or replace by sensor."""
        ...


class SeasonStore(Protocol):
    """What is to be sown: a plan for a season, with its lines."""

    def season_plans(self) -> Sequence[SeasonPlan]:
        """Every plan, by sowing date, then by entry."""
        ...

    def season_plan(self, plan_id: int) -> SeasonPlan:
        """Give one plan; NotFoundError if there is none."""
        ...

    def plan_lines(self, plan_id: int) -> Sequence[PlanLine]:
        """Lines of a plan in the order they were given; NotFoundError if there is no such plan."""
        ...

    def save_plan(self, plan: SeasonPlan, lines: Sequence[PlanLine]) -> SeasonPlan:
        """Add a plan (``id`` 0) or replace one, with all its lines, in one step.

        Gives it back with its id; NotFoundError if there is none with the id given.
        """
        ...

    def drop_plan(self, plan_id: int) -> None:
        """Forget a plan and its lines; NotFoundError if there is none."""
        ...


class CorrectionStore(Protocol):
    """How readings of sensors are corrected when they are read; the readings stay as they came."""

    def corrections(self, sensor: str | None = None) -> Sequence[Correction]:
        """By sensor, then in order of time; an unknown sensor has none."""
        ...

    def add_correction(self, correction: Correction) -> Correction:
        """Add (``id`` 0) and give back with its id; marks the sensor dirty from its time.

        ``InvalidInputError`` for one no working sensor needs; a second one of the same sensor and
        time is a ``ConflictError``.
        """
        ...

    def remove_correction(self, correction_id: int) -> Correction:
        """Forget one and give it back; marks the sensor dirty from its time."""
        ...


class AccessStore(Protocol):
    """Who may do what: the owner's password and sessions, tokens and shared links."""

    def password_hash(self) -> str:
        """Hash of the owner's password; empty while there is none."""
        ...

    def set_password_hash(self, text: str, *, first: bool = False) -> None:
        """Set it and end all sessions, in one step; ConflictError if a ``first`` one is not."""
        ...

    def session(self, digest: str) -> Session | None:
        """Give a session by the digest of its key."""
        ...

    def save_session(self, session: Session) -> None:
        """Add or replace by digest."""
        ...

    def touch_session(self, digest: str, used_ms: int) -> None:
        """Note that a session was used; one that has ended stays ended."""
        ...

    def drop_session(self, digest: str) -> None:
        """End a session; nothing happens if there is none."""
        ...

    def drop_sessions(self, used_before_ms: int | None = None) -> None:
        """End all sessions, or those not used since a time."""
        ...

    def grants(self) -> Sequence[Grant]:
        """Every token and link ever given, by id."""
        ...

    def grant_by(self, digest: str) -> Grant | None:
        """Give a token or link by the digest of its key, whether it still holds or not."""
        ...

    def add_grant(self, grant: Grant) -> Grant:
        """Add (``id`` 0) and give back with its id."""
        ...

    def withdraw_grant(self, grant_id: int, at_ms: int) -> None:
        """Withdraw it for good, once; NotFoundError if there is none."""
        ...

    def touch_grant(self, grant_id: int, used_ms: int) -> None:
        """Note that it was used."""
        ...


class Store(
    ReadingStore,
    KeepingStore,
    LedgerStore,
    AlertStore,
    SeasonStore,
    CorrectionStore,
    AccessStore,
    Protocol,
):
    """All of them in one database."""

    def close(self) -> None:
        """Finish pending writes and close; further calls raise StoreError."""
        ...
