"""The JSON interface."""

from typing import Any

import pytest
from starlette.testclient import TestClient

from hilum.domain.model import MS_PER_DAY
from web.small_world import NOW_MS

URL = "/api/boxes/drawer/history"


def history(client: TestClient, **query: object) -> dict[str, Any]:
    """Fetch a history that must be there."""
    answer = client.get(URL, params={name.strip("_"): str(value) for name, value in query.items()})
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


def error(client: TestClient, url: str) -> tuple[int, dict[str, Any]]:
    """Fetch an error; it must have the one shape."""
    answer = client.get(url)
    body = answer.json()
    assert set(body) == {"error"}
    assert set(body["error"]) == {"code", "message", "field"}
    assert body["error"]["message"].endswith(".")
    return answer.status_code, body["error"]


def test_history_gives_columns_of_one_length(client: TestClient) -> None:
    """A week of raw readings, in order of time, lowest below mean below highest."""
    found = history(client)
    assert found["tier"] == "raw"
    assert (found["from_ms"], found["to_ms"]) == (NOW_MS - 7 * MS_PER_DAY, NOW_MS)
    lists = {name: found[name] for name in found if isinstance(found[name], list)}
    columns = {name: values for name, values in lists.items() if name != "marks"}
    assert len(columns) == 9
    assert len({len(column) for column in columns.values()}) == 1
    assert found["time_ms"] == sorted(found["time_ms"])
    rows = zip(found["erh_lo"], found["erh_mid"], found["erh_hi"], strict=True)
    assert all(lo <= mid <= hi for lo, mid, hi in rows if lo is not None)


def test_history_shows_gaps_as_nulls(client: TestClient) -> None:
    """The day without readings is one row of nulls."""
    found = history(client)
    assert found["erh_mid"].count(None) == 1
    assert found["temp_mid"].index(None) == found["erh_mid"].index(None)


def test_history_has_no_more_rows_than_pixels(client: TestClient) -> None:
    """At 60 pixels a month of hours is 60 rows and one for the gap."""
    found = history(client, from_=NOW_MS - 30 * MS_PER_DAY, to=NOW_MS, width=60)
    assert found["tier"] == "hour"
    assert len(found["time_ms"]) == 61


def test_history_of_years_is_read_from_days(client: TestClient) -> None:
    """Long spans are as quick as short ones."""
    assert history(client, from_=NOW_MS - 4000 * MS_PER_DAY, to=NOW_MS)["tier"] == "day"


def test_history_of_nothing_is_empty(client: TestClient) -> None:
    """A span before the first reading has no rows and is no error."""
    assert history(client, from_=0, to=MS_PER_DAY)["time_ms"] == []


@pytest.mark.parametrize(
    ("url", "status", "code", "field"),
    [
        ("/api/boxes/none/history", 404, "not-found", None),
        (f"{URL}?from=5&to=5", 422, "invalid-input", "from"),
        (f"{URL}?width=1", 422, "invalid-input", "width"),
        (f"{URL}?from=yesterday", 422, "invalid-input", "from"),
        (f"{URL}?to=-1", 422, "invalid-input", "to"),
        (f"{URL}?to=999999999999999999999", 422, "invalid-input", "to"),
        ("/api/nothing", 404, "not-found", None),
    ],
)
def test_errors_have_one_shape(
    client: TestClient, url: str, status: int, code: str, field: str | None
) -> None:
    """Whatever went wrong is told by a code, a sentence and, where known, a field."""
    got, told = error(client, url)
    assert (got, told["code"], told["field"]) == (status, code, field)


def test_the_interface_describes_itself(client: TestClient) -> None:
    """The description names the history and the shape of errors, and no page."""
    found = client.get("/api/openapi.json").json()
    assert list(found["paths"]) == ["/api/boxes/{slug}/history"]  # readings: see test_intake.py
    assert "ErrorAnswer" in found["components"]["schemas"]
