"""The pages: ask through a port, fill a context, render."""

from collections.abc import Awaitable, Callable
from dataclasses import asdict, replace
from typing import Annotated

from fastapi import APIRouter, Query
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse

from hilum.domain.alerts import AlertState
from hilum.domain.model import Placement
from hilum.keeping.care.register import out_of_address
from hilum.keeping.overview import (
    box_extent,
    box_history,
    box_overview,
    current_sensor,
    lots_inside,
)
from hilum.keeping.reckoning import corrected
from hilum.web.api import live_json
from hilum.web.compares import compare_all, compare_lot
from hilum.web.deeds.boxdeeds import box_deeds
from hilum.web.deeds.boxends import archive_deed
from hilum.web.deeds.correctiondeeds import correction_deeds
from hilum.web.deeds.doing import Deed, add_deeds
from hilum.web.deeds.firststart import first_path, heard
from hilum.web.deeds.journaldeeds import journal_deeds, journal_file
from hilum.web.deeds.lotdeeds import lot_deeds
from hilum.web.deeds.lotentry import entry_deeds
from hilum.web.deeds.ruledeeds import rule_deeds, rules_page
from hilum.web.deeds.sensordeeds import sensor_deeds
from hilum.web.deeds.settingspage import channel_deed, settings_page
from hilum.web.deeds.tellingdeeds import telling_deeds
from hilum.web.deeds.watchviews import alert_cards, open_alerts, seen_deed, watched, water
from hilum.web.guard.callers import Who
from hilum.web.labels import labels
from hilum.web.live import Listener, stream
from hilum.web.parts import WebParts
from hilum.web.render import Renderer
from hilum.web.reviews import review
from hilum.web.seasons import order_file, season, season_deeds, seasons
from hilum.web.views.aheads import future
from hilum.web.views.boxes import box_care, box_doing, box_facts, boxes_page, card, opened_form
from hilum.web.views.calendars import calendar
from hilum.web.views.contexts import BoxPage, HeardPage, SurePage
from hilum.web.views.history import BUCKETS, DEFAULT_RANGE, Shown, chart, range_named, span_of
from hilum.web.views.lots import lot_page, lot_url, lots_page, rows_in_box
from hilum.web.views.marks import marks
from hilum.web.views.records import (
    JournalFilter,
    journal_days,
    journal_page,
    sensor_row,
    sensors_page,
)
from hilum.web.views.said import said

MOST_REJECTS = 500
BOX_EVENTS = 8


