"""The command line: parses, calls, prints, chooses exit codes; no logic of its own.

Exit codes: 0 fine; 1 something failed; 2 wrong use; 3 outside what can be answered.
"""

import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise

from hilum.domain.errors import (
    AmbiguousNameError,
    HilumError,
    InvalidInputError,
    NoLifeModelError,
    NotFoundError,
    OutOfRangeError,
    SettingsError,
    UnknownNameError,
)

FAILED = 1
WRONG_USE = 2
NO_ANSWER = 3
INTERRUPTED = 130  # as shells report it
CODES: tuple[tuple[type[Exception], int], ...] = (
    (OutOfRangeError, NO_ANSWER),
    (UnknownNameError, NO_ANSWER),
    (AmbiguousNameError, NO_ANSWER),
    (NoLifeModelError, NO_ANSWER),
    (NotFoundError, NO_ANSWER),
    (InvalidInputError, WRONG_USE),
    (SettingsError, WRONG_USE),
    (HilumError, FAILED),
)


def _local(words: str) -> str:
    """Give a message with its times as clocks show them where Hilum stands."""
    if " UTC" not in words:
        return words
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from hilum.config import load_settings
    from hilum.domain.errors import SettingsError
    from hilum.domain.moments import in_zone

    given = [word.partition("=") for word in sys.argv]
    named = [value for name, sign, value in given if name == "--data-dir" and sign]
    named += [after for word, after in pairwise(sys.argv) if word == "--data-dir"]
    try:
        settings = load_settings(Path(named[0]) if named else None)
    except SettingsError:
        return words
    return in_zone(words, ZoneInfo(settings.time_zone))


@contextmanager
def loading() -> Iterator[None]:
    """Load much of the program; it stays, so nothing in it is looked through for what may go."""
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def run() -> int:
    """Run one command and give its exit code."""
    if sys.argv[1:] == ["--version"]:
        from hilum import __version__

        print(f"hilum {__version__}")
        return 0
    with loading():
        from hilum.cli.app import app

    try:
        app(prog_name="hilum")
    except tuple(kind for kind, _ in CODES) as error:
        print(_local(str(error)), file=sys.stderr)
        return next(code for kind, code in CODES if isinstance(error, kind))
    except BrokenPipeError:
        sys.stderr.close()
        return FAILED
    except KeyboardInterrupt:
        return INTERRUPTED
    return 0
