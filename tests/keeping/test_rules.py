"""Each rule at its edge, and what can and cannot be set."""

import math
from dataclasses import replace

import pytest

from hilum.domain.alerts import AlertState, RuleSetting
from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import Box, BoxType, Sensor
from hilum.keeping.watching.alerts import AlertEngine, see
from hilum.keeping.watching.judging import Sign, Words, single, span
from hilum.keeping.watching.rules import RULES, Limits, Rule, Side, limits_for
from hilum.keeping.watching.ruleset import (
    check_setting,
    holds_words,
    reset_rule,
    set_rule,
    settings_of,
    usual,
)
from hilum.stores.memory import MemoryStore
from keeping.watching import DAY, HOUR, MAIL, T0, ManualClock, StubWatch

TUB = Box("tub", "Blue tub", BoxType.TUB)
ANYTHING: Words = {
    "name": "It", "lots": "A1", "until": "noon", "base": 20.0, "age": "an hour", "pace": "a minute",
    "place": "Blue tub", "other": "home/two", "when": "soon", "count": "3", "of": "4",
}  # fmt: skip
NUDGE = 1e-9


class Edge:
    """One rule with an engine that sees the values it is given, in turn."""

    def __init__(self, rule: Rule) -> None:
        self.store = MemoryStore()
        self.store.save_box(TUB)
        self.clock = ManualClock()
        self.stub = StubWatch()
        self.engine = AlertEngine(
            self.store,
            self.clock,
            self.stub,  # type: ignore[arg-type]
            (MAIL,),
        )
        self.rule = rule
        limits = limits_for(rule, TUB, {}, None if rule.limit is not None else 30.0)
        assert limits is not None
        self.limits = limits

    def see(
        self, beyond: float, *, of_release: bool = False, after_s: float = 0
    ) -> AlertState | None:
        """Go on in time, look at a value so far on the bad side of a limit, and give the state."""
        self.clock.time_ms += round(after_s * 1000)
        base = self.limits.release if of_release else self.limits.limit
        value = base + self.rule.side.value * beyond
        series = single(self.clock.time_ms, value)
        self.stub.signs = [Sign(self.rule, self.limits, *series, ANYTHING, box="tub")]
        self.engine.round()
        alerts = self.store.alerts(open_only=True)
        return alerts[0].state if alerts else None

    def steps(self) -> list[str]:
        """Steps that were told."""
        return [notice.step for notice in reversed(self.store.notices())]


@pytest.fixture(params=RULES)
def edge(request: pytest.FixtureRequest) -> Edge:
    """Each rule in turn."""
    return Edge(RULES[request.param])


def test_just_under_and_at_the_limit_raise_nothing(edge: Edge) -> None:
    """A value on the good side of the limit, or at it, is never told however long it lasts."""
    for beyond in (-0.001, 0.0):
        assert edge.see(beyond) is None
        assert edge.see(beyond, after_s=edge.limits.dwell_s + 1) is None
    assert edge.steps() == []


def test_just_over_raises_after_the_dwell_and_not_before(edge: Edge) -> None:
    """A value past the limit waits for the dwell, to the millisecond, and is told once."""
    dwell_s = edge.limits.dwell_s
    if dwell_s:
        assert edge.see(0.001) is AlertState.WAITING
        assert edge.see(0.001, after_s=dwell_s - 0.001) is AlertState.WAITING
        assert edge.see(0.001, after_s=0.001) is AlertState.RAISED
    else:
        assert edge.see(0.001) is AlertState.RAISED
    assert edge.see(0.001, after_s=60) is AlertState.RAISED
    assert edge.steps() == ["raised"]


def test_it_is_over_at_the_release_limit(edge: Edge) -> None:
    """Between the limits an alert goes on; at the release limit it ends, and that is told."""
    edge.see(0.001)
    edge.see(0.001, after_s=edge.limits.dwell_s)
    if edge.rule.band:
        assert edge.see(0.001, of_release=True, after_s=60) is AlertState.RAISED
    assert edge.see(0.0, of_release=True, after_s=60) is None
    assert edge.steps() == ["raised", "cleared"]
    assert [a.state for a in edge.store.alerts()] == [AlertState.CLEARED]


