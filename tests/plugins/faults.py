"""A disk that fails or is slow: a small library between SQLite and the C library."""

import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

SOURCE = Path(__file__).with_name("faults.c")

Environment = Callable[..., dict[str, str]]


@pytest.fixture(scope="session")
def faulty(tmp_path_factory: pytest.TempPathFactory) -> Environment:
    """Environment in which the library is loaded; skipped without a C compiler or off Linux."""
    compiler = shutil.which("gcc") or shutil.which("cc")
    if compiler is None or not Path("/proc/self/fd").is_dir():
        pytest.skip("Making the disk fail needs Linux and a C compiler (Debian package gcc).")
    library = tmp_path_factory.mktemp("faults") / "faults.so"
    subprocess.run(
        [compiler, "-shared", "-fPIC", "-O1", "-o", str(library), str(SOURCE), "-ldl"], check=True
    )

    def environment(name: str, **more: str) -> dict[str, str]:
        return {**os.environ, "LD_PRELOAD": str(library), "FAULTS_NAME": name, **more}

    return environment
