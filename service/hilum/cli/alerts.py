"""Alerts from the command line."""

from datetime import UTC, datetime
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from hilum.cli.options import DataDir, Json, print_json

alerts = typer.Typer(help="Alerts: what is wrong, and who is told.", no_args_is_help=True)


@alerts.command("list")
def list_alerts(
    everything: Annotated[
        bool, typer.Option("--all", help="Also those that are over or still waiting.")
    ] = False,
    box: Annotated[str | None, typer.Option("--box", help="Of this box only.")] = None,
    as_json: Json = False,
    data_dir: DataDir = None,
) -> None:
    """List what is wrong now.

    Example: hilum alerts list
    """
    from hilum.bootstrap import open_store
    from hilum.config import load_settings
    from hilum.domain.alerts import AlertState
    from hilum.keeping.watching.telling import alert_data

    settings = load_settings(data_dir)
    with open_store(settings) as store:
        place = store.box(box).slug if box else None
        found = [
            alert
            for alert in store.alerts(open_only=not everything, box=place)
            if everything or alert.state is not AlertState.WAITING
        ]
    if as_json:
        print_json({"alerts": [dict(alert_data(alert, str(alert.state))) for alert in found]})
        return
    for alert in found:
        since = datetime.fromtimestamp(alert.since_ms / 1000, UTC)
        local = since.astimezone(ZoneInfo(settings.time_zone))
        print(f"{alert.id}\t{alert.state}\tsince {local:%Y-%m-%d %H:%M}\t{alert.sentence}")
    if not found:
        print("Nothing is wrong.")


@alerts.command("seen")
def seen_alert(
    alert: Annotated[str, typer.Argument(help="Its id, as in hilum alerts list.")],
    data_dir: DataDir = None,
) -> None:
    """Take note of an alert, so that you are not reminded of it.

    Example: hilum alerts seen damp-1f0c52b7a3d9
    """
    from hilum.bootstrap import open_store, system_clock
    from hilum.bootstrap.channels import plans_of
    from hilum.config import load_settings
    from hilum.keeping.watching.alerts import see

    settings = load_settings(data_dir)
    clock = system_clock()
    with open_store(settings) as store:
        noted = see(store, alert, clock.now_ms(), plans_of(settings, clock))
    print(f"Noted: {noted.sentence}")


@alerts.command("test-channel")
def try_channel(
    channel: Annotated[
        str | None, typer.Argument(help="Its name; without one, the names are listed.")
    ] = None,
    data_dir: DataDir = None,
) -> None:
    """Send a test message on a channel of the settings.

    Example: hilum alerts test-channel webhook
    """
    from hilum.bootstrap import system_clock
    from hilum.bootstrap.channels import plans_of, send_test
    from hilum.config import load_settings

    settings = load_settings(data_dir)
    clock = system_clock()
    if channel is None:
        for plan in plans_of(settings, clock):
            print(plan.name)
        return
    send_test(settings, clock, channel)
    print(f"The test was taken by {channel}.")