def test_reminders_come_at_the_interval_until_it_is_seen(edge: Edge) -> None:
    """A raised alert is told again after each interval, a seen one no more."""
    repeat_s = edge.limits.repeat_s
    edge.see(0.001)
    edge.see(0.001, after_s=edge.limits.dwell_s)
    if not repeat_s:
        edge.see(0.001, after_s=400 * 86_400)
        assert edge.steps() == ["raised"]
        return
    edge.see(0.001, after_s=repeat_s - 0.001)
    assert edge.steps() == ["raised"]
    edge.see(0.001, after_s=0.001)
    edge.see(0.001, after_s=repeat_s)
    assert edge.steps() == ["raised", "reminder", "reminder"]
    (alert,) = edge.store.alerts()
    assert alert.told == 3
    see(edge.store, alert.id, edge.clock.time_ms)
    assert edge.see(0.001, after_s=2 * repeat_s) is AlertState.SEEN
    assert len(edge.steps()) == 3


def test_every_step_is_in_the_journal_with_time_and_reading(edge: Edge) -> None:
    """Raised, seen and cleared stand in the journal, and when the value passed the limit."""
    edge.see(0.001)
    edge.see(0.001, after_s=edge.limits.dwell_s)
    raised_ms = edge.clock.time_ms
    (alert,) = edge.store.alerts()
    see(edge.store, alert.id, raised_ms + 5)
    edge.see(0.0, of_release=True, after_s=60)

    lines = [dict(event.data) | {"time": event.time_ms} for event in reversed(edge.store.events())]
    assert [line["step"] for line in lines] == ["raised", "seen", "cleared"]
    assert [line["time"] for line in lines] == [raised_ms, raised_ms + 5, raised_ms + 60_000]
    assert [line["reading_ms"] for line in lines] == [raised_ms, raised_ms, raised_ms + 60_000]
    assert {line["since_ms"] for line in lines} == {T0}
    assert edge.limits.past(float(lines[0]["value"] or 0))


def test_a_rule_says_what_is_wrong_and_what_to_do(edge: Edge) -> None:
    """Sentence, advice and the end are whole sentences without anything left to fill in."""
    edge.see(0.001)
    edge.see(0.001, after_s=edge.limits.dwell_s)
    (alert,) = edge.store.alerts()
    edge.see(0.0, of_release=True, after_s=60)
    (over,) = edge.store.alerts()
    for text in (alert.sentence, alert.advice, over.sentence):
        assert text[0].isupper()
        assert text.endswith(".")
        assert "{" not in text
    assert over.sentence != alert.sentence


def test_every_rule_names_a_source_or_says_there_is_none() -> None:
    """No limit stands without where it comes from, its status, and its default in words."""
    for rule in RULES.values():
        assert rule.source
        assert rule.status
        assert rule.limit_words
        assert rule.low < rule.high
        assert rule.limit is None or rule.low <= rule.limit <= rule.high


def test_two_values_that_swing_around_the_limit_are_one_alert() -> None:
    """A value that hovers between limit and release limit is told once."""
    edge = Edge(RULES["damp"])
    for i in range(200):
        edge.see(0.5 if i % 2 else -2.5, after_s=600)
    assert edge.steps() == ["raised"]


def test_it_passes_by_itself_untold() -> None:
    """A value that comes back during the dwell is kept as passed, and told to nobody."""
    edge = Edge(RULES["damp"])
    edge.see(5.0)
    edge.see(5.0, after_s=HOUR / 1000)
    assert edge.see(-4.0, after_s=600) is None
    (alert,) = edge.store.alerts()
    assert (alert.state, alert.raised_ms) == (AlertState.CLEARED, None)
    assert edge.steps() == []
    assert edge.store.events() == []


def test_an_alert_about_what_is_gone_ends() -> None:
    """When a box is no longer looked at its alert ends; when it could not be, all stays."""
    edge = Edge(RULES["mould"])
    edge.see(5.0)
    edge.see(5.0, after_s=DAY / 1000)
    edge.stub.signs, edge.stub.problems = [], {"tub": "The disk failed."}
    assert edge.engine.round().problems == {"tub": "The disk failed."}
    assert edge.store.alerts()[0].state is AlertState.RAISED
    edge.stub.problems = {}
    edge.engine.round()
    assert edge.store.alerts()[0].state is AlertState.CLEARED
    assert edge.steps() == ["raised", "cleared"]


# Settings


