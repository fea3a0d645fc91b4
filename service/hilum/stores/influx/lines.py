"""What goes over the wire: line protocol to write, InfluxQL to read, numbers to the last bit."""

import json
from typing import Any

from hilum.domain.errors import InvalidInputError
from hilum.stores.rules import Values

MEASUREMENT = "readings"
FIELDS = ("temp", "rh", "battery_pct", "battery_v")
# A field of our own beside them, always 1: counting it counts readings, whatever they report.
PRESENT = "n"
COLUMNS = ", ".join((PRESENT, *FIELDS))
# The engine counts nanoseconds since 1970 in 64 bits; its first and last milliseconds, rounded in.
FIRST_MS, LAST_MS = -9_223_372_036_853, 9_223_372_036_853


def check(sensor: str, time_ms: int) -> None:
    """Refuse what the engine cannot hold."""
    if not sensor:
        raise InvalidInputError("A sensor needs a name.", "sensor")
    if "\\" in sensor or not sensor.isprintable():
        raise InvalidInputError(
            "InfluxDB cannot keep a sensor whose name holds a backslash or a control character.",
            "sensor",
        )
    if not FIRST_MS <= time_ms <= LAST_MS:
        raise InvalidInputError("InfluxDB keeps times of the years 1678 to 2262 only.", "time_ms")


def line(sensor: str, time_ms: int, given: Values) -> str:
    """Write one reading; fields that are not reported are left out, so that none is erased."""
    tag = sensor.replace(",", "\\,").replace("=", "\\=").replace(" ", "\\ ")
    fields = [f"{PRESENT}=1i"]
    fields += [f"{name}={v}" for name, v in zip(FIELDS, map(number, given), strict=True) if v]
    return f"{MEASUREMENT},sensor={tag} {','.join(fields)} {time_ms}"


def number(value: float | None) -> str:
    """Write a number so that it is read back to the last bit; empty if there is none."""
    return "" if value is None else repr(float(value))


def where(sensor: str, start_ms: int, end_ms: int) -> str:
    """Write the condition start <= time < end, cut to the times the engine knows."""
    name = sensor.replace("\\", "\\\\").replace("'", "\\'").replace("\n", "\\n")
    start, end = (min(max(ms, FIRST_MS), LAST_MS + 1) for ms in (start_ms, end_ms))
    return f"FROM {MEASUREMENT} WHERE sensor = '{name}' AND time >= {start}ms AND time < {end}ms"


def parsed(text: str | bytes) -> Any:  # noqa: ANN401 - whatever the server says
    """Read JSON; the engine writes whole numbers without a point, minus zero too."""
    return json.loads(text, parse_int=lambda digits: -0.0 if digits == "-0" else int(digits))


def values(row: list[Any]) -> Values:
    """Give what a row of ``COLUMNS`` reports; its time and mark stand in front."""
    temp_c, rh_pct, battery_pct, battery_v = (None if v is None else float(v) for v in row[2:6])
    return (temp_c, rh_pct, battery_pct, battery_v)
