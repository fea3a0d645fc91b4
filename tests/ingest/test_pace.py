"""How often a sensor may speak: what was offline arrives whole, what runs wild is bounded."""

from hilum.domain.model import Reading
from hilum.ingest.pace import PER_MINUTE, PER_SECOND, ROOM, TELL_EVERY_MS, Pacer

NOW_MS = 1_764_061_200_000


def readings(count: int, every_ms: int, start_ms: int = NOW_MS) -> list[Reading]:
    """Readings so far apart."""
    return [Reading("home/tub", start_ms + k * every_ms, 20.0) for k in range(count)]


def test_a_season_offline_arrives_at_once() -> None:
    """Ninety days of a value every ten seconds in one moment: nothing is left out."""
    pacer = Pacer()
    season = readings(90 * 8640, 10_000)
    for start in range(0, len(season), 5000):
        part = season[start : start + 5000]
        assert list(pacer.within("home/tub", part, NOW_MS, by_arrival=False)) == part
    assert pacer.left_out("home/tub", NOW_MS) == 0


def test_each_quantity_once_a_second_is_kept() -> None:
    """Two values a second, at moments of their own, are within the pace."""
    pacer = Pacer()
    said = readings(7200, 500)
    assert len(pacer.within("home/tub", said, NOW_MS, by_arrival=False)) == 7200


def test_a_hundred_a_second_become_two() -> None:
    """An hour of it leaves what an hour of two a second would."""
    pacer, kept = Pacer(), 0
    for minute in range(60):
        said = readings(6000, 10, NOW_MS + minute * 60_000)
        kept += len(pacer.within("home/tub", said, NOW_MS, by_arrival=False))
    assert kept == 60 * PER_MINUTE
    assert pacer.within("home/other", readings(1, 1), NOW_MS, by_arrival=False)


def test_without_a_clock_there_is_room_first() -> None:
    """What waited is kept, then two a second; silence makes room again."""
    pacer, now_ms = Pacer(), NOW_MS

    def said(count: int) -> int:
        return len(pacer.within("home/tub", readings(count, 1), now_ms, by_arrival=True))

    assert said(ROOM) == ROOM
    assert said(10) == 0
    now_ms += 60_000
    assert said(6000) == 60 * PER_SECOND
    now_ms += 10 * 86_400_000
    assert said(ROOM + 5) == ROOM
    now_ms -= 86_400_000  # a clock that is set back gives no room
    assert said(1) == 0


def test_what_was_left_out_is_told_once_a_minute() -> None:
    """The first time at once, then with the number of a minute; nothing is left uncounted."""
    pacer, told = Pacer(), []
    for second in range(180):
        at_ms = NOW_MS + second * 1000
        pacer.within("home/tub", readings(200, 1, NOW_MS), at_ms, by_arrival=False)
        if count := pacer.left_out("home/tub", at_ms):
            told.append((second, count))
    every = TELL_EVERY_MS // 1000
    assert [second for second, _ in told] == [0, every, 2 * every]
    assert sum(count for _, count in told) == 200 * (2 * every + 1) - PER_MINUTE
    assert pacer.left_out("home/nobody", NOW_MS) == 0
