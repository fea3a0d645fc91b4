"""What the sensor of ``firmware_notes`` does in tests, under CPython and MicroPython alike.

device.py FOLDER-OF-THE-SENSOR WHAT < ARGUMENTS

Runs the function ``WHAT`` with the arguments in a JSON object and prints its result as JSON.
"""

import json
import os
import sys

sys.path.insert(0, sys.argv[1])

import battery
import clock
import main
import message
import mqtt
import ring
import sht4x

TYPE_CHECKING = False  # MicroPython has no module typing
if TYPE_CHECKING:
    from typing import Any, BinaryIO

    from message import Reading

sht4x.WAIT_MS = 0  # the bus below answers at once
UNSET = 946684800  # 2000-01-01, where a board without a time begins


class Bus:
    """An I2C bus with one sensor, which gives the answers it was given, the last for ever."""

    def __init__(self, answers: "list[list[int] | None]") -> None:
        self.answers = answers
        self.asked: list[object] = []

    def writeto(self, address: int, data: bytes) -> None:
        """Take a command."""
        self.asked.append([address, list(data)])

    def readfrom(self, address: int, count: int) -> bytes:
        """Give the next answer; None stands for a sensor that gives none."""
        del address
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        if answer is None:
            raise OSError(5)
        return bytes(answer[:count])


class Input:
    """An analogue input."""

    def __init__(self, values: "list[int]") -> None:
        self.values = values

    def read_u16(self) -> int:
        """Give the next value; they come round."""
        self.values.append(self.values.pop(0))
        return self.values[-1]


def frame(temp: int, humidity: int) -> "list[int]":
    """Words and checksums as the sensor sends them."""
    words = [bytes([word >> 8, word & 0xFF]) for word in (temp, humidity)]
    return [byte for word in words for byte in (word[0], word[1], sht4x.crc8(word))]


def crc(data: "list[int]") -> int:
    """Checksum of bytes."""
    return sht4x.crc8(bytes(data))


def read(answers: "list[list[int] | None]") -> "dict[str, object]":
    """Measure once on a bus that gives these answers."""
    bus = Bus(answers)
    try:
        values = list(sht4x.Sht4x(bus).read())
    except sht4x.SensorError:
        return {"values": None, "asked": bus.asked}
    return {"values": values, "asked": bus.asked}


def measured(temp: int, humidity: int) -> "dict[str, object]":
    """Measure these words."""
    return read([frame(temp, humidity)])


def volts(samples: "list[int] | None", full_scale_v: float, divider: float) -> float | None:
    """Voltage from what an input reads."""
    return battery.volts(None if samples is None else Input(samples), full_scale_v, divider)


def pack(readings: "list[Reading]") -> str:
    """One message."""
    return message.senml(readings).decode()


def keep(folder: str, readings: "list[Any]", files: int = 32) -> int:
    """Start, keep readings, and say how many wait."""
    kept = ring.Ring(folder, files)
    for reading in readings:
        kept.add(*reading)
    return len(kept)


def waiting(folder: str, most: int, *, mark: bool = False, files: int = 32) -> "list[Any]":
    """Start and give what waits; with ``mark`` it counts as sent."""
    kept = ring.Ring(folder, files)
    found, place = kept.oldest(most)
    if mark:
        kept.mark_sent(place)
    return [list(reading) for reading in found]


def stumble(folder: str, readings: "list[Any]", junk: int) -> "list[Any]":
    """Keep readings, the first with an error on the way; gives what waits, and the rest."""
    kept, real = ring.Ring(folder), ring._to_flash

    def fail(file: "BinaryIO") -> None:
        file.write(bytes(junk))
        raise OSError(28)

    ring._to_flash = fail
    try:  # noqa: SIM105 - MicroPython has no contextlib
        kept.add(*readings[0])
    except OSError:
        pass
    ring._to_flash = real
    for reading in readings[1:]:
        kept.add(*reading)
    found, place = kept.oldest(99)
    kept.mark_sent(place)
    return [[list(reading) for reading in found], len(kept)]


