"""What the pages say about boxes: overviews turned into words."""

from collections.abc import Sequence

from hilum.domain.model import Box, BoxType, Placement, Role
from hilum.keeping.overview import (
    FRESH_MS,
    BoxOverview,
    Freshness,
    Need,
    SeedMoisture,
    Spread,
)
from hilum.science.seedmodel import WET_ERH_PCT
from hilum.web.views.contexts import (
    AlertCard,
    Band,
    BoxCard,
    BoxesPage,
    FirstPath,
    Stamp,
    WeekSmear,
)
from hilum.web.views.format import (
    NBSP,
    UNKNOWN,
    Style,
    band_words,
    count,
    count_word,
    freshness_words,
    iso_utc,
    pct,
    plain,
    sentence_list,
    span_pct,
)
from hilum.web.views.pieces import Fact, FormView, Link

TYPE_WORDS = {
    BoxType.DRAWER: "Drawer",
    BoxType.CARDBOARD: "Cardboard box",
    BoxType.TUB: "Gasketed tub",
    BoxType.JAR: "Jar",
    BoxType.FRIDGE: "In a fridge",
    BoxType.FREEZER: "In a freezer",
    BoxType.SHELF: "Shelf",
}

ROLE_WORDS = {
    Role.INSIDE: "inside",
    Role.SECOND: "inside, for comparison",
    Role.OUTSIDE: "in the room around it",
}

_NEED_ORDER = tuple(Need)
_NEED_STAMPS = {
    Need.WET: "Too wet",
    Need.DAMP: "Damp",
    Need.SILENT: "Silent",
    Need.NO_READING: "Nothing heard",
}
_NEED_VERBS = {
    Need.WET: "is too wet",
    Need.DAMP: "is damp",
    Need.SILENT: "is silent",
    Need.NO_READING: "has not been heard yet",
}


FIRST_WORDS = "Three steps to the first lot whose life Hilum follows."
ABOVE = "Above band"
NO_SENSOR = "Nothing is known about this box: no sensor stands in it."


def is_now(overview: BoxOverview) -> bool:
    """Tell whether the newest value can be called now."""
    return overview.freshness is Freshness.FRESH


def finding(overview: BoxOverview) -> str:
    """Say what asks for a person, and what to do; empty if nothing does."""
    high = pct(overview.box.target_high_pct)
    match overview.need:
        case Need.WET:
            hours = count(overview.wet_hours, "hour")
            return (
                f"Above {pct(WET_ERH_PCT)} for {hours} of the last 24: seed can mould, and how "
                "fast it ages is not known. Dry it now."
            )
        case Need.DAMP:
            return (
                f"Above {high} for six hours or more. Swap the desiccant, or see whether the lid "
                "closes."
            )
        case Need.SILENT:
            return "Its sensor has stopped. Look at its battery and whether it is in reach."
        case Need.NO_READING:
            return "A sensor stands here but nothing has arrived from it."
        case None:
            return NO_SENSOR if overview.freshness is Freshness.NO_SENSOR else ""


def stamp(overview: BoxOverview) -> Stamp:
    """State of a box in one word."""
    if overview.need is not None:
        return Stamp("ask", _NEED_STAMPS[overview.need])
    if overview.freshness is Freshness.NO_SENSOR:
        return Stamp("unknown", "No sensor")
    newest = overview.newest
    if overview.freshness is Freshness.LATE or newest is None or newest.erh_pct is None:
        return Stamp("unknown", "Late" if overview.freshness is Freshness.LATE else "Not known")
    if newest.erh_pct > overview.box.target_high_pct:
        return Stamp("unknown", ABOVE)
    return Stamp("well", "Dry" if newest.erh_pct < overview.box.target_low_pct else "In band")


def moisture_words(moisture: SeedMoisture | None) -> str:
    """Moisture of typical seed, from oily to starchy."""
    if moisture is None:
        return UNKNOWN
    return span_pct(moisture.oily_pct, moisture.starchy_pct)


def band(overview: BoxOverview) -> Band:
    """Give the keeping band of a box."""
    box, week = overview.box, overview.week
    erh_pct = overview.newest.erh_pct if overview.newest else None
    return Band(
        label=band_label(overview),
        low=box.target_low_pct,
        high=box.target_high_pct,
        now=None if erh_pct is None else min(100.0, max(0.0, erh_pct)),
        now_words=pct(erh_pct),
        stale=not is_now(overview),
        week=_smear(week) if week else None,
    )


def band_label(overview: BoxOverview) -> str:
    """Say in words what the keeping band draws."""
    box, week = overview.box, overview.week
    erh_pct = overview.newest.erh_pct if overview.newest else None
    when = "now" if is_now(overview) else "when last heard"
    parts = [
        f"{pct(erh_pct)} {when}, {band_words(erh_pct, box.target_low_pct, box.target_high_pct)}"
        if erh_pct is not None
        else "humidity not known",
        f"this week mostly {span_pct(week.p5, week.p95)}" if week else "nothing heard this week",
        f"target {span_pct(box.target_low_pct, box.target_high_pct)}",
    ]
    return "; ".join(parts)


def _smear(week: Spread) -> WeekSmear:
    return WeekSmear(p5=week.p5, p25=week.p25, p75=week.p75, p95=week.p95)


