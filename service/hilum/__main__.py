"""``python -m hilum``."""

import sys


def main() -> None:
    """Run the command line."""
    from hilum.cli import run  # noqa: PLC0415 - keeps ``hilum --version`` fast

    sys.exit(run())


if __name__ == "__main__":
    main()