def unreadable(folder: str, readings: "list[Any]") -> int:
    """Keep readings, lose their file while running, and give how many are left to send."""
    kept = ring.Ring(folder)
    for reading in readings:
        kept.add(*reading)
    os.remove(folder + "/00000000.dat")  # noqa: PTH107 - MicroPython
    found, place = kept.oldest(99)
    assert not found
    kept.mark_sent(place)
    return len(kept)


class Stream:
    """A line that takes some bytes at a time, as over TLS on a board."""

    def __init__(self, takes: "list[int | None]") -> None:
        self.takes, self.data = takes, b""

    def write(self, data: bytes) -> int | None:
        """Take as much as is next."""
        taken = self.takes.pop(0)
        self.data += bytes(data[: taken or 0])
        return taken

    def close(self) -> None:
        """Let go."""


def written(data: str, takes: "list[int | None]") -> "list[object]":
    """Write to such a line; gives what it has, and whether that went well."""
    link = mqtt.Link("127.0.0.1", 9)
    link.stream = stream = Stream(takes)
    try:
        link._write(data.encode())
    except OSError:
        return [stream.data.decode(), False]
    return [stream.data.decode(), True]


class Caller:
    """A link that only notes as whom it connects."""

    stream = None

    def __init__(self, *, fails: bool = False) -> None:
        self.fails = fails

    def connect(self, name: str, user: str | None, password: str | None) -> None:
        """Note the name."""
        del user, password
        self.name = name
        self.sent: list[Any] = []

    def publish(self, topic: str, payload: bytes) -> None:
        """Keep what is said, but for the first time."""
        del topic
        if self.fails:
            self.fails = False
            raise mqtt.LinkError("cut")
        self.sent += json.loads(payload)

    def disconnect(self) -> None:
        """Go."""


def client_id(site: str, sensor: str, folder: str) -> str:
    """Under which name a sensor connects."""
    config = {"site": site, "sensor": sensor, "broker": "", "port": 0}
    one = station(config, folder, [UNSET], [])
    one.link = caller = Caller()  # type: ignore[assignment]
    one._connect()
    return caller.name


def drifted(folder: str, times: "list[int]", wrong: int, true: int) -> "dict[str, Any]":
    """Send readings of these times when the board's clock says ``wrong``; gives times and clock."""
    config = {"site": "home", "sensor": "tub-1", "broker": "", "port": 0, "retry_first_s": 0}
    one = station(config, folder, [wrong], [])
    for time_s in times:
        one.ring.add(time_s, 2000, 3000, None)
    one.link = caller = Caller(fails=True)  # type: ignore[assignment]
    one.learn(true)
    assert one.send()
    base = caller.sent[0]["bt"]
    found = [base + each.get("t", 0) for each in caller.sent if each["n"] == "humidity"]
    return {"times": found, "clock": one.clock.now()}


def now(seconds: float) -> int | None:
    """What a clock makes of the board's own count."""
    return clock.Clock(lambda: seconds).now()


def ask(port: int, timeout_s: float = 2) -> "list[int | bool | None]":
    """Ask a time server from a board that was never set."""
    watch = clock.Clock(lambda: UNSET)
    before, true = watch.now(), clock.ntp_time("127.0.0.1", port, timeout_s)
    if true is not None:
        watch.set(true)
    return [before, true is not None, watch.now()]


def pauses(count: int, first_s: float, most_s: float, draw: float) -> "list[float]":
    """Give the first pauses between tries."""
    stream = mqtt.delays(first_s, most_s, lambda: draw)
    return [next(stream) for _ in range(count)]


def station(
    config: "dict[str, Any]", folder: str, seconds: "list[int]", words: "list[list[int]]"
) -> "main.Station":
    """Put the sensor together, with a bus that repeats ``words`` and a board's count of seconds."""
    context = None
    if "ca_file" in config:
        with open(config["ca_file"], "rb") as file:  # noqa: PTH123 - MicroPython
            context = mqtt.tls(file.read())
    bus = Bus([frame(*pair) for pair in words])
    link = mqtt.Link(config["broker"], config["port"], context, 5)
    watch = clock.Clock(lambda: seconds[0])
    return main.Station(config, sht4x.Sht4x(bus), watch, ring.Ring(folder), link)


