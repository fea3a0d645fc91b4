"""The sensor: wake, measure, keep; now and then send; sleep.

Copy the files of this folder to the board, with a ``config.json`` made from
``config.example.json`` and the certificate of the broker's authority as ``ca.der``.
"""

import json
import time

from battery import volts
from clock import Clock, ntp_time, stretched
from message import senml, topic
from mqtt import Link, LinkError, RefusedError, delays, tls
from ring import Ring
from sht4x import ADDRESS, SensorError, Sht4x

TYPE_CHECKING = False  # for type checkers: a board has no module typing
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from message import Reading

    Config = dict[str, Any]

COARSE_S = 300  # a clock further off than this has run by itself for long (our choice)
BATCH = 50  # readings in one message: some 7 kB


class Station:
    """A sensor, with its parts handed in, so that it runs without a board as well.

    Parameters
    ----------
    config
        What ``config.json`` holds.
    sensor, clock, ring, link
        Of the classes of this folder, or what behaves like them.
    battery
        Gives the voltage of the battery [V], or None.
    sleep
        Waits some seconds.
    """

    def __init__(
        self,
        config: "Config",
        sensor: "Sht4x",
        clock: "Clock",
        ring: "Ring",
        link: "Link",
        battery: "Callable[[], float | None]" = lambda: None,
        sleep: "Callable[[float], None]" = time.sleep,
    ) -> None:
        self.config = config
        self.sensor, self.clock, self.ring, self.link = sensor, clock, ring, link
        self.battery = battery
        self.sleep = sleep
        self.awake = config.get("stay_awake", False)
        self.topic = topic(config["site"], config["sensor"])
        self.status = topic(config["site"], config["sensor"], "status")
        self.undated: Reading | None = None  # a reading without a time: worth something only now
        self.skew: tuple[int, int, int] | None = None  # see clock.stretched

    def measure(self) -> None:
        """Measure and keep; a sensor that fails leaves a gap, which is the truth."""
        try:
            temp, humidity = self.sensor.read()
        except SensorError as error:
            print("no reading:", error)
            return
        voltage = self.battery()
        reading = (
            round(temp * 100),
            round(humidity * 100),
            None if voltage is None else round(voltage * 1000),
        )
        now = self.clock.now()
        if now is None:
            self.undated = (None,) + reading
        else:
            self.ring.add(now, *reading)

    def learn(self, true: int) -> None:
        """Take in the true time.

        After weeks without a network the readings that wait bear times that are hours off, and
        some may lie in the future, where the service takes none. They are put right as they are
        sent; the clock is set only after that, so that all of them were dated by the same one.
        """
        now = self.clock.now()
        first = self.ring.oldest(1)[0]
        self.skew = None
        if now is None or not first or abs(true - now) <= COARSE_S:
            self.clock.set(true)
        else:
            self.skew = (first[0][0] or 0, now, true)

    def _set_late(self) -> None:
        now = self.clock.now()
        if self.skew is not None and now is not None:
            self.clock.set(now + self.skew[2] - self.skew[1])
        self.skew = None

    def due(self) -> bool:
        """Whether it is time to send: every few readings, so that a failure waits as long."""
        every = 1 if self.awake else self.config.get("send_every", 6)
        waiting = len(self.ring)
        return self.undated is not None or (waiting > 0 and waiting % every == 0)

    def send(self) -> bool:
        """Send everything that waits; tell whether all of it was confirmed."""
        pauses = delays(self.config.get("retry_first_s", 1), self.config.get("retry_most_s", 60))
        for left in range(self.config.get("tries", 3) - 1, -1, -1):
            try:
                self._connect()
                self._send_all()
                self._goodbye()
                print("sent")
                return True
            except RefusedError as error:
                print("refused:", error)
                return False
            except LinkError as error:
                print("not sent:", error)
            if left:
                self.sleep(next(pauses))
        return False

    def _connect(self) -> None:
        if self.link.stream is not None:
            return
        # with a hyphen between them a-b/c and a/b-c would be one client, and cut each other's line
        name = "sensor.{}.{}".format(self.config["site"], self.config["sensor"])
        user, password = self.config.get("user"), self.config.get("password")
        if not self.awake:
            self.link.connect(name, user, password)
        else:  # between two readings the line is silent, and that is no reason to call it dead
            keepalive_s = min(2 * self.config.get("every_s", 600), 65535)
            self.link.connect(name, user, password, self.status, keepalive_s)
            self.link.publish(self.status, b"online", retain=True)

    def _send_all(self) -> None:
        if self.undated is not None:  # tried once: repeated, it would count as a new reading
            reading, self.undated = self.undated, None
            self.link.publish(self.topic, senml([reading]))
        while len(self.ring):
            readings, place = self.ring.oldest(self.config.get("batch", BATCH))
            if self.skew is not None:
                readings = [(stretched(one[0] or 0, *self.skew),) + one[1:] for one in readings]
            if readings:
                self.link.publish(self.topic, senml(readings))
            self.ring.mark_sent(place)
        self._set_late()

    def _goodbye(self) -> None:
        if not self.awake:
            self.link.disconnect()


