"""One command for everything: ``python3 tests/run.py``, the same for a person and for CI.

Installs what it needs (services from Debian's packages where that is allowed), makes
an environment, then: format check, lint, strict types, import contracts, the whole suite, the wheel
built and run in a clean environment, and an audit of the pinned packages. With ``CI`` set, a
missing service fails instead of skipping.

``python3 tests/run.py --only check,suite`` runs a part; what stands after ``--`` goes to pytest.
"""

import argparse
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from ctypes.util import find_library
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
CONSTRAINTS = ROOT / "service" / "constraints.txt"
PACKAGES = {
    "mosquitto": "mosquitto",
    "mosquitto_pub": "mosquitto-clients",
    "chromium": "chromium",
    "influxd": "influxdb",
    "ip": "iproute2",
}
IN_CI = {  # proxies, once installed, serve the whole network; a compiler is large
    "nginx": "nginx",
    "caddy": "caddy",
    "curl": "curl",
    "gcc": "gcc libc6-dev",
}
STEPS = ("check", "suite", "wheel", "audit")
AUDITOR = "pip-audit==2.10.1"  # in an environment of its own: Hilum needs nothing of it


def run(*command: str | Path, env: dict[str, str] | None = None) -> None:
    """Run a command, shown first; stop the whole run when it fails."""
    words = [str(word) for word in command]
    print("→", " ".join(words), flush=True)
    code = subprocess.run(words, cwd=ROOT, env=env, check=False).returncode
    if code:
        sys.exit(code)


def install_services() -> None:
    """Install missing services from Debian's packages if we may; else say what is missing."""
    wanted = PACKAGES | IN_CI if os.environ.get("CI") else PACKAGES
    missing = [
        package
        for program, packages in wanted.items()
        if not find(program)
        for package in packages.split()
    ]
    if find_library("atomic") is None:  # what drives the browser needs it
        missing.append("libatomic1")
    if not missing:
        return
    if shutil.which("apt-get") and os.geteuid() == 0:
        env = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        run("apt-get", "update", "-qq", env=env)
        run("apt-get", "install", "-y", "-qq", "--no-install-recommends", *missing, env=env)
    else:
        print(f"Not installed, its tests will be skipped: {', '.join(missing)}")