def turn(config: "dict[str, Any]", folder: str, seconds: int, *, online: bool = True) -> int:
    """One wake at which it is time to send; says how many readings still wait."""
    one = station(config, folder, [seconds], [[0x6666, 0x6666]])
    main.wake(one, lambda: online)
    return len(one.ring)


class Machine:
    """The module of a board that has its hardware, as far as the sensor uses it."""

    def __init__(self, answers: "list[list[int] | None]", readings: "list[int]") -> None:
        self.told: list[object] = []
        self.bus = Bus(answers)
        self.input = Input(readings)

    def I2C(self, number: int, scl: str, sda: str) -> Bus:  # noqa: N802 - the name it has there
        """Give the bus."""
        self.told.append(["I2C", number, scl, sda])
        return self.bus

    def ADC(self, pin: str) -> Input:  # noqa: N802
        """Give the input."""
        self.told.append(["ADC", pin])
        return self.input

    def Pin(self, number: int) -> str:  # noqa: N802
        """Give a pin."""
        return "pin {}".format(number)  # noqa: UP032 - as on the board

    def RTC(self) -> "Machine":  # noqa: N802
        """Give the clock."""
        return self

    def datetime(self, when: "tuple[int, ...]") -> None:
        """Set the clock."""
        self.told.append(["clock", list(when)])

    def deepsleep(self, count: int) -> None:
        """Sleep; on a board nothing comes after it."""
        self.told.append(["sleep", count])
        raise SystemExit


class Network:
    """The module with the wireless network."""

    STA_IF = 0

    def __init__(self, joins: bool) -> None:
        self.joins, self.joined = joins, False

    def WLAN(self, kind: int) -> "Network":  # noqa: N802
        """Give the line."""
        del kind
        return self

    def active(self, on: bool) -> None:
        """Switch it on."""
        assert on

    def isconnected(self) -> bool:
        """Whether it has joined."""
        return self.joined

    def connect(self, name: str, password: str) -> None:
        """Join a network."""
        self.joined = self.joins and (name, password) == ("shed", "hush")


def boot(answers: "list[list[int] | None]", folder: str, *, joins: bool) -> "dict[str, object]":
    """Run the program of the board from its start to its first deep sleep."""
    machine = Machine(answers, [40000])
    sys.modules["machine"] = machine  # type: ignore[assignment]
    sys.modules["network"] = Network(joins)  # type: ignore[assignment]
    os.chdir(folder)
    try:  # noqa: SIM105 - MicroPython has no contextlib
        main.run()
    except SystemExit:
        pass
    asked = machine.bus.asked[:1]
    return {"told": machine.told, "waits": len(ring.Ring("kept")), "asked": asked}


def season(config: "dict[str, Any]", folder: str, days: "list[int]", note: str) -> str:
    """Measure and send by a clock that needs no waiting: ``days`` is start, count and step [s].

    ``note`` is a file with the number of readings in flash so far, so that after a power cut the
    world goes on where it was.
    """
    start, count, every = days
    done = int(text_of(note) or "0")
    seconds = [start]
    one = station(config, folder, seconds, [])
    bus = one.sensor.i2c
    while done < count:
        seconds[0] = start + done * every
        bus.answers = [frame(20000 + done, 30000 - done)]  # type: ignore[attr-defined]
        one.measure()
        done += 1
        with open(note, "w") as file:  # noqa: PTH123 - MicroPython
            file.write(str(done))
        if one.due():
            one.send()
    while len(one.ring):
        one.send()
    return "done"


def text_of(path: str) -> str:
    """Text of a file; empty if there is none."""
    try:
        with open(path) as file:  # noqa: PTH123 - MicroPython
            return file.read()
    except OSError:
        return ""


if __name__ == "__main__":
    print(json.dumps(globals()[sys.argv[2]](**json.loads(sys.stdin.read()))))
