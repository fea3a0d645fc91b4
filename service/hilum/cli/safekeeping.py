"""Backups from the command line."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from hilum.cli.options import DataDir, Json, print_json
from hilum.config import load_settings


@contextmanager
def _progress(words: str) -> Iterator[Callable[[float], None]]:
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(words, total=1.0)
        yield lambda done: bar.update(task, completed=done)


def backup(
    to: Annotated[
        Path | None, typer.Option("--to", help="Folder for it; by default backups beside the data.")
    ] = None,
    keep: Annotated[
        int | None, typer.Option(min=1, help="Keep this many in that folder; else all.")
    ] = None,
    as_json: Json = False,
    data_dir: DataDir = None,
) -> None:
    """Write a verified copy of the database, also while Hilum runs.

    Example: hilum backup --to /media/stick/hilum --keep 14
    """
    from hilum.bootstrap.safekeeping import backup as write_backup

    settings = load_settings(data_dir)
    with _progress("Copying and checking") as tell:
        done = write_backup(settings, to, keep, progress=tell)
    copy = done.copy
    if as_json:
        print_json(
            {
                "file": str(copy.path),
                "bytes": copy.size_bytes,
                "rows": copy.rows,
                "removed": [str(path) for path in done.removed],
                "same_disk": done.same_disk,
            }
        )
        return
    print(f"Backup written and checked: {copy.path}")
    print(f"{in_words(copy.rows)}; {copy.size_bytes / 1e6:.1f} MB.")
    for path in done.removed:
        print(f"Removed: {path}")
    if done.same_disk:
        print("It stands on the disk of the database: keep a copy elsewhere too.")
    print("The settings file is not part of it.")


def restore(
    file: Annotated[Path, typer.Argument(help="The backup.")],
    as_json: Json = False,
    data_dir: DataDir = None,
) -> None:
    """Bring a backup back, to a folder in which there is no database.

    Example: hilum restore /media/stick/hilum/hilum-20260301T020000Z.sqlite3
    """
    from hilum.bootstrap.safekeeping import restore as bring_back

    settings = load_settings(data_dir)
    with _progress("Copying and checking") as tell:
        done = bring_back(file, settings, progress=tell)
    copy = done.copy
    if as_json:
        print_json(
            {
                "file": str(copy.path),
                "bytes": copy.size_bytes,
                "rows": copy.rows,
                "waiting": list(done.waiting),
                "tokens_and_links": done.grants,
            }
        )
        return
    print(f"Restored and checked: {copy.path}")
    print(f"{in_words(copy.rows)}; {copy.size_bytes / 1e6:.1f} MB.")
    if done.waiting:
        print("It is of an older Hilum; the next start brings it up to date.")
    print("Nobody is signed in; the password is the one of then.")
    if done.grants:
        print(
            f"Tokens and links that hold again as they did then: {done.grants}. Withdraw what was "
            "withdrawn since: hilum tokens list, hilum share list."
        )


def in_words(rows: dict[str, int]) -> str:
    """What a database holds."""
    named = (
        ("reading", "reading", "readings"),
        ("box", "box", "boxes"),
        ("lot", "lot", "lots"),
        ("germination_test", "test", "tests"),
    )
    amounts = ((rows.get(table, 0), one, many) for table, one, many in named)
    return ", ".join(f"{amount:,} {one if amount == 1 else many}" for amount, one, many in amounts)
