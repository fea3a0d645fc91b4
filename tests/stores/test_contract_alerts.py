"""Alerts, notices and settings of rules: what every store must do with them."""

import threading
from dataclasses import replace
from datetime import time

import pytest

from hilum.domain.alerts import (
    Alert,
    AlertChange,
    AlertState,
    DigestTime,
    Notice,
    NoticeState,
    QuietTimes,
    RuleSetting,
    TellingSetting,
)
from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import Event, EventType
from hilum.domain.ports import Store

ALERT = Alert("damp-1", "damp", AlertState.WAITING, 50, "It is damp.", "Close it.", box="tub")
RAISED = replace(
    ALERT,
    state=AlertState.RAISED,
    raised_ms=60,
    value=41.25,
    limit=35.0,
    reading_ms=59,
    told=1,
    told_ms=60,
)
EVENT = Event(0, 60, EventType.ALERT, "tub", text="It is damp.")
NOTICE = Notice("damp-1.raised.1", "mail", "raised", 60, 70, "Damp", "It is damp.", alert="damp-1")


def raise_it(store: Store) -> None:
    """Take an alert through its first two steps."""
    store.change_alerts([AlertChange(ALERT, None)])
    store.change_alerts([AlertChange(RAISED, AlertState.WAITING, EVENT, (NOTICE,))])


def test_a_step_is_kept_whole(furnished: Store) -> None:
    """A step keeps the alert with all its figures, its journal line and its notices."""
    raise_it(furnished)

    assert furnished.alert("damp-1") == RAISED
    assert [event.text for event in furnished.events()] == ["It is damp."]
    assert furnished.notices() == [replace(NOTICE, id=1)]


def test_a_step_that_comes_too_late_is_left_out_whole(furnished: Store) -> None:
    """A step from another state than the alert is in changes nothing, and the others are made."""
    raise_it(furnished)
    seen = replace(RAISED, state=AlertState.SEEN, seen_ms=65)
    late = replace(NOTICE, key="late")
    other = replace(ALERT, id="damp-2", box="jar")

    made = furnished.change_alerts(
        [AlertChange(seen, AlertState.WAITING, EVENT, (late,)), AlertChange(other, None)]
    )

    assert made == 1
    assert furnished.alert("damp-1") == RAISED
    assert len(furnished.events()) == 1
    assert not furnished.has_notice("late")
    assert furnished.alert("damp-2") == other


def test_only_one_open_alert_about_the_same(furnished: Store) -> None:
    """A second alert of a rule about one box waits until the first is cleared."""
    raise_it(furnished)
    second = replace(ALERT, id="damp-2", since_ms=80)
    assert furnished.change_alerts([AlertChange(second, None)]) == 0

    cleared = replace(RAISED, state=AlertState.CLEARED, cleared_ms=70)
    assert furnished.change_alerts([AlertChange(cleared, AlertState.RAISED)]) == 1
    assert furnished.change_alerts([AlertChange(second, None)]) == 1


def test_one_unknown_box_stops_the_whole_batch(furnished: Store) -> None:
    """Steps go in together or not at all."""
    lost = replace(ALERT, id="damp-2", box="nowhere")
    with pytest.raises(NotFoundError, match="no box “nowhere”"):
        furnished.change_alerts([AlertChange(ALERT, None), AlertChange(lost, None)])
    timeless = replace(EVENT, time_ms=-1)
    with pytest.raises(InvalidInputError, match="between the years"):
        furnished.change_alerts([AlertChange(ALERT, None, timeless)])
    assert furnished.alerts() == []
    with pytest.raises(NotFoundError, match="no alert “damp-1”"):
        furnished.alert("damp-1")


def test_alerts_are_listed_newest_first(furnished: Store) -> None:
    """The list can be cut to a box, to those open, and to a number."""
    past = replace(ALERT, id="a", since_ms=10, state=AlertState.CLEARED, cleared_ms=20)
    jar = replace(ALERT, id="b", since_ms=30, box="jar")
    tub = replace(ALERT, id="c", since_ms=20)
    furnished.change_alerts([AlertChange(each, None) for each in (past, jar, tub)])

    assert furnished.alerts() == [jar, tub, past]
    assert furnished.alerts(open_only=True) == [jar, tub]
    assert furnished.alerts(box="tub") == [tub, past]
    assert furnished.alerts(open_only=True, box="tub") == [tub]
    assert furnished.alerts(limit=1) == [jar]


def test_a_notice_is_kept_once(furnished: Store) -> None:
    """The same key on the same channel is the same notice; on another channel it is another."""
    digest = Notice("digest-1", "mail", "digest", 5, 5, "Week", "All well.", data=(("n", 1.5),))
    assert furnished.add_notices([digest, replace(digest, text="Again."), digest]) == 1
    assert furnished.add_notices([digest, replace(digest, channel="push-1")]) == 1

    assert furnished.has_notice("digest-1")
    assert not furnished.has_notice("digest-2")
    assert furnished.notices(channel="mail") == [replace(digest, id=1)]
    with pytest.raises(NotFoundError, match="no alert “gone”"):
        furnished.add_notices([replace(digest, key="x", alert="gone")])