def test_a_box_wins_over_all_boxes_over_the_default() -> None:
    """Each figure that is set for a box counts first, then that for all, then the rule's own."""
    settings = {
        ("warm", ""): RuleSetting("warm", "", limit=22.0, repeat_s=7200),
        ("warm", "tub"): RuleSetting("warm", "tub", dwell_s=60),
    }
    assert limits_for(RULES["warm"], TUB, settings) == Limits(22.0, 21.0, 60, 7200, Side.ABOVE)
    jar = replace(TUB, slug="jar", type=BoxType.FRIDGE)
    assert limits_for(RULES["warm"], jar, settings) == Limits(22.0, 21.0, 129_600, 7200, Side.ABOVE)
    assert limits_for(RULES["warm"], jar, {}) == Limits(10.0, 9.0, 129_600, 604_800, Side.ABOVE)
    off = {("warm", "tub"): RuleSetting("warm", "tub", on=False)}
    assert limits_for(RULES["warm"], TUB, off) is None
    drawer = replace(TUB, type=BoxType.DRAWER)
    assert limits_for(RULES["damp"], drawer, {}) is None
    on = {("damp", "tub"): RuleSetting("damp", "tub", limit=60.0)}
    assert limits_for(RULES["damp"], drawer, on) is not None


def test_a_release_that_lost_its_sense_gives_way() -> None:
    """A release limit that a changed target put on the wrong side falls back to the usual one."""
    settings = {("damp", "tub"): RuleSetting("damp", "tub", release=32.0)}
    dry = replace(TUB, target_high_pct=30.0)
    limits = limits_for(RULES["damp"], dry, settings)
    assert limits is not None
    assert limits.release == 27.0


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        (RuleSetting("damp", "tub", limit=300.0), "limit must lie between 5 and 95 %, not 300"),
        (RuleSetting("damp", "tub", limit=math.nan), "not nan"),
        (RuleSetting("damp", "tub", release=math.inf), "not inf"),
        (RuleSetting("warm", "tub", limit=-300.0), "between -30 and 60 °C"),
        (RuleSetting("damp", "tub", limit=40.0, release=41.0), "may not lie above the limit"),
        (
            RuleSetting("damp", "tub", release=36.0),
            r"\(36 %\) may not lie above the limit \(35 %\)",
        ),
        (RuleSetting("battery", "", limit=20.0, release=19.0), "may not lie below the limit"),
        (RuleSetting("damp", "tub", dwell_s=-1), "between 0 and 30 days"),
        (RuleSetting("damp", "tub", dwell_s=10**9), "between 0 and 30 days"),
        (RuleSetting("damp", "tub", dwell_s=30 * 86_400 + 1), "between 0 and 30 days"),
        (RuleSetting("damp", "tub", repeat_s=59), "at most every hour"),
        (RuleSetting("damp", "tub", repeat_s=3599), "at most every hour"),
        (RuleSetting("damp", "tub", repeat_s=365 * 86_400 + 1), "at least every year"),
        (RuleSetting("damp", "tub", limit=95.5), "between 5 and 95 %"),
        (RuleSetting("damp", "tub", limit=70.5), "damp is the earlier word of the two"),
        (RuleSetting("mould", "", limit=40.0, release=40.5), "may not lie above the limit"),
        (RuleSetting("damp", "tub", repeat_s=-3600), "at most every hour"),
    ],
)
def test_a_setting_that_cannot_work_is_refused(setting: RuleSetting, words: str) -> None:
    """Absurd limits and contradictions are refused with the reason, and nothing is kept."""
    store = MemoryStore()
    store.save_box(TUB)
    with pytest.raises(InvalidInputError, match=words):
        set_rule(store, setting, T0)
    assert store.rule_settings() == []


def test_figures_at_the_edge_are_taken() -> None:
    """The ends of every range can be set, and damp may be told together with mould."""
    for setting in (
        RuleSetting("damp", "tub", limit=70.0, dwell_s=30 * 86_400, repeat_s=3600),
        RuleSetting("damp", "tub", limit=5.0, release=5.0, dwell_s=0, repeat_s=0),
        RuleSetting("mould", "", limit=95.0, repeat_s=365 * 86_400),
        RuleSetting("mould", "", limit=40.0),
    ):
        check_setting(setting, [TUB])


