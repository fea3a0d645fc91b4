"""Two services on one database: the second is refused, and the first goes on."""

import os
import subprocess
import sys
from pathlib import Path

from plugins.mosquitto import free_port
from plugins.sensors import wait_until


def serve(data_dir: Path) -> "subprocess.Popen[str]":
    """Start the whole service as a person does."""
    env = {name: value for name, value in os.environ.items() if not name.startswith("HILUM_")}
    return subprocess.Popen(
        [sys.executable, "-m", "hilum", "serve", "--no-mqtt", "--port", str(free_port()),
         "--data-dir", str(data_dir)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env,
    )  # fmt: skip


def test_second_service_is_refused(tmp_path: Path) -> None:
    """The second ends with code 1 and a sentence that names the first; the first still runs."""
    with serve(tmp_path) as first:
        try:
            assert wait_until((tmp_path / "hilum.sqlite3").exists)
            assert first.stdout is not None
            assert "Hilum is at http://" in first.stdout.readline()
            with serve(tmp_path) as second:
                out, err = second.communicate(timeout=30)
            assert (second.returncode, out) == (1, "")
            assert f"is in use by process {first.pid}" in err
            assert "Traceback" not in err
            assert first.poll() is None
        finally:
            first.terminate()
            first.communicate(timeout=30)
    assert first.returncode == 0