def read_config(path: str = "config.json") -> "Config":
    """Read the settings of this sensor."""
    with open(path) as file:
        config: Config = json.load(file)
        return config


def board(config: "Config") -> Station:
    """Put the station together on a board; the one place that knows its hardware."""
    from machine import ADC, I2C, RTC, Pin

    def set_clock(seconds: int) -> None:
        # the tuple of a board: year, month, day, weekday, hour, minute, second, subsecond
        start = 946684800 if time.gmtime(0)[0] == 2000 else 0
        year, month, day, hour, minute, second, weekday = time.gmtime(seconds - start)[:7]
        RTC().datetime((year, month, day, weekday, hour, minute, second, 0))

    context = None
    if config.get("ca_file"):
        with open(config["ca_file"], "rb") as file:
            context = tls(file.read())
    i2c = I2C(config.get("i2c", 0), scl=Pin(config["scl"]), sda=Pin(config["sda"]))
    adc = ADC(Pin(config["battery_pin"])) if "battery_pin" in config else None
    if adc is not None and hasattr(adc, "atten"):
        adc.atten(ADC.ATTN_11DB)  # the widest range, on boards that have several
    scale, divider = config.get("battery_scale_v", 3.3), config.get("battery_divider", 1)
    return Station(
        config,
        Sht4x(i2c, config.get("address", ADDRESS)),
        Clock(set_clock=set_clock),
        Ring(config.get("folder", "kept"), config.get("files", 32)),
        Link(config["broker"], config.get("port", 8883), context),
        lambda: volts(adc, scale, divider),
    )


def online(config: "Config") -> bool:
    """Join the wireless network; tell whether that went well."""
    import network

    line = network.WLAN(network.STA_IF)
    line.active(True)
    if not line.isconnected():
        line.connect(config["network"], config["network_password"])
    for _ in range(10 * config.get("join_s", 20)):
        if line.isconnected():
            return True
        time.sleep(0.1)
    return False


def wake(station: Station, go_online: "Callable[[], bool]") -> None:
    """One turn: measure, and if it is time set the clock and send."""
    station.measure()
    if not station.due():
        return
    if not go_online():
        print("not sent: no network")
        return
    server = station.config.get("time_server", "pool.ntp.org")
    true = ntp_time(server, station.config.get("time_port", 123))
    if true is not None:
        station.learn(true)
    station.send()


def run() -> None:
    """Run on a board, for ever."""
    import machine

    config = read_config()
    interval = config.get("every_s", 600)
    station = None
    while True:
        try:
            station = station or board(config)
            wake(station, lambda: online(config))
        except Exception as error:  # noqa: BLE001 - a board that stopped would empty its battery
            print("failed:", error)
        if config.get("stay_awake", False):
            time.sleep(interval)
        else:
            machine.deepsleep(interval * 1000)  # the board starts anew after it


if __name__ == "__main__":
    run()