def test_a_rule_that_contradicts_another_is_refused() -> None:
    """Damp may not be told after mould, whichever of them is set, in one box or in all."""
    store = MemoryStore()
    store.save_box(replace(TUB, target_high_pct=45.0))
    with pytest.raises(InvalidInputError, match=r"In Blue tub .* above 45 % .* above 44 % already"):
        set_rule(store, RuleSetting("mould", limit=44.0), T0)
    set_rule(store, RuleSetting("mould", limit=50.0), T0)
    with pytest.raises(InvalidInputError, match="earlier word of the two"):
        set_rule(store, RuleSetting("damp", "tub", limit=51.0), T0)
    set_rule(store, RuleSetting("damp", "tub", on=False), T0)
    set_rule(store, RuleSetting("mould", limit=40.0), T0)
    with pytest.raises(InvalidInputError, match="earlier word of the two"):
        set_rule(store, RuleSetting("damp", "tub"), T0)


def test_a_release_is_held_against_the_limit_for_all_boxes() -> None:
    """Where a limit is set for all boxes, a box's own release is judged by that one."""
    store = MemoryStore()
    store.save_box(TUB)
    set_rule(store, RuleSetting("damp", limit=50.0), T0)
    set_rule(store, RuleSetting("damp", "tub", release=45.0), T0)
    limits = limits_for(RULES["damp"], TUB, settings_of(store))
    assert limits is not None
    assert (limits.limit, limits.release) == (50.0, 45.0)
    with pytest.raises(InvalidInputError, match=r"\(51 %\) may not lie above the limit \(50 %\)"):
        set_rule(store, RuleSetting("damp", "tub", release=51.0), T0)


def test_back_to_the_usual() -> None:
    """A setting is taken away with a line in the journal; where there is none, that is said."""
    store = MemoryStore()
    store.save_box(TUB)
    set_rule(store, RuleSetting("damp", "tub", on=False), T0)
    event = reset_rule(store, "damp", "tub", T0 + 1)
    assert event.text == "The rule “Damp” is as usual again in Blue tub."
    assert store.rule_settings() == []
    with pytest.raises(NotFoundError, match="as usual here"):
        reset_rule(store, "damp", "tub", T0 + 2)


def test_what_holds_is_said_in_sentences() -> None:
    """Limit, time, end and reminder as they are in a box; its own where they are set."""
    settings = {("damp", "tub"): RuleSetting("damp", "tub", limit=30.0, dwell_s=0, repeat_s=0)}
    damp = RULES["damp"]
    assert holds_words(damp, TUB, settings) == (
        "Told above 30 %, at once. Over at 27 %. No reminders."
    )
    assert usual(damp, TUB, settings) == ("35 %", "3 % below the limit", "3 hours", "7 days")
    assert holds_words(RULES["mould"], TUB, {}) == (
        "Told above its limit: 65 %; 70 % where all seed in the box is starchy (up to 10 % oil), "
        "once it has lasted 24 hours. Over 3 % below it. Reminder after 3 days."
    )
    drawer = replace(TUB, type=BoxType.DRAWER)
    assert holds_words(damp, drawer, {}) == "Switched off."
    assert usual(damp, drawer, {})[0] == "35 %"
    both = {("damp", ""): RuleSetting("damp", limit=32.0, release=20.0), **settings}
    assert usual(damp, TUB, both)[:2] == ("32 %", "20 %")


def test_unknown_rules_and_boxes_are_named() -> None:
    """A rule or box that is not there is an error in words."""
    with pytest.raises(NotFoundError, match="no rule “wet”; there are damp, mould"):
        check_setting(RuleSetting("wet"), [TUB])
    with pytest.raises(NotFoundError, match="no box “attic”"):
        check_setting(RuleSetting("damp", "attic"), [TUB])


def test_a_setting_is_kept_and_journaled() -> None:
    """A setting that can work is kept, with a line in the journal."""
    store = MemoryStore()
    store.save_box(TUB)
    store.save_sensor(Sensor("home/tub", 0))
    set_rule(store, RuleSetting("damp", "tub", limit=40.0, release=40.0), T0)
    set_rule(store, RuleSetting("warm", on=False), T0 + 1)
    assert len(store.rule_settings()) == 2
    assert [event.text for event in store.events()] == [
        "The rule “Too warm” was switched off.",
        "The rule “Damp” was set in Blue tub: limit 40 %, over at 40 %.",
    ]


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(20, "1 minute"), (89, "1 minute"), (900, "15 minutes"), (5399, "90 minutes"),
     (5400, "2 hours"), (86_400, "24 hours"), (129_600, "2 days"), (604_800, "7 days")],
)  # fmt: skip
def test_lengths_of_time_read_well(seconds: float, words: str) -> None:
    """A length of time is written in the unit that suits it."""
    assert span(seconds) == words