def page_router(parts: WebParts, render: Renderer) -> APIRouter:
    """Routes of all pages."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    add_deeds(router, parts, render, all_deeds(parts))
    for path, page in (
        ("/", boxes(parts, render)),
        ("/boxes/{slug}", box(parts, render)),
        ("/lots", lots(parts, render)),
        ("/lots/labels", labels(parts, render)),
        ("/lots/{code}", lot(parts, render)),
        ("/lots/{code}/compare", compare_lot(parts, render)),
        ("/boxes/{slug}/compare", compare_all(parts, render)),
        ("/boxes/{slug}/review", review(parts, render)),
        ("/season", seasons(parts, render)),
        ("/season/{key}", season(parts, render)),
        ("/season/{key}/order.csv", order_file(parts, ".csv")),
        ("/season/{key}/order.xlsx", order_file(parts, ".xlsx")),
        ("/settings", settings_page(parts, render)),
        ("/rules", rules_page(parts, render)),
        ("/journal", journal(parts, render)),
        ("/journal/export.csv", journal_file(parts)),
        ("/sensors", sensors(parts, render)),
        ("/sensors/heard", heard_now(parts, render)),
        ("/sure", sure(render)),
        ("/live", live(parts)),
        ("/healthz", health(parts)),
    ):
        router.add_api_route(path, page, response_model=None)
    return router


def all_deeds(parts: WebParts) -> tuple[Deed, ...]:
    """Everything that can be done on the pages."""
    return (
        *box_deeds(parts),
        archive_deed(parts),
        *sensor_deeds(parts),
        *correction_deeds(parts),
        *entry_deeds(parts),
        *lot_deeds(parts),
        *journal_deeds(parts),
        seen_deed(parts),
        *season_deeds(parts),
        channel_deed(parts),
        *rule_deeds(parts),
        *telling_deeds(parts),
    )


def boxes(parts: WebParts, render: Renderer) -> Callable[[Request], Response]:
    """All boxes, and what needs doing today."""

    def page(request: Request) -> Response:
        store, now_ms = parts.store, parts.clock.now_ms()
        lots = parts.kept("lots by box", lambda at_ms: lots_inside(store, at_ms))
        overviews = [
            box_overview(store, b, now_ms, lots=lots[b.slug])
            for b in store.boxes()
            if not b.archived
        ]
        placed = _placed_now(parts, now_ms)
        unclaimed = sum(1 for sensor in store.sensors() if sensor.name not in placed)
        raised = open_alerts(store, AlertState.RAISED)
        context = boxes_page(
            overviews,
            unclaimed,
            now_ms,
            style=parts.style,
            path=first_path(parts),
            alerts=alert_cards(raised, _box_names(parts), parts.style, "/"),
        )
        return render(request, "boxes.html", context)

    return page


def box(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """One box."""

    def page(
        request: Request,
        slug: str,
        shown: Annotated[str, Query(alias="range")] = DEFAULT_RANGE.name,
        did: str = "",
    ) -> Response:
        store, now_ms, style = parts.store, parts.clock.now_ms(), parts.style
        found = store.box(slug)
        overview = box_overview(store, found, now_ms)
        chosen = range_named(shown)
        span = span_of(chosen, box_extent(store, found, now_ms), now_ms)
        shown_now = Shown(
            history=box_history(store, found, *span, BUCKETS),
            span=span,
            happened=marks(store, found, span, now_ms),
            future=future(watched(parts, found)),
        )
        placements = store.placements(box=slug)
        context = BoxPage(
            title=found.name,
            said=said(store, did, f"/boxes/{slug}", box=slug),
            opened=opened_form(slug),
            doing=box_doing(slug),
            care=box_care(slug),
            card=card(overview, style),
            alerts=alert_cards(open_alerts(store, box=slug), {}, style, f"/boxes/{slug}"),
            water=water(parts, found),
            chart=chart(found, shown_now, chosen, style),
            calendar=parts.kept(
                ("calendar", slug), lambda at_ms: calendar(store, found, at_ms, style), about=found
            ),
            facts=box_facts(found, placements, now_ms, style),
            note=found.note,
            lots=rows_in_box(parts, slug),
            days=journal_days(store.events(box=slug, limit=BOX_EVENTS), {}, style),
            journal_url=f"/journal?box={slug}",
        )
        return render(request, "box.html", context)

    return page


def lots(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """All lots."""

    def page(request: Request, q: str = "", order: str = "", part: int = 1) -> Response:
        return render(request, "lots.html", lots_page(parts, q, order, part))

    return page


def lot(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """One lot."""

    def page(request: Request, code: str, did: str = "") -> Response:
        code = out_of_address(code)
        done = said(parts.store, did, lot_url(code), lot=code)
        context = lot_page(parts.store, code, parts.clock.now_ms(), parts.style, done)
        return render(request, "lot.html", context)

    return page


def journal(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """Everything that was noted, or what is looked for in it."""

    def page(
        request: Request,
        box: str = "",
        lot: str = "",
        shown: Annotated[str, Query(alias="type")] = "",
        did: str = "",
    ) -> Response:
        chosen = JournalFilter(box, lot, shown)
        done = said(parts.store, did, chosen.url)
        context = journal_page(parts.store, chosen, parts.style, done)
        if parts.sheets is None:
            context = replace(context, export="")
        return render(request, "journal.html", context)

    return page


def sensors(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """Sensors, how readings arrive, and what was refused."""

    def page(request: Request, did: str = "") -> Response:
        store, now_ms, style = parts.store, parts.clock.now_ms(), parts.style
        placed, names = _placed_now(parts, now_ms), _box_names(parts)
        rows = [
            sensor_row(
                s,
                corrected.newest(store, s.name),
                placed.get(s.name),
                own=store.newest(s.name),
                corrections=store.corrections(s.name),
                box_names=names,
                now_ms=now_ms,
                style=style,
            )
            for s in store.sensors()
        ]
        rejects = store.rejects(limit=MOST_REJECTS)
        done = said(store, did, "/sensors")
        counts, status = store.reject_counts(), parts.ingest_status()
        context = sensors_page(rows, rejects, counts, status, style=style, said=done)
        return render(request, "sensors.html", context)

    return page


def heard_now(parts: WebParts, render: Renderer) -> Callable[[Request], Response]:
    """What has been heard from sensors in no box: a part of a page, not a page."""

    def page(request: Request) -> Response:
        return render(request, "heard.html", HeardPage(heard(parts)))

    return page


def sure(render: Renderer) -> Callable[[Request], Response]:
    """Where figures come from and what they leave open."""

    def page(request: Request) -> Response:
        return render(request, "sure.html", SurePage(title="How sure is this?"))

    return page


def live(parts: WebParts) -> Callable[[Request, list[str]], Awaitable[Response]]:
    """Values as they come: one message per box that changed, of all or those that are named."""

    def describe(slug: str) -> str | None:
        return live_json(parts, slug)

    async def events(
        request: Request, box: Annotated[list[str], Query(default_factory=list)]
    ) -> Response:
        known = await run_in_threadpool(parts.store.boxes)
        grant = request.state.caller.grant
        changed = [b.slug for b in known if not box or b.slug in box]
        listener = Listener(changed, box, grant.id if grant else None)
        if not parts.live.add(listener):
            return Response("Live values are not to be had just now.", status_code=503)
        body = stream(parts.live, listener, lambda slug: run_in_threadpool(describe, slug))
        return StreamingResponse(
            body,
            media_type="text/event-stream",
            headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
        )

    return events


def health(parts: WebParts) -> Callable[[Request], Response]:
    """Whether Hilum can answer, for whoever watches over it; what is wrong, for the owner."""

    def answer(request: Request) -> Response:
        parts.store.boxes()
        checks = parts.health()
        well = all(check.good for check in checks)
        said: dict[str, object] = {"status": "ok" if well else "unwell"}
        if checks and request.state.caller.who is Who.OWNER:
            said["checks"] = [asdict(check) for check in checks]
        return JSONResponse(said, status_code=200 if well else 503)

    return answer


def _box_names(parts: WebParts) -> dict[str, str]:
    return {b.slug: b.name for b in parts.store.boxes()}


def _placed_now(parts: WebParts, now_ms: int) -> dict[str, Placement]:
    """Where each sensor stands now."""
    by_sensor: dict[str, list[Placement]] = {}
    for placement in parts.store.placements():
        by_sensor.setdefault(placement.sensor, []).append(placement)
    found = {name: current_sensor(places, now_ms) for name, places in by_sensor.items()}
    return {name: place for name, place in found.items() if place is not None}
