"""The settings as the page of settings shows them: what is set, and from where."""

import os
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from typing import Any

from pydantic import BaseModel, SecretStr

from hilum.bootstrap.channels import plans_of, send_test
from hilum.config import FILE_NAME, Settings
from hilum.domain.errors import ConflictError, HilumError
from hilum.domain.ports import Clock
from hilum.web.parts import SettingShown, SettingsShown

PREFIX = "HILUM_"
SET, NOT_SET = "set (not shown)", "not set"


def settings_shown(settings: Settings, clock: Clock) -> SettingsShown:
    """Give all settings with their sources; secrets only as set or not set."""
    path = settings.data_dir / FILE_NAME
    written: Mapping[str, Any] = {}
    with suppress(OSError, tomllib.TOMLDecodeError, UnicodeDecodeError):
        written = tomllib.loads(path.read_text(encoding="utf-8"))
    channels = tuple(plan.name for plan in plans_of(settings, clock))
    return SettingsShown(str(path), tuple(_rows(settings, "", written)), channels)


def _rows(settings: BaseModel, before: str, written: Mapping[str, Any]) -> Iterator[SettingShown]:
    for name, field in type(settings).model_fields.items():
        value = getattr(settings, name)
        if isinstance(value, BaseModel):
            inner = written.get(name, {})
            yield from _rows(value, f"{before}{name}.", inner if isinstance(inner, dict) else {})
            continue
        full = f"{before}{name}"
        variable = PREFIX + full.replace(".", "__").upper()
        usual = not field.is_required() and value == field.get_default(call_default_factory=True)
        source = "given at the start"
        if variable in os.environ:
            source = f"variable {variable}"
        elif name in written:
            source = FILE_NAME
        elif usual:
            source = "default"
        yield SettingShown(full, _words(value), source, field.description or "")


def _words(value: object) -> str:
    if isinstance(value, SecretStr):
        return SET
    if value is None or value in ("", ()):
        return NOT_SET
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Sequence) and not isinstance(value, str):
        if any(isinstance(each, BaseModel | SecretStr) for each in value):
            return f"{len(value)} set"
        return ", ".join(str(each) for each in value)
    return str(value)


def try_channel(settings: Settings, clock: Clock, name: str) -> None:
    """Send a test on a channel; raises ``ConflictError`` with the reason where it is not taken."""
    try:
        send_test(settings, clock, name)
    except HilumError as error:
        raise ConflictError(str(error)) from error
