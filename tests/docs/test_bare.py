"""The two commands of the first page, on a Debian on which nothing is installed.

Needs root, debootstrap and some 4 GB; takes half an hour, most of it for the tests in there. The
bare system is made once and kept in the cache folder (``HILUM_BARE`` names another); each run works
on a copy. How packages are reached is copied from this machine while it runs.
"""

import os
import re
import shutil
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SHELL = re.findall(r"^```sh\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
FETCH, FIRST, SECOND = SHELL[0], SHELL[1], SHELL[2]
HOME = "/root/hilum"
ACCESS = (
    "etc/apt/sources.list",
    "etc/apt/sources.list.d",
    "etc/apt/apt.conf.d",
    "etc/pip.conf",
    "etc/ssl/certs",
    "etc/resolv.conf",
    "etc/hosts",
    "root/.config/pip",
    "root/.npmrc",
    "usr/local/share/ca-certificates",
)
"""Where a machine says how it reaches packages."""

PASSED_ON = re.compile(r"(?i).*_proxy|.*_cert|.*_ca_(bundle|certs)|ssl_cert_.*|pip_.*_url")
UP_S, TESTS_S = 300, 5400

pytestmark = pytest.mark.slow


def run(*words: str | Path, seconds: float = 600) -> None:
    """Run a command of this machine."""
    subprocess.run(words, check=True, timeout=seconds)


def release() -> str:
    """Name of this machine's Debian release."""
    said = Path("/etc/os-release").read_text(encoding="utf-8")
    found = re.search(r"^VERSION_CODENAME=(\w+)$", said, re.MULTILINE)
    return found[1] if found else "stable"


def mirror() -> str:
    """Where this machine gets Debian's packages."""
    places = [Path("/etc/apt/sources.list"), *Path("/etc/apt/sources.list.d").glob("*")]
    text = "\n".join(place.read_text("utf-8") for place in places if place.is_file())
    found = re.search(r"^(?:URIs:|deb(?: \[[^\]]*\])?)\s+(\S+/debian/?)\s", text, re.MULTILINE)
    return found[1] if found else "http://deb.debian.org/debian"


def bare() -> Path:
    """The bare system, made if it is not there yet."""
    cache = Path(os.environ.get("XDG_CACHE_HOME", "~/.cache")).expanduser()
    folder = Path(os.environ.get("HILUM_BARE") or cache / "hilum-bare") / release()
    if not folder.is_dir():
        making = folder.with_suffix(".making")
        shutil.rmtree(making, ignore_errors=True)
        making.mkdir(parents=True)
        run("debootstrap", "--variant=minbase", release(), making, mirror(), seconds=1800)
        making.rename(folder)
    return folder


def let_reach_packages(root: Path) -> None:
    """Copy into a system how this machine reaches packages."""
    for name in ACCESS:
        source, target = Path("/") / name, root / name
        if source.is_dir():
            shutil.copytree(source, target, dirs_exist_ok=True)
        elif source.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(source, target)
    if list(root.glob("etc/apt/sources.list.d/*")):
        (root / "etc/apt/sources.list").write_text("", encoding="utf-8")


class Bare:
    """A bare system to run commands in.

    Parameters
    ----------
    root : Path
        Its folder.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        passed = {name: value for name, value in os.environ.items() if PASSED_ON.fullmatch(name)}
        self.env: Mapping[str, str] = {
            "PATH": "/usr/sbin:/usr/bin:/sbin:/bin",
            "HOME": "/root",
            "LANG": "C.UTF-8",
            "DEBIAN_FRONTEND": "noninteractive",
            **passed,
        }

    def start(self, script: str, output: int | None = None) -> subprocess.Popen[str]:
        """Start shell lines in it; all that they started ends with them."""
        mounts = 'mount -t proc proc "$0/proc"; mount --rbind /dev "$0/dev"'
        inside = f'{mounts}; exec chroot "$0" sh -ec "$1"'
        words = ["unshare", "--mount", "--pid", "--fork", "--kill-child", "sh", "-ec", inside]
        return subprocess.Popen(
            [*words, str(self.root), script], env=self.env, text=True, stdout=output
        )

    def run(self, script: str, seconds: float = 900) -> None:
        """Run shell lines in it."""
        with self.start(script) as process:
            try:
                assert process.wait(seconds) == 0, script
            finally:
                process.kill()


@pytest.fixture(scope="module")
def system() -> Iterator[Bare]:
    """A bare system with what the first page asks for, and the checkout."""
    missing = [name for name in ("debootstrap", "unshare", "chroot") if not shutil.which(name)]
    if os.geteuid() != 0 or missing:
        pytest.skip("needs root and debootstrap (Debian packages debootstrap, util-linux)")
    folder = bare()
    root = folder.with_suffix(f".{os.getpid()}")
    run("cp", "-a", folder, root)
    try:
        let_reach_packages(root)
        one = Bare(root)
        (asked,) = re.findall(r"^sudo apt (install [a-z0-9 -]+)$", FETCH, re.MULTILINE)
        one.run(f"apt-get update -qq; apt-get {asked} -y -qq --no-install-recommends")
        run("git", "clone", "-q", ROOT, root / HOME.strip("/"))
        yield one
    finally:
        run("rm", "-rf", "--one-file-system", root)


def boxes_on(address: str) -> set[str]:
    """Names of the boxes on the first page, as soon as it answers."""
    until = time.monotonic() + UP_S
    while time.monotonic() < until:
        try:
            with urllib.request.urlopen(address, timeout=20) as answer:  # noqa: S310 - this machine
                return set(re.findall(r'data-box="(\w[\w-]*)"', answer.read().decode()))
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.5)
    return set()


def test_first_command_ends_in_a_page_with_the_boxes(system: Bare) -> None:
    """Nothing but what the first page names has to be installed, and the demo comes up."""
    with system.start(f"cd {HOME}\n{FIRST}", subprocess.PIPE) as process:
        try:
            assert process.stdout is not None
            said = (re.search(r"http://127\.0\.0\.1:\d+/", line) for line in process.stdout)
            address = next(found[0] for found in said if found)
            assert boxes_on(address) >= {"drawer", "tub", "fridge-jar"}
        finally:
            process.kill()


def test_second_command_passes_the_tests(system: Bare) -> None:
    """It installs the services it needs by itself, and everything passes."""
    system.run(f"cd {HOME}\n{SECOND}", TESTS_S)
