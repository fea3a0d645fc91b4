"""Asks the advisory service whether pinned versions have known weaknesses.

``python tests/audit.py`` needs pip-audit in the same environment; ``tests/run.py`` gives it one of
its own. Where the service cannot be reached, or knows none of our packages (as behind a mirror that
serves files only), nothing was audited, and that is said: pip-audit itself would report "no known
vulnerabilities" then. Exit codes: 0 nothing known, or not audited; 1 weaknesses are known.
"""

import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

CONSTRAINTS = Path(__file__).resolve().parent.parent / "service" / "constraints.txt"
TIMEOUT_S = 600


@dataclass(frozen=True)
class Verdict:
    """What an audit came to."""

    audited: int
    skipped: tuple[str, ...]
    weak: tuple[str, ...]

    def in_words(self) -> str:
        """Say it in lines."""
        if not self.audited:
            return "Dependencies were NOT audited: the advisory service was not to be had."
        lines = [f"{self.audited} pinned packages were audited."]
        if self.skipped:
            lines.append(f"Not known to the service: {', '.join(self.skipped)}.")
        return "\n".join([*lines, *(self.weak or ("No weakness of them is known.",))])


def verdict(report: dict[str, Any]) -> Verdict:
    """Read a report of pip-audit (``--format json``)."""
    found = report["dependencies"]
    skipped = tuple(each["name"] for each in found if "skip_reason" in each)
    weak = tuple(
        f"{each['name']} {each['version']}: {flaw['id']}, "
        f"mended in {', '.join(flaw['fix_versions']) or 'no version yet'}"
        for each in found
        for flaw in each.get("vulns", ())
    )
    return Verdict(len(found) - len(skipped), skipped, weak)


def ask(pins: Sequence[str]) -> Verdict:
    """Run pip-audit over pinned packages."""
    with tempfile.TemporaryDirectory() as folder:
        listed = Path(folder) / "pins.txt"
        listed.write_text("\n".join(pins), encoding="utf-8")
        words = ["--disable-pip", "--no-deps", "--progress-spinner", "off", "--format", "json"]
        done = subprocess.run(
            [sys.executable, "-m", "pip_audit", "-r", str(listed), *words],
            capture_output=True,
            text=True,
            check=False,
            timeout=TIMEOUT_S,
        )
    try:
        return verdict(json.loads(done.stdout))
    except ValueError:  # it could not even begin
        return Verdict(0, tuple(pins), ())


def pinned(text: str) -> list[str]:
    """Give the pins of a constraints file."""
    return [line for line in text.splitlines() if re.match(r"[A-Za-z0-9][^=\s]*==", line)]


def main() -> int:
    """Ask for one package first, so that nobody is asked in vain for all."""
    pins = pinned(CONSTRAINTS.read_text(encoding="utf-8"))
    found = ask(pins[:1])
    if found.audited:
        found = ask(pins)
    print(found.in_words())
    return 1 if found.weak else 0


if __name__ == "__main__":
    sys.exit(main())
