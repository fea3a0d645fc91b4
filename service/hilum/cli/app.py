"""All commands in one place."""

from typing import Annotated

import typer

from hilum import __version__
from hilum.cli import (
    access,
    alerts,
    boxcare,
    calculators,
    corrections,
    desk,
    journal,
    lotcare,
    readings,
    running,
    safekeeping,
    season,
    seedfacts,
)

app = typer.Typer(
    name="hilum",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Watch seed-storage boxes and say what the storage has done to the seed.",
)


def _show_version(asked: bool) -> None:
    if asked:
        print(f"hilum {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Say the version."),
    ] = False,
) -> None:
    """Watch seed-storage boxes and say what the storage has done to the seed."""
    del version


app.command("demo")(running.demo)
app.command("init")(running.init)
app.command("serve")(running.serve)
app.command("ingest")(running.ingest)
app.command("rebuild")(running.rebuild)
app.command("check")(running.check)
app.command("backup")(safekeeping.backup)
app.command("restore")(safekeeping.restore)
app.add_typer(boxcare.boxes, name="boxes")
app.add_typer(corrections.sensors, name="sensors")
app.add_typer(lotcare.lots, name="lots")
app.add_typer(readings.readings, name="readings")
app.add_typer(alerts.alerts, name="alerts")
app.add_typer(journal.journal, name="journal")
app.command("password")(access.password)
app.add_typer(access.tokens, name="tokens")
app.add_typer(access.share, name="share")
app.command("season")(season.season)
app.command("use-first")(season.use_first)
app.command("compare")(season.compare)
app.command("review")(season.review)
app.command("moisture")(calculators.moisture)
app.command("loss")(calculators.loss)
app.command("desiccant")(desk.desiccant)
app.command("salts")(desk.salts)
app.command("kinds")(seedfacts.kinds)
app.command("freeze")(seedfacts.freeze)
app.command("germination")(seedfacts.germination)
