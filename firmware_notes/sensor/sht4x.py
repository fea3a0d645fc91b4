"""Temperature and humidity from a sensor of the SHT4x family on an I2C bus.

Command 0xFD measures with high repeatability; after 10 ms the sensor answers with six bytes:
temperature word, its CRC, humidity word, its CRC (data sheet of the family, "read"; the 10 ms are
its longest measuring time of 8.3 ms with something to spare, "memory, high").
"""

import time

TYPE_CHECKING = False  # for type checkers: a board has no module typing
if TYPE_CHECKING:
    from typing import Protocol

    class Bus(Protocol):
        """An I2C bus."""

        def writeto(self, address: int, data: bytes) -> object:
            """Send bytes to a device."""

        def readfrom(self, address: int, count: int) -> bytes:
            """Read bytes from a device."""


ADDRESS = 0x44
MEASURE = b"\xfd"
WAIT_MS = 10
TRIES = 3


class SensorError(Exception):
    """The sensor does not answer, or its answer is damaged."""


def crc8(data: bytes) -> int:
    """Checksum of the sensor: polynomial 0x31, start 0xFF (0xBE 0xEF gives 0x92)."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1) ^ 0x31 if crc & 0x80 else crc << 1
            crc &= 0xFF
    return crc


def temperature_c(word: int) -> float:
    """Temperature [°C] from the first word."""
    return -45 + 175 * word / 65535


def humidity_pct(word: int) -> float:
    """Relative humidity [%] from the second word, clipped to 0 to 100 as the data sheet asks."""
    return min(100, max(0, -6 + 125 * word / 65535))


class Sht4x:
    """The sensor.

    Parameters
    ----------
    i2c
        A bus with ``writeto(address, bytes)`` and ``readfrom(address, count)``.
    """

    def __init__(self, i2c: "Bus", address: int = ADDRESS) -> None:
        self.i2c = i2c
        self.address = address

    def read(self) -> tuple[float, float]:
        """Measure once; give temperature [°C] and relative humidity [%].

        A damaged answer is asked for again; raises SensorError if none of the tries is good.
        """
        for _ in range(TRIES):
            try:
                self.i2c.writeto(self.address, MEASURE)
                time.sleep(WAIT_MS / 1000)
                answer = self.i2c.readfrom(self.address, 6)
            except OSError:
                continue
            if crc8(answer[0:2]) == answer[2] and crc8(answer[3:5]) == answer[5]:
                first, second = answer[0] << 8 | answer[1], answer[3] << 8 | answer[4]
                return temperature_c(first), humidity_pct(second)
        raise SensorError("no good answer from the sensor")
