"""Noise on the wire of MQTT: at the broker, and from something that is no broker."""

import os
import random
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace

import pytest

from hilum.ingest import Ingest
from ingest.no_loss import message
from ingest.test_broker import Clock, TroubledStore, running, settings, store
from plugins.mosquitto import Broker
from plugins.sensors import Sensors, wait_until

__all__ = ["store"]

pytestmark = pytest.mark.mosquitto
CONNACK_5 = b"\x20\x03\x00\x00\x00"
PUBLISH = b"\x32\x0c\x00\x05a/b/c\x00\x01\x00[]"
JUNK = [
    b"HTTP/1.1 400 Bad Request\r\n\r\n",
    b"\x20\x02\x00\x05",
    b"\x20\xff\xff\xff\x7f",
    b"\x20\xff\xff\xff\xff\xff",
    CONNACK_5 + b"\x32\x03\x00\xff\xff",
    CONNACK_5 + PUBLISH[:6],
    CONNACK_5 + b"\x90\x00",
    CONNACK_5 + b"\x40\x02\xff\xff",
    CONNACK_5 + b"\xf0\x01\xff",
    b"\x00" * 50,
]


@contextmanager
def no_broker(port: int) -> Iterator[list[bytes]]:
    """Answer each connection with junk; gives what was said so far."""
    said: list[bytes] = []
    chance = random.Random(11)  # noqa: S311
    with socket.create_server(("127.0.0.1", port)) as listening:
        over = threading.Event()

        def serve() -> None:
            while not over.is_set():
                with suppress(OSError):
                    link, _ = listening.accept()
                    with link:
                        link.settimeout(1)
                        link.recv(1000)
                        known = len(said) < len(JUNK)
                        junk = JUNK[len(said)] if known else os.urandom(chance.randrange(1, 99))
                        said.append(junk)
                        link.sendall(junk)

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield said
        finally:
            over.set()
            with suppress(OSError):
                socket.create_connection(("127.0.0.1", port), 1).close()
            thread.join()


def test_something_that_is_no_broker(broker: Broker, store: TroubledStore) -> None:
    """Junk in every form ends no thread: when the broker is back, so are the readings."""
    broker.stop()
    given = settings(broker)
    given = replace(given, broker=replace(given.broker, retry_max_s=1))
    ingest = Ingest(store, given, Clock(), lambda _: None)
    try:
        with no_broker(broker.port) as said:
            ingest.start()
            assert wait_until(lambda: len(said) >= len(JUNK) + 3, 60)
        broker.start()
        assert wait_until(lambda: ingest.status().connected, 60)
        with Sensors(broker.port) as sensors:
            sensors.send(map(message, range(20)))
            sensors.settle()
        assert wait_until(lambda: ingest.status().stored == 20)
    finally:
        ingest.stop()


def test_noise_at_the_broker(broker: Broker, store: TroubledStore) -> None:
    """While others send noise to the broker's port, every reading arrives."""
    chance = random.Random(13)  # noqa: S311
    connect = b"\x10\x12\x00\x04MQTT\x04\x02\x00\x3c\x00\x06tester"
    with running(store, settings(broker)) as ingest, Sensors(broker.port) as sensors:
        for turn in range(100):
            noise = bytearray(connect + PUBLISH if turn % 2 else os.urandom(200))
            for _ in range(turn % 5):
                noise[chance.randrange(len(noise))] = chance.randrange(256)
            with suppress(OSError), socket.create_connection(("127.0.0.1", broker.port), 2) as raw:
                raw.sendall(noise)
            sensors.send([message(turn)])
        sensors.settle()
        assert wait_until(lambda: ingest.status().stored == 100)
