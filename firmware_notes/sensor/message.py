"""Readings as a message: SenML in JSON (RFC 8428), as the contract has it.

Times stay whole numbers: many boards compute with 24-bit floats, in which the seconds since 1970
are right to two minutes only.
"""

TYPE_CHECKING = False  # for type checkers: a board has no module typing
if TYPE_CHECKING:
    Reading = tuple[int | None, int | None, int | None, int | None]


def topic(site: str, sensor: str, last: str = "readings") -> str:
    """Topic of a sensor's readings, or of its status."""
    return "hilum/{}/{}/{}".format(site, sensor, last)


def senml(readings: "list[Reading]") -> bytes:
    """One message with readings.

    Parameters
    ----------
    readings
        Tuples: time [s since 1970 UTC] or None without a clock; temperature [0.01 °C] or None;
        relative humidity [0.01 %] or None; voltage of the battery [mV] or None.
    """
    base = readings[0][0] or 0
    records = []
    for time_s, temp, humidity, battery in readings:
        for name, unit, value, digits in (
            ("temperature", "Cel", temp, 2),
            ("humidity", "%RH", humidity, 2),
            ("battery", "V", battery, 3),
        ):
            if value is not None:
                when = "" if time_s is None or time_s == base else ',"t":{}'.format(time_s - base)
                form = '"n":"{}","u":"{}","v":{}{}'
                records.append(form.format(name, unit, decimal(value, digits), when))
    if base and records:
        records[0] = '"bt":{},{}'.format(base, records[0])
    return ("[" + ",".join("{" + record + "}" for record in records) + "]").encode()


def decimal(value: int, digits: int) -> str:
    """Write a whole number of hundredths or thousandths as a decimal, without any rounding."""
    text = "{:0>{}}".format(abs(value), digits + 1)
    return "{}{}.{}".format("-" if value < 0 else "", text[:-digits], text[-digits:])
