"""The JSON interface: values for programs and for the charts."""

from dataclasses import asdict
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Path, Query, Security
from fastapi.security import HTTPBearer
from pydantic import BaseModel, ConfigDict, Field

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import MS_PER_DAY, Box, Floats
from hilum.keeping.overview import Tier, box_history, box_overview
from hilum.web.deeds.watchviews import watched
from hilum.web.parts import WebParts
from hilum.web.views.aheads import future
from hilum.web.views.boxes import card
from hilum.web.views.charts import VALUES, decimate
from hilum.web.views.marks import marks

MAX_MS = 253_402_300_799_000
"""End of the year 9999, the last that dates can hold."""

Milliseconds = Annotated[int, Query(ge=0, le=MAX_MS)]
Column = list[float | None]


class Strict(BaseModel):
    """A model that takes nothing for something else."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class ErrorDetail(Strict):
    """What went wrong."""

    code: str = Field(description="stable name of the error")
    message: str = Field(description="one sentence for a person")
    field: str | None = Field(default=None, description="what was given wrongly, if known")


class ErrorAnswer(Strict):
    """The one shape of every error."""

    error: ErrorDetail


class MarkAnswer(Strict):
    """Something that happened in a box."""

    sign: str = Field(description="opened, swap (of desiccant), weighed, or alert")
    time_ms: int = Field(description="when, milliseconds since 1970 UTC")
    until_ms: int | None = Field(description="end of an alert; null for a moment")
    words: str = Field(description="what happened, for a person")


class AheadAnswer(Strict):
    """Humidity to come if nothing is done: columns of equal length.

    Nine futures in ten lie between ``low`` and ``high``.
    """

    time_ms: list[int] = Field(description="milliseconds since 1970 UTC")
    low: list[float] = Field(description="% eRH")
    mid: list[float] = Field(description="% eRH")
    high: list[float] = Field(description="% eRH")
    due_low_ms: int | None = Field(description="desiccant due, early end; null beyond a year")
    due_high_ms: int | None = Field(description="desiccant due, late end; null beyond a year")


class HistoryAnswer(Strict):
    """Conditions in a box: columns of equal length, null where nothing is known.

    At most one row per bucket; ``lo``, ``mid`` and ``hi`` are the lowest, mean and highest value in
    it. A row of nulls stands in every gap.
    """

    box: str = Field(description="the box")
    tier: Tier = Field(description="what the rows were made from: raw readings, hours or days")
    from_ms: int = Field(description="start, milliseconds since 1970 UTC")
    to_ms: int = Field(description="end, milliseconds since 1970 UTC")
    time_ms: list[int] = Field(description="time of each row, milliseconds since 1970 UTC")
    temp_lo: Column = Field(description="°C")
    temp_mid: Column = Field(description="°C")
    temp_hi: Column = Field(description="°C")
    erh_lo: Column = Field(description="% eRH")
    erh_mid: Column = Field(description="% eRH")
    erh_hi: Column = Field(description="% eRH")
    mc_starchy_pct: Column = Field(description="% wet basis, small starchy seed in paper")
    mc_oily_pct: Column = Field(description="% wet basis, small oily seed in paper")
    marks: list[MarkAnswer] = Field(description="what happened, in order of time")
    ahead: AheadAnswer | None = Field(
        description="what is to come, as far as the span reaches beyond now; null if not known"
    )


GUARDED: dict[int | str, dict[str, object]] = {
    401: {"model": ErrorAnswer, "description": "No token that holds was shown"},
    403: {"model": ErrorAnswer, "description": "The token is not meant for that"},
    421: {"model": ErrorAnswer, "description": "Hilum does not answer under this name"},
    503: {
        "model": ErrorAnswer,
        "description": "The database does not answer, or a figure takes long; try again later",
    },
}
"""What every address may answer with."""

TOKEN = Security(
    HTTPBearer(auto_error=False, scheme_name="token", description="made by “hilum tokens add”")
)

ERRORS: dict[int | str, dict[str, object]] = {
    **GUARDED,
    404: {"model": ErrorAnswer, "description": "There is no such box"},
    422: {"model": ErrorAnswer, "description": "What was given cannot be used"},
}


def _column(values: Floats) -> Column:
    rounded = np.round(values, 2).astype(object)
    rounded[np.isnan(values)] = None
    return list(rounded)


def _ahead(parts: WebParts, box: Box, end_ms: int) -> AheadAnswer | None:
    """Give what is to come of a box until a time."""
    found = future(watched(parts, box))
    if found is None:
        return None
    shown = found.until(end_ms)
    return AheadAnswer(
        time_ms=[int(t) for t in shown.time_ms],
        low=np.round(shown.low_pct, 2).tolist(),
        mid=np.round(shown.middle_pct, 2).tolist(),
        high=np.round(shown.high_pct, 2).tolist(),
        due_low_ms=shown.due_ms[0],
        due_high_ms=shown.due_ms[2],
    )


def api_router(parts: WebParts) -> APIRouter:
    """Routes under ``/api``."""
    router = APIRouter(prefix="/api")

    @router.get("/boxes/{slug}/history", responses=ERRORS, dependencies=[TOKEN])
    def history(
        slug: Annotated[str, Path(description="the box, as in the address of its page")],
        start_ms: Annotated[
            Milliseconds | None, Query(alias="from", description="start, ms since 1970 UTC")
        ] = None,
        end_ms: Annotated[
            Milliseconds | None, Query(alias="to", description="end, ms since 1970 UTC; else now")
        ] = None,
        width: Annotated[int, Query(ge=50, le=4000, description="pixels to draw on")] = 800,
    ) -> HistoryAnswer:
        """Give temperature, humidity and typical seed moisture of a box, by default of a week."""
        box = parts.store.box(slug)
        end = parts.clock.now_ms() if end_ms is None else end_ms
        start = max(0, end - 7 * MS_PER_DAY) if start_ms is None else start_ms
        if start >= end:
            raise InvalidInputError("“from” must lie before “to”.", "from")
        found = box_history(parts.store, box, start, end, width)
        now_ms = parts.clock.now_ms()
        happened = marks(parts.store, box, (start, end), now_ms)
        columns = decimate(found, start, end, width)
        return HistoryAnswer(
            box=slug,
            tier=found.tier,
            from_ms=start,
            to_ms=end,
            time_ms=[int(t) for t in columns.time_ms],
            marks=[MarkAnswer(**asdict(mark)) for mark in happened],
            ahead=_ahead(parts, box, end) if end > now_ms else None,
            **{name: _column(getattr(columns, name)) for name in VALUES},
        )

    return router


class LiveBox(Strict):
    """Newest values of a box, as sent to open pages."""

    box: str
    temp_c: float | None
    erh_pct: float | None
    time_ms: int
    words: str = Field(description="the keeping band in words")
    now_words: str
    temp_words: str
    erh_words: str
    stamp_kind: str
    stamp_words: str


def live_json(parts: WebParts, slug: str) -> str | None:
    """Describe a box for open pages; ``None`` if it is gone or has said nothing."""
    try:
        box = parts.store.box(slug)
    except NotFoundError:
        return None
    overview = box_overview(parts.store, box, parts.clock.now_ms())
    if overview.newest is None:
        return None
    shown = card(overview, parts.style)
    return LiveBox(
        box=slug,
        temp_c=overview.newest.temp_c,
        erh_pct=overview.newest.erh_pct,
        time_ms=overview.newest.time_ms,
        words=shown.band.label,
        now_words=shown.band.now_words,
        temp_words=shown.temp,
        erh_words=shown.erh,
        stamp_kind=shown.stamp.kind,
        stamp_words=shown.stamp.words,
    ).model_dump_json()
