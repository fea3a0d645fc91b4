"""Writes the pages that repeat the code: settings, commands and the interface for programs.

``python tests/docs/reference.py`` writes them; a test fails when they are stale.
"""

import sys
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, SecretStr
from pydantic.fields import FieldInfo

DOCS = Path(__file__).resolve().parents[2] / "service" / "docs"

SETTINGS_HEAD = """# Settings

<!-- Written by tests/docs/reference.py from service/hilum/config.py. -->

Settings stand in `hilum.toml` in the data folder, written there by `hilum init`. Each can also be
given as a variable of the environment, `HILUM_` and its name in capitals, which wins over the file;
an option on the command line wins over both. Restart Hilum after a change. A misspelt setting is an
error and not passed over. Only `data_dir` cannot stand in the file: `--data-dir` or
`HILUM_DATA_DIR` says where the file is.
"""
COMMANDS_HEAD = """# Commands

<!-- Written by tests/docs/reference.py from the commands in service/hilum/cli. -->

Every command explains itself with `--help`. Those that answer with figures take `--json` for
machines; those that use the database take `--data-dir`.

Exit codes: 0 fine, 1 something failed or is wrong, 2 wrong use, 3 outside what can be answered.

| command | what it does | example |
| --- | --- | --- |
"""
NOTES = "[firmware notes](../../firmware_notes/README.md)"
TABLE = "| setting | default | what |\n| --- | --- | --- |\n"


def settings_page() -> str:
    """The table of every setting."""
    from hilum.config import ChannelSettings, QuantitySetting, Settings, SourceSetting

    parts: list[tuple[str, type[BaseModel], str]] = [
        ("", Settings, ""),
        (
            "channels",
            ChannelSettings,
            "Under a line `[channels]`; as a variable, `HILUM_CHANNELS__` and the name.",
        ),
        (
            "sources",
            SourceSetting,
            f"Each under a line `[[sources]]`; with examples in {NOTES}.",
        ),
        (
            "a quantity of a source",
            QuantitySetting,
            'Written in one line: `temperature = { unit = "degF", pointer = "/t" }`.',
        ),
    ]
    pages = [SETTINGS_HEAD]
    for name, model, words in parts:
        head = f"\n## {name[:1].upper() + name[1:]}\n\n{words}\n" if name else ""
        pages.append(f"{head}\n{TABLE}{''.join(rows(model))}")
    return "".join(pages)


def rows(model: type[BaseModel]) -> Iterator[str]:
    """One line for each setting."""
    for name, field in model.model_fields.items():
        default = f"`{default_of(name, field)}`" if default_of(name, field) else ""
        choices = [choice for each in kinds(field.annotation) for choice in literals(each)]
        words = field.description or ""
        if not all(choice in words for choice in choices):
            words += f" ({', '.join(f'`{choice}`' for choice in choices)})"
        yield f"| `{name}` | {default} | {words} |\n"


def kinds(annotation: object) -> Iterator[object]:
    """The parts of a union, or the type itself."""
    if get_origin(annotation) in {Union, types.UnionType}:
        yield from get_args(annotation)
    else:
        yield annotation


def literals(annotation: object) -> tuple[Any, ...]:
    """What a Literal allows."""
    return get_args(annotation) if get_origin(annotation) is Literal else ()


def default_of(name: str, field: FieldInfo) -> str:
    """The default as it is written in the file; empty if there is none."""
    value = field.default
    if name == "data_dir":
        return "~/.local/share/hilum"
    if field.is_required() or value is None or value == () or field.default_factory is not None:
        return ""
    assert not isinstance(value, SecretStr)
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) and value else str(value)


def tree() -> Iterator[tuple[str, Any]]:
    """Every command by its words, groups of commands too."""
    import typer

    from hilum.cli.app import app

    def walk(command: Any, words: str) -> Iterator[tuple[str, Any]]:  # noqa: ANN401
        yield words, command
        for name, inner in getattr(command, "commands", {}).items():
            yield from walk(inner, f"{words} {name}")

    yield from walk(typer.main.get_command(app), "hilum")


def commands() -> Iterator[tuple[str, str, str]]:
    """Every command with its first sentence and its example."""
    for name, command in tree():
        if not hasattr(command, "commands"):
            said = (command.help or "").strip().splitlines()
            found = [line.partition(": ")[2] for line in said if line.startswith("Example: ")]
            yield name, said[0], found[0] if found else ""


def commands_page() -> str:
    """The table of every command."""
    lines = [f"| `{name}` | {words} | `{example}` |\n" for name, words, example in commands()]
    return COMMANDS_HEAD + "".join(lines)


def interface_page() -> str:
    """The page about the JSON interface."""
    from docs import interface

    return interface.interface_page()


PAGES = {
    "settings.md": settings_page,
    "commands.md": commands_page,
    "api.md": interface_page,
}

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    for file, page in PAGES.items():
        (DOCS / file).write_text(page(), encoding="utf-8")
        sys.stdout.write(f"{DOCS / file}\n")
