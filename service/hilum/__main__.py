"""``python -m hilum``."""

import sys


def main() -> None:
    """Run the command line; Ctrl+C ends it without a word."""
    try:
        from hilum.cli import run  # noqa: PLC0415 - keeps ``hilum --version`` fast

        sys.exit(run())
    except KeyboardInterrupt:
        sys.exit(130)  # as shells report it


if __name__ == "__main__":
    main()
