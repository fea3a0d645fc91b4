"""Readings over HTTP, for devices without MQTT: ``POST /api/readings``."""

from collections.abc import Awaitable, Callable

from fastapi import APIRouter
from pydantic import Field
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request

from hilum.domain.errors import InvalidInputError
from hilum.web.api import GUARDED, TOKEN, ErrorAnswer, Strict
from hilum.web.guard.callers import Caller
from hilum.web.guard.throttle import Buckets
from hilum.web.parts import TakeIn, WebParts

SENML = "application/senml+json"
BURST, PER_S = 60, 1.0

NOT_SENML = f"Send a SenML pack (RFC 8428) as {SENML}."
TOO_OFTEN = "This device sends too often: once a second is kept up with, sixty at once are taken."

REFUSALS: dict[int | str, dict[str, object]] = {
    **GUARDED,
    408: {"model": ErrorAnswer, "description": "The message took too long to arrive"},
    413: {"model": ErrorAnswer, "description": "The message is larger than 256 KiB"},
    415: {"model": ErrorAnswer, "description": "The message is not SenML JSON"},
    422: {"model": ErrorAnswer, "description": "Nothing in the message could be used"},
    429: {"model": ErrorAnswer, "description": "Messages come too often; try again later"},
}

BODY = {
    "requestBody": {
        "required": True,
        "description": "as on MQTT; the token names the sensor",
        "content": {
            SENML: {
                "schema": {"type": "array", "minItems": 1, "items": {"type": "object"}},
                "example": [
                    {"bt": 1764061200, "n": "temperature", "u": "Cel", "v": 19.8},
                    {"n": "humidity", "u": "%RH", "v": 27.4},
                ],
            }
        },
    }
}


class RejectedPart(Strict):
    """A part of a message that was not kept."""

    reason: str = Field(description="stable name of the reason")
    detail: str = Field(description="one sentence for a person")


class ReadingsAnswer(Strict):
    """What became of a message; what was stored is in the database, durably."""

    stored: int = Field(description="readings kept, each one moment")
    duplicates: int = Field(description="readings that were there already, as they are")
    rejected: list[RejectedPart] = Field(description="what was not kept, and why")


def intake_router(parts: WebParts, take_in: TakeIn) -> APIRouter:
    """Make the route for readings."""
    router = APIRouter()
    buckets = Buckets(BURST, PER_S)
    router.add_api_route(
        "/api/readings",
        readings(parts, take_in, buckets),
        methods=["POST"],
        response_model=ReadingsAnswer,
        responses=REFUSALS,
        openapi_extra=BODY,
        dependencies=[TOKEN],
        summary="Send readings",
    )
    return router


def readings(
    parts: WebParts, take_in: TakeIn, buckets: Buckets
) -> Callable[[Request], Awaitable[ReadingsAnswer]]:
    """Keep what a device sends; the answer comes after the commit."""

    async def act(request: Request) -> ReadingsAnswer:
        """Keep temperature and humidity of one sensor, of now or of the time it was offline.

        Sending the same message again changes nothing, so a device repeats it until it is answered.
        """
        caller: Caller = request.state.caller
        grant = caller.grant
        if grant is None:  # the rules let nobody else in
            raise HTTPException(403)
        if not buckets.take(grant.id, parts.clock.now_ms()):
            raise HTTPException(429, TOO_OFTEN, {"Retry-After": "10"})
        sent_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        if sent_type != SENML:
            raise HTTPException(415, NOT_SENML)
        body = await request.body()
        taken = await run_in_threadpool(take_in, grant.sensor, body)
        if not taken.stored and not taken.duplicates:
            raise InvalidInputError(" ".join(words for _, words in taken.rejected))
        return ReadingsAnswer(
            stored=taken.stored,
            duplicates=taken.duplicates,
            rejected=[RejectedPart(reason=name, detail=words) for name, words in taken.rejected],
        )

    return act
