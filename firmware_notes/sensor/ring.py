"""Readings that wait in flash until the broker has them; a power cut costs at most the last one.

Readings are appended to small files of 256 records, so that nothing written is ever touched again
(flash file systems copy what is changed in the middle). Each record carries a checksum: one that
was cut short is known, and the next goes into a new file. When all files are full, the oldest is
given up. What was sent is noted in a file of its own, which is replaced whole; should that note be
lost, some readings are sent twice, which changes nothing (same sensor, same time).
"""

import binascii
import os
import struct

TYPE_CHECKING = False  # for type checkers: a board has no module typing
if TYPE_CHECKING:
    from typing import BinaryIO

    from message import Reading

FORM = "<IhHHH"  # time [s], temperature [0.01 °C], humidity [0.01 %], battery [mV], checksum
SIZE = 12
PER_FILE = 256
NO_TEMP, NO_VALUE = 0x7FFF, 0xFFFF


class Ring:
    """The readings of one sensor.

    Parameters
    ----------
    folder
        Where the files are; made if it is not there.
    files
        How many files are kept: 32 hold 8,192 readings, 56 days at one in ten minutes.
    """

    def __init__(self, folder: str, files: int = 32) -> None:
        self.folder = folder
        self.files = files
        try:
            os.mkdir(folder)
        except OSError:
            pass
        names = sorted(int(name[:-4]) for name in os.listdir(folder) if name[-4:] == ".dat")
        self.first = names[0] if names else 0
        self.last = names[-1] if names else 0
        self.count = self._whole(self.last)
        self.sent = max(self._read_sent(), self.first * PER_FILE)
        if self.sent > self._end():  # flash lost what had been sent: new readings take its place
            self.mark_sent(self._end())

    def __len__(self) -> int:
        """How many readings wait."""
        return self._end() - self.sent

    def _end(self) -> int:
        return self.last * PER_FILE + self.count

    def add(self, time_s: int, temp: int | None, humidity: int | None, battery: int | None) -> None:
        """Write one reading to flash; units as in message.py."""
        if self.count >= PER_FILE:
            self.last += 1
            self.count = 0
            while self.last - self.first >= self.files:
                self._drop_oldest()
        body = struct.pack(
            "<IhHH",
            time_s,
            NO_TEMP if temp is None else temp,
            NO_VALUE if humidity is None else humidity,
            NO_VALUE if battery is None else battery,
        )
        try:
            with open(self._path(self.last), "ab") as file:
                file.write(body + struct.pack("<H", checksum(body)))
                _to_flash(file)
        except OSError:
            self.count = self._whole(self.last)  # none, a part or all of it may stand there
            raise
        self.count += 1

    def oldest(self, most: int) -> "tuple[list[Reading], int]":
        """Give up to ``most`` waiting readings, oldest first, and the place after them."""
        found: list[Reading] = []
        place = self.sent
        end = self._end()
        while place < end and len(found) < most:
            number, index = divmod(place, PER_FILE)
            data = self._read(number, index, most - len(found))
            if not data:  # the rest of this file was never written
                place = min((number + 1) * PER_FILE, end)
                continue
            for start in range(0, len(data), SIZE):
                reading = unpacked(data[start : start + SIZE])
                if reading is not None:
                    found.append(reading)
            place += len(data) // SIZE
        return found, place

    def mark_sent(self, place: int) -> None:
        """Note that everything before ``place`` has arrived, and drop the files that are done."""
        self.sent = place
        body = struct.pack("<I", place)
        with open(self.folder + "/sent.new", "wb") as file:
            file.write(body + struct.pack("<H", checksum(body)))
            _to_flash(file)
        os.rename(self.folder + "/sent.new", self.folder + "/sent")
        while self.first < self.last and (self.first + 1) * PER_FILE <= place:
            self._drop_oldest()

    def _drop_oldest(self) -> None:
        try:
            os.remove(self._path(self.first))
        except OSError:
            pass
        self.first += 1
        self.sent = max(self.sent, self.first * PER_FILE)

    def _whole(self, number: int) -> int:
        """Records in a file; a file whose end was cut short counts as full, so a new one begins."""
        data = self._read(number, 0, PER_FILE + 1)
        torn = self._length(number) % SIZE != 0
        if data and unpacked(data[-SIZE:]) is None:
            torn = True
        return PER_FILE if torn else len(data) // SIZE

    def _length(self, number: int) -> int:
        try:
            return os.stat(self._path(number))[6]
        except OSError:
            return 0

    def _read(self, number: int, index: int, most: int) -> bytes:
        """Give whole records of a file from ``index`` on."""
        try:
            with open(self._path(number), "rb") as file:
                file.seek(index * SIZE)
                data = file.read(most * SIZE)
        except OSError:
            return b""
        return data[: len(data) // SIZE * SIZE]

    def _read_sent(self) -> int:
        try:
            with open(self.folder + "/sent", "rb") as file:
                data = file.read(6)
        except OSError:
            return 0
        if len(data) < 6 or struct.unpack("<H", data[4:])[0] != checksum(data[:4]):
            return 0
        place: int = struct.unpack("<I", data[:4])[0]
        return place

    def _path(self, number: int) -> str:
        return "{}/{:08d}.dat".format(self.folder, number)


def checksum(data: bytes) -> int:
    """Two bytes of a CRC-32."""
    return binascii.crc32(data) & 0xFFFF


def unpacked(data: bytes) -> "Reading | None":
    """A record as (time, temperature, humidity, battery); None if it is damaged."""
    time_s, temp, humidity, battery, check = struct.unpack(FORM, data)
    if check != checksum(data[: SIZE - 2]):
        return None
    return (
        time_s,
        None if temp == NO_TEMP else temp,
        None if humidity == NO_VALUE else humidity,
        None if battery == NO_VALUE else battery,
    )


def _to_flash(file: "BinaryIO") -> None:
    file.flush()
    if hasattr(os, "fsync"):
        os.fsync(file.fileno())
    elif hasattr(os, "sync"):
        os.sync()