def card(overview: BoxOverview, style: Style) -> BoxCard:
    """Give one box as it stands on the page of all boxes."""
    box, newest = overview.box, overview.newest
    return BoxCard(
        slug=box.slug,
        name=box.name,
        url=f"/boxes/{box.slug}",
        type_words=TYPE_WORDS[box.type],
        stamp=stamp(overview),
        finding=finding(overview),
        band=band(overview),
        temp=style.temp(newest.temp_c if newest else None),
        erh=f"{pct(newest.erh_pct)}{NBSP}eRH" if newest and newest.erh_pct is not None else UNKNOWN,
        moisture=moisture_words(overview.moisture),
        lots=count(overview.lots, "lot"),
        fresh=freshness_words(overview.freshness, overview.age_ms),
        time_iso=iso_utc(newest.time_ms) if newest else "",
        time_words=style.moment(newest.time_ms) if newest else "",
        late_after_s=FRESH_MS // 1000,
    )


def headline(overviews: list[BoxOverview], alerts: int = 0) -> str:
    """Say what needs doing today, in one sentence."""
    if not overviews:
        return "No box has been entered yet."
    needing = by_need([o for o in overviews if o.need is not None])
    if needing:
        told = [f"{o.box.name} {_NEED_VERBS[o.need]}" for o in needing[:3] if o.need]
        rest = len(needing) - len(told)
        if rest:
            told.append(f"{count_word(rest)} more {'needs' if rest == 1 else 'need'} a look")
        return f"Today: {sentence_list(told)}."
    if alerts:
        return (
            f"Today: {count(alerts, 'alert')} below {'asks' if alerts == 1 else 'ask'} for a look."
        )
    return _quiet(overviews)


def _quiet(overviews: list[BoxOverview]) -> str:
    """Say that nothing needs doing, no more surely than is known."""
    heard = [o for o in overviews if o.freshness is not Freshness.NO_SENSOR]
    late = sum(1 for o in heard if not is_now(o))
    above = [o.box.name for o in heard if stamp(o).words == ABOVE]
    if not heard:
        return "No box has a sensor yet, so nothing is known of them."
    if late:
        who = "one box was" if late == 1 else f"{count_word(late)} boxes were"
        return f"Nothing needs doing that we know of, but {who} last heard more than an hour ago."
    if above:
        verb = "has" if len(above) == 1 else "have"
        return f"Nothing needs doing yet; {sentence_list(above)} {verb} just gone above the band."
    where = " in the boxes that have a sensor" if len(heard) < len(overviews) else ""
    return f"Nothing needs doing today{where}."


def by_need(overviews: list[BoxOverview]) -> list[BoxOverview]:
    """Put those that need a person first, the most pressing of them foremost."""
    last = len(_NEED_ORDER)
    return sorted(overviews, key=lambda o: _NEED_ORDER.index(o.need) if o.need else last)


def boxes_page(
    overviews: list[BoxOverview],
    unclaimed: int,
    now_ms: int,
    *,
    style: Style,
    path: FirstPath | None = None,
    alerts: tuple[AlertCard, ...] = (),
) -> BoxesPage:
    """Give the page of all boxes."""
    belong = "belongs" if unclaimed == 1 else "belong"
    waiting = f"{count(unclaimed, 'sensor')} {belong} to no box yet."
    return BoxesPage(
        title="Boxes",
        headline=headline(overviews, len(alerts)) if overviews or path is None else FIRST_WORDS,
        path=path,
        alerts=alerts,
        well=bool(overviews)
        and not alerts
        and all(
            o.need is None and (is_now(o) or o.freshness is Freshness.NO_SENSOR) for o in overviews
        ),
        cards=tuple(card(o, style) for o in by_need(overviews)),
        waiting=waiting if unclaimed and path is None else "",
        as_of=style.moment(now_ms),
    )


def target_words(box: Box) -> str:
    """Target band of a box."""
    return f"{span_pct(box.target_low_pct, box.target_high_pct)}{NBSP}eRH"


def box_facts(
    box: Box, placements: Sequence[Placement], now_ms: int, style: Style
) -> tuple[Fact, ...]:
    """Limits, size and sensors of a box."""
    facts = [
        Fact("Target", target_words(box)),
        Fact(
            "A gap is bridged up to",
            count(box.gap_limit_s // 3600, "hour"),
            "longer silences count with the worse end",
        ),
    ]
    if box.volume_l is not None:
        facts.append(Fact("Volume", f"{plain(box.volume_l)}{NBSP}L"))
    standing = [p for p in placements if p.to_ms is None or p.to_ms > now_ms]
    facts += [
        Fact(f"Sensor {ROLE_WORDS[p.role]}", p.sensor, f"since {style.day(p.from_ms)}")
        for p in standing
    ]
    if not standing:
        facts.append(Fact("Sensor", "none stands here now"))
    return tuple(facts)


def box_doing(slug: str) -> tuple[Link, ...]:
    """Give what can be noted about a box beside its opening."""
    return (
        Link("Fresh desiccant", f"/boxes/{slug}/swap"),
        Link("Desiccant weighed", f"/boxes/{slug}/weighed"),
        Link("Note", f"/boxes/{slug}/note"),
    )


def box_care(slug: str) -> tuple[Link, ...]:
    """Give what can be changed about a box."""
    return (
        Link("Add a lot here", f"/lots/new?box={slug}"),
        Link("Opened earlier", f"/boxes/{slug}/opened"),
        Link("Keep it otherwise?", f"/boxes/{slug}/compare"),
        Link("Review a season", f"/boxes/{slug}/review"),
        Link("Correct this box", f"/boxes/{slug}/edit"),
        Link("Label", f"/lots/labels?box={slug}"),
        Link("Archive this box", f"/boxes/{slug}/archive"),
        Link("Alerts of this box", f"/rules?box={slug}"),
    )


def opened_form(slug: str) -> FormView:
    """Make the one button that says the box was opened just now."""
    return FormView(f"/boxes/{slug}/opened", "Opened just now", ())
