"""Commands that run Hilum or look after its database."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from hilum.cli import loading
from hilum.cli.options import DataDir, Json, print_json
from hilum.config import Settings, load_settings


def say(words: str) -> None:
    """Tell a person something at once, even where output is collected."""
    print(words, flush=True)


def demo(
    port: Annotated[int | None, typer.Option(help="Port of the pages.")] = None,
    data_dir: Annotated[
        Path | None, typer.Option(help="Keep the demo's data here; else they are thrown away.")
    ] = None,
    seed: Annotated[int, typer.Option(help="Another number makes another invented year.")] = 1,
) -> None:
    """Show an invented seed library with three live boxes.

    Example: hilum demo
    """
    from hilum.bootstrap.demo import run_demo

    run_demo(say, data_dir=data_dir, port=port, seed=seed)


def serve(
    data_dir: DataDir = None,
    host: Annotated[str | None, typer.Option(help="Address of the pages.")] = None,
    port: Annotated[int | None, typer.Option(help="Port of the pages.")] = None,
    mqtt: Annotated[
        bool | None, typer.Option("--mqtt/--no-mqtt", help="Listen to the MQTT broker.")
    ] = None,
) -> None:
    """Listen to the sensors and serve the pages.

    Example: hilum serve
    """
    with loading():
        from hilum.bootstrap.service import run_service

    run_service(_with(load_settings(data_dir), host=host, port=port, mqtt=mqtt), say)


def ingest(
    name: Annotated[
        str, typer.Argument(help="Name of this worker; each needs its own, always the same.")
    ] = "1",
    leave: Annotated[
        bool,
        typer.Option("--leave", help="Store what waits for this name, take no more, and end."),
    ] = False,
    data_dir: DataDir = None,
) -> None:
    """Store what sensors say in InfluxDB, as one of several workers; hilum serve keeps the rest.

    Example: hilum ingest shed
    """
    from hilum.bootstrap.worker import run_worker

    run_worker(load_settings(data_dir), name, say, leave=leave)


def _with(settings: Settings, **asked: object) -> Settings:
    given = {name: value for name, value in asked.items() if value is not None}
    return settings.changed(**given) if given else settings


def rebuild(
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on where an earlier one was stopped.")
    ] = False,
    data_dir: DataDir = None,
) -> None:
    """Compute the whole ledger again from the readings; what is done stays done when stopped.

    Example: hilum rebuild
    """
    from rich.console import Console
    from rich.progress import Progress

    from hilum.bootstrap import open_store
    from hilum.keeping.reckoning.keeper import LedgerKeeper

    with (
        open_store(load_settings(data_dir), exclusive=True) as store,
        Progress(console=Console(stderr=True), transient=True) as bar,
    ):
        task = bar.add_task("Computing", total=1.0)
        keeper = LedgerKeeper(store)
        work = keeper.resume if resume else keeper.rebuild
        work(lambda done: bar.update(task, completed=done))
        rows = sum(len(store.rows(key)) for key in store.curves())
        curves = len(store.curves())
    print(f"Done: {curves} curves, {rows:,} hours.")


def check(as_json: Json = False, data_dir: DataDir = None) -> None:
    """Look whether the database is sound and the ledger agrees.

    Example: hilum check
    """
    from hilum.bootstrap.checks import check_all

    findings = check_all(load_settings(data_dir))
    if as_json:
        print_json(
            {
                "sound": all(finding.good for finding in findings),
                "findings": [{"what": f.what, "good": f.good, "words": f.words} for f in findings],
            }
        )
    else:
        for finding in findings:
            print(f"{'✓' if finding.good else '✗'} {finding.what}: {finding.words}")
    if not all(finding.good for finding in findings):
        sys.exit(1)


def init(
    data_dir: DataDir = None,
    site: Annotated[str | None, typer.Option(help="Short name of this place.")] = None,
    time_zone: Annotated[str | None, typer.Option(help="For example Europe/Brussels.")] = None,
    mqtt_host: Annotated[str | None, typer.Option(help="Address of the broker.")] = None,
    mqtt_port: Annotated[int | None, typer.Option(help="Port of the broker.")] = None,
    broker: Annotated[
        bool | None,
        typer.Option(help="Make a name and password for Hilum at the broker, and its files."),
    ] = None,
) -> None:
    """Ask a few questions and write the settings, and files for the broker.

    Example: hilum init
    """
    from hilum.bootstrap.broker_files import FOLDER
    from hilum.bootstrap.first_start import write_settings

    path = write_settings(
        data_dir,
        {"site": site, "time_zone": time_zone, "mqtt_host": mqtt_host, "mqtt_port": mqtt_port},
        ask=sys.stdin.isatty(),
        broker=broker,
    )
    print(f"Settings written to {path}. Start with: hilum serve")
    files = path.parent / FOLDER
    if files.exists():
        print(f"For the broker: hilum.passwd and hilum.acl in {files}; copy them to /etc/mosquitto")