def test_due_notices_come_in_order_and_one_for_each_alert(furnished: Store) -> None:
    """A later step of an alert waits for the earlier one, even when that is not due yet."""
    raise_it(furnished)
    cleared = replace(NOTICE, key="damp-1.cleared.1", step="cleared", due_ms=0)
    digests = [replace(NOTICE, key=f"digest-{i}", alert=None, due_ms=i) for i in (1, 2)]
    furnished.add_notices([cleared, *digests])

    assert [each.key for each in furnished.due_notices("mail", 60)] == ["digest-1", "digest-2"]
    first = furnished.due_notices("mail", 70)[0]
    assert first.key == "damp-1.raised.1"
    assert furnished.due_notices("mail", 70, limit=1) == [first]
    assert furnished.due_notices("push-1", 70) == []

    sent = replace(first, state=NoticeState.SENT, attempts=1, sent_ms=71)
    furnished.save_notice(sent)
    assert furnished.notices(state=NoticeState.SENT, alert="damp-1") == [sent]
    assert furnished.due_notices("mail", 70)[0].key == "damp-1.cleared.1"


def test_saving_a_notice_changes_only_what_became_of_it(furnished: Store) -> None:
    """What a notice says is never changed; an unknown one is an error."""
    raise_it(furnished)
    (kept,) = furnished.notices()
    failed = replace(kept, attempts=3, due_ms=99, error="No answer.", text="Something else")
    furnished.save_notice(failed)
    assert furnished.notices() == [replace(failed, text=kept.text)]
    with pytest.raises(NotFoundError, match="no notice “9”"):
        furnished.save_notice(replace(kept, id=9))


def test_old_notices_are_forgotten_but_never_what_waits(furnished: Store) -> None:
    """What was sent or given up before a moment goes; pending ones, newer ones and alerts stay.

    No id is given twice, also where the newest notice was forgotten.
    """
    raise_it(furnished)
    made = [replace(NOTICE, key=f"n{i}", alert=None, made_ms=i) for i in (10, 20, 30, 40)]
    furnished.add_notices(made)
    ids = {each.key: each for each in furnished.notices()}
    furnished.save_notice(replace(ids["n20"], state=NoticeState.SENT, sent_ms=99))
    furnished.save_notice(replace(ids["n30"], state=NoticeState.GIVEN_UP, error="No answer."))
    furnished.save_notice(replace(ids["n40"], state=NoticeState.SENT, sent_ms=99))

    assert furnished.drop_notices(20) == 0
    assert furnished.drop_notices(40) == 2
    assert [each.key for each in furnished.notices()] == ["n40", "n10", "damp-1.raised.1"]
    assert furnished.drop_notices(41) == 1
    assert not furnished.has_notice("n40")
    assert furnished.alert("damp-1") == RAISED

    furnished.add_notices([replace(made[3], key="later")])
    assert furnished.notices()[0].id == ids["n40"].id + 1


def test_rule_settings_by_rule_and_box(furnished: Store) -> None:
    """A setting is replaced by rule and box, listed in that order, and can be taken back."""
    everywhere = RuleSetting("damp", "", 40.0, 38.0, 3600, 0)
    tub = RuleSetting("damp", "tub", on=False)
    warm = RuleSetting("warm", "tub", limit=27.5)
    for setting in (warm, tub, RuleSetting("damp", "", 50.0), everywhere):
        furnished.save_rule_setting(setting)

    assert furnished.rule_settings() == [everywhere, tub, warm]
    assert furnished.rule_settings("tub") == [tub, warm]
    assert furnished.rule_settings("") == [everywhere]
    furnished.drop_rule_setting("damp", "tub")
    furnished.drop_rule_setting("damp", "jar")
    assert furnished.rule_settings() == [everywhere, warm]
    with pytest.raises(NotFoundError, match="no box “attic”"):
        furnished.save_rule_setting(RuleSetting("damp", "attic"))


def test_when_people_are_told(furnished: Store) -> None:
    """Nothing is set at first; what is set is replaced whole, in part or back to nothing."""
    assert furnished.telling() == TellingSetting()
    both = TellingSetting(QuietTimes(time(23, 5), time(6)), DigestTime(on=False, hour=0), 7)
    for setting in (both, TellingSetting(digest=DigestTime(weekday=0)), TellingSetting()):
        furnished.save_telling(setting)
        assert furnished.telling() == setting


def test_paces_are_kept_by_sensor(furnished: Store) -> None:
    """The usual time between messages is replaced by sensor."""
    furnished.save_paces({})
    furnished.save_paces({"home/one": 60, "home/two": 600})
    furnished.save_paces({"home/one": 90})
    assert furnished.paces() == {"home/one": 90, "home/two": 600}


def test_of_two_at_once_only_one_makes_the_step(furnished: Store) -> None:
    """When two threads raise the same alert, one does and the other is told it did not."""
    furnished.change_alerts([AlertChange(ALERT, None)])
    made: list[int] = []
    step = AlertChange(RAISED, AlertState.WAITING, EVENT, (NOTICE,))
    threads = [
        threading.Thread(target=lambda: made.append(furnished.change_alerts([step])))
        for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(made) == [0] * 7 + [1]
    assert len(furnished.events()) == len(furnished.notices()) == 1
