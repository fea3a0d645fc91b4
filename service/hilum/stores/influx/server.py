"""The server: lines in over ``/api/v2/write``, answers out over the v1-compatible ``/query``."""

import logging
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from hilum.domain.errors import PartMissingError, StoreError
from hilum.stores.influx.lines import parsed

BATCH_LINES = 5000
STATEMENTS = 20  # in one request; the address of a request must not grow too long
RETRIES = (
    2  # of a write, at once; whoever hands readings in tries again later, for as long as needed
)
REASON_CHARS = 300  # of what the server says itself
WORDS = {
    400: "refused what was sent",
    401: "does not accept the token (influx_token)",
    403: "does not let this token do that (influx_token)",
    404: "does not know the bucket or the address (influx_bucket, influx_url)",
    422: "refused what was sent; its bucket must keep data for ever",
    429: "has too much to do",
    503: "is not ready",
}


@dataclass(frozen=True, slots=True)
class Place:
    """Where the readings are.

    ``bucket`` is also the name of the database for queries; ``timeout_s`` holds for each request.
    """

    url: str
    bucket: str
    org: str = ""
    token: str = field(default="", repr=False)
    timeout_s: float = 20.0
    pause_s: float = 1.0  # before the first retry of a write


class Server:
    """Speaks with one InfluxDB; all its failures are ``StoreError`` in words. Connects on use."""

    def __init__(self, place: Place) -> None:
        self._place = place
        self._lock = threading.Lock()
        self._opened: Any = None
        self._closed = False

    def write(self, lines: Sequence[str]) -> None:
        """Write lines; when this returns the server has accepted all of them."""
        client = self._client()
        for start in range(0, len(lines), BATCH_LINES):
            batch = list(lines[start : start + BATCH_LINES])
            self._in_words(
                lambda batch=batch: client.write_api(write_options=_at_once()).write(
                    self._place.bucket, self._place.org, batch, write_precision="ms"
                )
            )

    def query(self, statements: Sequence[str]) -> list[list[list[Any]]]:
        """Give the rows of each statement, times in milliseconds."""
        rows: list[list[list[Any]]] = []
        for start in range(0, len(statements), STATEMENTS):
            rows += self._ask(statements[start : start + STATEMENTS])
        return rows

    def _ask(self, statements: Sequence[str]) -> list[list[list[Any]]]:
        client = self._client()
        asked = {"db": self._place.bucket, "epoch": "ms", "q": ";".join(statements)}
        answer = self._in_words(
            lambda: (
                client.api_client.call_api(
                    "/query",
                    "GET",
                    query_params=list(asked.items()),
                    header_params={"Accept": "application/json"},
                    _preload_content=False,
                    _return_http_data_only=True,
                ).data
            )
        )
        try:
            results = parsed(answer)["results"]
            told = [result["error"] for result in results if "error" in result]
            series = [result.get("series", []) for result in results]
            cut = any(one.get("partial") for group in series for one in group)
            rows = [group[0]["values"] if group else [] for group in series]
        except (ValueError, KeyError, TypeError, AttributeError, IndexError) as error:
            raise self._failed("gave an answer that is none of InfluxDB") from error
        if told:
            raise self._failed(f"could not answer: {told[0]}")
        if cut or len(rows) != len(statements):
            raise self._failed("gave only a part of its answer")
        return rows

    def _client(self) -> Any:  # noqa: ANN401 - a foreign object that stays in here
        with self._lock:
            self.check_open()
            if self._opened is None:
                try:
                    from influxdb_client.client.influxdb_client import (  # noqa: PLC0415 - large
                        InfluxDBClient,
                    )
                except ImportError as error:
                    raise PartMissingError(
                        "Readings in InfluxDB need an optional part. Where Hilum was installed "
                        "from, with its pip: pip install '.[influx]'"
                    ) from error
                # it logs every retry with all of the question; we say what failed ourselves
                logging.getLogger("urllib3.connectionpool").setLevel(logging.ERROR)
                place = self._place
                self._opened = InfluxDBClient(
                    place.url,
                    place.token,
                    org=place.org,
                    timeout=int(place.timeout_s * 1000),
                    enable_gzip=True,
                    retries=_retries(place),
                )
            return self._opened

    def _in_words(self, call: Any) -> Any:  # noqa: ANN401 - a foreign answer, used in here
        from influxdb_client.rest import ApiException  # noqa: PLC0415 - as above
        from urllib3.exceptions import (  # noqa: PLC0415 - as above
            ConnectTimeoutError,
            HTTPError,
            NewConnectionError,
            ReadTimeoutError,
        )

        try:
            return call()
        except ApiException as error:
            words = WORDS.get(error.status, f"answered with an error ({error.status})")
            if error.status in {400, 422}:  # its own reason says what about it
                words += f": {str(error.body)[:REASON_CHARS]}"
            raise self._failed(words) from error
        except HTTPError as error:
            reason = getattr(error, "reason", None) or error
            late = isinstance(reason, ConnectTimeoutError | ReadTimeoutError)
            late = late and not isinstance(reason, NewConnectionError)  # refused at once
            raise self._failed("did not answer in time" if late else "cannot be reached") from error

    def _failed(self, words: str) -> StoreError:
        return StoreError(f"InfluxDB at {self._place.url} {words}.")

    def check_open(self) -> None:
        """Refuse a call after the end."""
        if self._closed:
            raise self._failed("is no longer connected: the store is closed")

    def close(self) -> None:
        """Close its connections; further calls raise StoreError."""
        with self._lock:
            self._closed = True
            if self._opened is not None:
                self._opened.close()
                self._opened = None


def _at_once() -> Any:  # noqa: ANN401 - as above
    from influxdb_client.client.write_api import SYNCHRONOUS  # noqa: PLC0415 - as above

    return SYNCHRONOUS


def _retries(place: Place) -> Any:  # noqa: ANN401 - as above
    """Again after short pauses, also for writes: the same lines once more change nothing."""
    from urllib3.util import Retry  # noqa: PLC0415 - as above

    return Retry(
        total=RETRIES,
        backoff_factor=place.pause_s,
        status_forcelist=(429, 502, 503, 504),
        allowed_methods=None,
        respect_retry_after_header=False,  # it may be hours; the ingest has a patience of its own
        raise_on_status=False,
    )