def find(program: str) -> str | None:
    """Path of a program, looking where Debian puts servers too."""
    return shutil.which(program, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")


def uv_in(venv: Path) -> Path:
    """Make an environment with uv in it."""
    if not (venv / "bin" / "python").exists():
        run(sys.executable, "-m", "venv", venv)
    if not (venv / "bin" / "uv").exists():
        run(venv / "bin" / "python", "-m", "pip", "install", "-q", "-c", CONSTRAINTS, "uv")
    return venv / "bin" / "uv"


def uv_env(venv: Path) -> dict[str, str]:
    """Environment in which uv stays on this Python and works in ``venv``."""
    return {**os.environ, "VIRTUAL_ENV": str(venv), "UV_PYTHON_DOWNLOADS": "never"}


def prepare() -> None:
    """Install the project with everything the tests need."""
    uv = uv_in(VENV)
    run(
        *(
            uv,
            "pip",
            "install",
            "-q",
            "-c",
            CONSTRAINTS,
            "-b",
            CONSTRAINTS,
            "-e",
            ".[demo,influx,push]",
            "--group",
            "dev",
        ),
        env=uv_env(VENV),
    )


def check() -> None:
    """Format, lint, types, import contracts."""
    tool = VENV / "bin"
    run(tool / "ruff", "format", "--check", "service", "tests", "dashboards", "firmware_notes")
    run(tool / "ruff", "check", "service", "tests", "dashboards", "firmware_notes")
    run(tool / "mypy")
    run(tool / "lint-imports")


def suite(extra: list[str]) -> None:
    """Run every test; in CI a missing service fails."""
    env = dict(os.environ)
    env["PATH"] = f"{env.get('PATH', '')}:/usr/sbin:/usr/local/sbin"
    if env.get("CI"):
        env["HILUM_REQUIRE_SERVICES"] = "1"
    at_once = ("-n", "auto", "--dist", "loadfile")  # each file in one process, as it shares servers
    run(VENV / "bin" / "python", "-m", "pytest", "-q", *at_once, *extra, env=env)


def wheel() -> None:
    """Build the wheel, run it without the development tools, fetch a page and a static file."""
    with tempfile.TemporaryDirectory(prefix="hilum-wheel-") as folder:
        place = Path(folder)
        run(
            VENV / "bin" / "uv",
            "build",
            "-q",
            "--wheel",
            "--out-dir",
            place,
            "-b",
            CONSTRAINTS,
            env=uv_env(VENV),
        )
        (built,) = place.glob("hilum-*.whl")
        clean = place / "clean"
        run(sys.executable, "-m", "venv", clean)
        run(
            *(VENV / "bin" / "uv", "pip", "install", "-q", "-c", CONSTRAINTS, f"{built}[demo]"),
            env=uv_env(clean),
        )
        smoke(clean / "bin" / "hilum", place / "data")
    print("The wheel serves its pages.")


def audit() -> None:
    """Ask whether pinned packages have known weaknesses, where somebody can be asked."""
    with tempfile.TemporaryDirectory(prefix="hilum-audit-") as folder:
        own = Path(folder) / "own"
        run(sys.executable, "-m", "venv", own)
        install = [str(own / "bin" / "python"), "-m", "pip", "install", "-q", AUDITOR]
        if subprocess.run(install, check=False).returncode:
            print("Dependencies were NOT audited: pip-audit cannot be installed here.")
            return
        run(own / "bin" / "python", ROOT / "tests" / "audit.py")


def smoke(hilum: Path, data: Path) -> None:
    """Start the installed program and fetch what a browser would."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = subprocess.Popen(
        [hilum, "serve", "--data-dir", data, "--port", str(port), "--no-mqtt"], cwd=data.parent
    )
    try:
        page = fetch(f"http://127.0.0.1:{port}/", wait_s=20)
        marker = 'href="/static/'
        if marker not in page:
            sys.exit("The first page names no style sheet.")
        path = "/static/" + page.split(marker, 1)[1].split('"', 1)[0]
        fetch(f"http://127.0.0.1:{port}{path}", wait_s=5)
        fetch(f"http://127.0.0.1:{port}/static/vendor/uplot.js", wait_s=5)
    finally:
        server.terminate()
        server.wait(20)


def fetch(address: str, wait_s: float) -> str:
    """Fetch an address, waiting for the server to come up."""
    end = time.monotonic() + wait_s
    while True:
        try:
            with urllib.request.urlopen(address, timeout=5) as answer:  # noqa: S310 - loopback
                return str(answer.read().decode())
        except (urllib.error.URLError, ConnectionError) as error:
            if time.monotonic() > end or isinstance(error, urllib.error.HTTPError):
                sys.exit(f"{address}: {error}")
            time.sleep(0.2)


def main() -> None:
    """Run the steps that were asked for, all by default."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--only", default=",".join(STEPS), help="steps, comma separated")
    parser.add_argument("pytest", nargs="*", help="arguments for pytest, after --")
    asked = parser.parse_args()
    steps = asked.only.split(",")
    if unknown := set(steps) - set(STEPS):
        parser.error(
            f"no step is called {', '.join(sorted(unknown))}; there are {', '.join(STEPS)}"
        )
    if sys.version_info < (3, 11):  # noqa: UP036 - a person may run this with any Python
        sys.exit("Hilum needs Python 3.11 or later.")
    install_services()
    prepare()
    if "check" in steps:
        check()
    if "suite" in steps:
        suite(asked.pytest)
    if "wheel" in steps:
        wheel()
    if "audit" in steps:
        audit()


if __name__ == "__main__":
    main()
