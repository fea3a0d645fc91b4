"""The demo: an invented seed library, its fourteen months, and sensors that go on measuring.

A second process plays the world outside: it holds the broker, makes up the history, puts it into
the database and then publishes as sensors do. Hilum itself runs as it always does.
"""

import logging
import multiprocessing
import os
import signal
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from hilum.bootstrap import open_store, system_clock
from hilum.bootstrap.first_start import local_time_zone
from hilum.bootstrap.service import Service, address_in_words, serve_pages, set_up_log
from hilum.config import Settings, settings_from
from hilum.domain.errors import ConflictError, HilumError
from hilum.domain.model import MS_PER_DAY
from hilum.domain.ports import Store
from hilum.keeping.desiccant.desiccant_watch import days_to_swap
from hilum.keeping.watching.asitwas import AsItWas
from hilum.keeping.watching.past import keep_past, watch_past

if TYPE_CHECKING:
    from hilum.simulate.scenery import Story

SITE = "saltmarsh"
PERIOD_S = 5.0
START_S = 60.0
LEDGER_S = 1.0
BREATH_S = 0.001
"""Pause after each look at the past, so that pages are served as quickly as ever."""


@dataclass(frozen=True)
class BrokerAddress:
    """Where the demo's broker listens, and how to sign in."""

    host: str
    port: int
    username: str
    password: str


def run_demo(
    say: Callable[[str], None], *, data_dir: Path | None, port: int | None, seed: int
) -> None:
    """Run the demo until told to stop.

    Parameters
    ----------
    say : callable
        Tells a person how it goes.
    data_dir : Path or None
        Keeps the demo's data; otherwise they are thrown away at the end.
    port : int or None
        Port of the pages.
    seed : int
        Which invented year.

    Raises
    ------
    ConflictError
        The folder holds a database already.
    HilumError
        The demo's world did not come up, or the port is taken.
    """
    set_up_log(logging.WARNING)
    with ExitStack() as stack:
        folder = data_dir or Path(
            stack.enter_context(
                tempfile.TemporaryDirectory(prefix="hilum-demo-", ignore_cleanup_errors=True)
            )
        )
        settings = settings_from({"site": SITE, "time_zone": local_time_zone()}, folder)
        if settings.database.exists():
            raise ConflictError(f"{folder} holds a database already; the demo needs a new folder.")
        if port is not None:
            settings = settings.changed(port=port)
        say("Making up the last three days of the Saltmarsh Lane seed library …")
        store = stack.enter_context(open_store(settings, exclusive=True))
        address = _start_world(stack, settings, seed)
        settings = settings.changed(
            mqtt_host=address.host,
            mqtt_port=address.port,
            mqtt_user=address.username,
            mqtt_password=address.password,
            mqtt_version="3.1.1",
        )
        say("Fourteen months before that, and what was told then, follow while you look around.")
        service = Service(settings, store, durable_broker=False)
        serve_pages(service, lambda: say(address_in_words(settings)))


def _start_world(stack: ExitStack, settings: Settings, seed: int) -> BrokerAddress:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    world = context.Process(
        target=play_world, args=(theirs, settings, seed), name="demo-world", daemon=True
    )
    world.start()
    theirs.close()
    stack.callback(_end, world, ours)
    try:
        if not ours.poll(START_S):
            raise HilumError("The demo's world did not come up in time.")
        answer = ours.recv()
    except EOFError as error:
        raise HilumError("The demo's world stopped before it began.") from error
    if isinstance(answer, HilumError):
        raise answer
    assert isinstance(answer, BrokerAddress)  # noqa: S101 - our own message
    return answer


def _end(world: "multiprocessing.process.BaseProcess", ours: Connection) -> None:
    ours.close()  # which the world sees
    world.join(5)
    if world.is_alive():
        world.kill()
        world.join(5)


def play_world(pipe: Connection, settings: Settings, seed: int) -> None:
    """Be the world: broker, history and sensors, until the other end of the pipe is closed."""
    from hilum.simulate.broker import DemoBroker  # noqa: PLC0415 - in this process only
    from hilum.simulate.live import LiveSensors  # noqa: PLC0415
    from hilum.simulate.load import load_history, load_keeping, load_recent  # noqa: PLC0415
    from hilum.simulate.publisher import Publisher  # noqa: PLC0415
    from hilum.simulate.world import build_world  # noqa: PLC0415

    for ours in (signal.SIGINT, signal.SIGTERM):
        signal.signal(ours, signal.SIG_IGN)  # meant for the other process, which ends this one
    set_up_log(logging.WARNING)
    stop = threading.Event()
    try:
        with DemoBroker() as broker, open_store(settings) as store:
            address = BrokerAddress(broker.host, broker.port, broker.username, broker.password)
            world = build_world(system_clock().now_ms(), seed)
            load_keeping(world, store)
            load_recent(world, store)
            pipe.send(address)
            threading.Thread(target=_watch, args=(pipe, stop), daemon=True).start()
            with Publisher(*_where(address)) as publisher:
                sensors = LiveSensors(world, publisher.publish, system_clock(), PERIOD_S)
                live = threading.Thread(target=sensors.run, args=(stop,), name="demo-sensors")
                live.start()
                history, story = load_history(world, store), world.story
                del world
                _load(history, stop)
                del history
                _look_back(store, story, settings, stop)
                live.join()
    except BrokenPipeError:  # told to stop before the world was there
        return
    except HilumError as error:
        with suppress(OSError):
            pipe.send(error)


def _where(address: BrokerAddress) -> tuple[str, int, str, str]:
    return address.host, address.port, address.username, address.password


def _load(history: Iterator[object], stop: threading.Event) -> None:
    for _ in history:
        if stop.is_set():
            return


def _look_back(store: Store, story: "Story", settings: Settings, stop: threading.Event) -> None:
    """Go over the story as the watch would have, once the ledger has come to its end."""
    from hilum.simulate.scenery import looks_in  # noqa: PLC0415 - in this process only

    while _is_behind(store, story.now_ms) and not stop.wait(LEDGER_S):
        pass
    past = AsItWas(store)
    zone = ZoneInfo(settings.time_zone)
    span = (story.start_ms, story.now_ms)
    for _ in watch_past(past, zone, days_to_swap, span, looks_in(story)):
        if stop.wait(BREATH_S):
            return
    keep_past(store, past.changes)


def _is_behind(store: Store, now_ms: int) -> bool:
    return any(mark.from_ms < now_ms - MS_PER_DAY for mark in store.dirty())


def _watch(pipe: Connection, stop: threading.Event) -> None:
    """Stop when the process that started us closes its end, or is gone."""
    parent = os.getppid()
    while os.getppid() == parent:
        try:
            if pipe.poll(1.0):
                pipe.recv()
        except (EOFError, OSError):
            break
    stop.set()
