"""The texts keep up with the program: commands run, links lead somewhere, nothing is left out."""

import io
import re
import shlex
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from cli.conftest import Run, hilum
from docs.reference import DOCS, PAGES, commands, tree
from hilum.config import ChannelSettings, QuantitySetting, Settings, SourceSetting
from hilum.domain.model import Reading
from hilum.stores.sqlite import SqliteStore

__all__ = ["hilum"]

ROOT = DOCS.parents[1]
TEXTS = [ROOT / "README.md", *sorted(DOCS.glob("*.md"))]
ALL_TEXTS = [
    path
    for path in sorted(ROOT.rglob("*.md"))
    if not {"node_modules", ".venv"} & set(path.relative_to(ROOT).parts)
    and not any(part.startswith(".") for part in path.relative_to(ROOT).parts)
]
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
COMMANDS = ("hilum ", ".venv/bin/hilum ", "sudo -u hilum /opt/hilum/bin/hilum ")
AT_MS = 1_764_061_200_000  # 2025-11-25
BACKUP = re.compile(r"(\S+)/hilum-\d{8}T\d{6}Z\.sqlite3")


def shell_lines(path: Path) -> list[str]:
    """The lines of a text's shell blocks that run Hilum, without the way to it."""
    found = []
    for language, block in BLOCK.findall(path.read_text(encoding="utf-8")):
        if language in {"", "sh", "console"}:
            for line in block.replace("\\\n", " ").splitlines():
                start = next((each for each in COMMANDS if line.startswith(each)), None)
                if start is not None:
                    found.append("hilum " + line.removeprefix(start))
    return found


WITH_COMMANDS = [path for path in TEXTS if shell_lines(path)]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with what the texts take for granted: files with these names, and one sensor."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "logger.csv").write_text(
        "time,temperature,humidity\n2025-11-20 10:00,19.8,27.4\n", encoding="utf-8"
    )
    (tmp_path / "plan.csv").write_text("kind,variety,plants\nonion,any,200\n", encoding="utf-8")
    return tmp_path


def here(line: str, home: Path) -> list[str]:
    """Split a command into words, with the folders of a real machine put under ``home``."""
    words = shlex.split(line, comments=True)[1:]
    for place in ("/media/stick/hilum", "/var/backups/hilum", "/tmp/try-out"):  # noqa: S108 - text
        words = [word.replace(place, str(home / place.strip("/"))) for word in words]
    words = [word.replace("/var/lib/hilum", str(home / "data")) for word in words]
    return [newest(word) for word in words]


def newest(word: str) -> str:
    """The backup that is really there, for one that a text names."""
    match = BACKUP.fullmatch(word)
    return str(max(Path(match[1]).glob("hilum-*.sqlite3"))) if match else word


def prepare(words: list[str], home: Path, run: Run) -> None:
    """Make happen what a text has happen between its commands."""
    if not (home / "data" / "hilum.toml").exists() and words[0] != "init":
        run("init")
    if words[:2] == ["lots", "import"] and not (home / words[2]).exists():
        run("boxes", "add", "Blue tub", "--type", "tub")
        run("lots", "add", "onion", "--box", "blue-tub", "--germination", "92")
        run("lots", "export", "--to", words[2])
    if words[0] == "restore" and "--data-dir" in words:
        place = Path(words[words.index("--data-dir") + 1])
        if place.exists():
            place.rename(place.with_name(f"{place.name}-before"))
    if words[0] in {"sensors", "backup"}:
        store = SqliteStore(home / "data" / "hilum.sqlite3")
        store.add([Reading("home/tub-1", AT_MS, 19.8, 27.4)], AT_MS)
        store.close()


@contextmanager
def pages(data: Path, *words: str) -> Iterator[str]:
    """Run ``hilum serve`` as a process of its own; gives its address, once it answers."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = str(probe.getsockname()[1])
    command = [sys.executable, "-m", "hilum", *(words or ["serve"]), "--port", port]
    where = ["--data-dir", str(data), "--no-mqtt"]
    with subprocess.Popen([*command, *where], stdout=subprocess.DEVNULL) as process:
        try:
            assert answers(f"http://127.0.0.1:{port}/healthz")
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()
            assert process.wait(20) == 0


def answers(address: str) -> bool:
    """Whether an address answers within a while."""
    until = time.monotonic() + 30
    while time.monotonic() < until:
        with suppress(urllib.error.URLError, ConnectionError):
            urllib.request.urlopen(address, timeout=5).close()  # noqa: S310 - this machine
            return True
        time.sleep(0.1)
    return False


@pytest.mark.parametrize("path", WITH_COMMANDS, ids=lambda path: path.name)
def test_commands_in_the_texts_run(
    path: Path, home: Path, hilum: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every command a text shows runs as it stands, in its order, in an empty home."""
    monkeypatch.setattr("sys.stdin", io.StringIO("three damp paper bags\n"))
    for line in shell_lines(path):
        words = here(line, home)
        prepare(words, home, hilum)
        if words[0] == "serve":
            with pages(home / "data", *words):
                continue
        answer = hilum(*words)
        # here is no broker, and what was restored is old: the check says so, and is right
        good = "✓ database: sound" in answer.out if words[0] == "check" else answer.code == 0
        assert good, f"{line}\n{answer.out}{answer.err}"


def test_the_texts_show_commands() -> None:
    """The check above has found the commands of the first page and of the guide for serving."""
    shown = {path.name: len(shell_lines(path)) for path in WITH_COMMANDS}
    assert shown["README.md"] >= 5
    assert shown["serving.md"] >= 5


def links(path: Path) -> Iterator[tuple[str, str]]:
    """Relative links of a text: file and heading."""
    text = BLOCK.sub("", path.read_text(encoding="utf-8"))
    for target in LINK.findall(text):
        if not re.match(r"[a-z]+:", target):
            file, _, heading = target.partition("#")
            yield file, heading


def headings(path: Path) -> set[str]:
    """Names under which the headings of a text are linked to."""
    found = re.findall(r"^#+ (.+)$", BLOCK.sub("", path.read_text(encoding="utf-8")), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in found}


@pytest.mark.parametrize("path", ALL_TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_somewhere(path: Path) -> None:
    """Every relative link of every text leads to a file, and to a heading that is in it."""
    for file, heading in links(path):
        target = (path.parent / file).resolve() if file else path
        assert target.exists(), f"{path.name}: {file}"
        if heading:
            assert heading in headings(target), f"{path.name}: {file}#{heading}"


@pytest.mark.parametrize("name", PAGES)
def test_written_pages_are_fresh(name: str) -> None:
    """Pages written from the code are as the code is; else run tests/docs/reference.py."""
    assert (DOCS / name).read_text(encoding="utf-8") == PAGES[name]()


@pytest.mark.parametrize("path", ALL_TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_commands_in_sentences_exist(path: Path) -> None:
    """A command in the middle of a sentence is one of the program's, with options it knows."""
    known = dict(tree())
    text = " ".join(BLOCK.sub("", path.read_text(encoding="utf-8")).split())
    for line in re.findall(r"`(hilum [a-z][^`]*)`", text):
        words = line.split()
        name = max((n for n in known if f"{line} ".startswith(f"{n} ")), key=len)
        assert name != "hilum", line
        options = {
            opt for param in known[name].params for opt in [*param.opts, *param.secondary_opts]
        }
        used = {word.partition("=")[0] for word in words if word.startswith("--")}
        assert used <= options | {"--help"}, line


def test_every_command_is_described() -> None:
    """Each command has a sentence and an example that calls it."""
    found = list(commands())
    assert len(found) > 20
    for name, words, example in found:
        assert words.endswith("."), name
        assert example.startswith(name), name


def test_every_setting_is_described() -> None:
    """Each setting has a description, and stands in the table under its name."""
    page = (DOCS / "settings.md").read_text(encoding="utf-8")
    for model in (Settings, ChannelSettings, SourceSetting, QuantitySetting):
        for name, field in model.model_fields.items():
            assert field.description, name
            assert f"| `{name}` |" in page


def test_every_page_can_be_found() -> None:
    """From the first page and the list of all pages, every page is reached by links."""
    seen: set[Path] = set()
    todo = [ROOT / "README.md", DOCS / "README.md"]
    while todo:
        path = todo.pop()
        if path not in seen and path.suffix == ".md":
            seen.add(path)
            todo += [(path.parent / file).resolve() for file, _ in links(path) if file]
    assert set(DOCS.glob("*.md")) - seen == set()


def test_messages_are_quoted_as_they_are() -> None:
    """What troubleshooting quotes is what the service, the sensor or the broker says."""
    sources = [
        *(ROOT / "service" / "hilum").rglob("*.py"),
        *(ROOT / "firmware_notes").rglob("*.py"),
    ]
    said = " ".join(re.sub(r'"\s*\n\s*f?"', "", path.read_text("utf-8")) for path in sources)
    tables = re.findall(r"^\|.*$", (DOCS / "troubleshooting.md").read_text("utf-8"), re.MULTILINE)
    quoted = [words for line in tables for words in re.findall(r'"([A-Za-z][^"`]+)"', line)]
    quoted = [words for words in quoted if words != "Denied PUBLISH"]  # the broker's
    assert len(quoted) > 8
    for words in quoted:
        pattern = r"[^\n]{1,40}?".join(map(re.escape, words.removesuffix(" …").split("…")))
        assert re.search(pattern, said), words


def words_of(path: Path) -> str:
    """Text of a page in one line."""
    return " ".join(path.read_text(encoding="utf-8").split())


def test_power_budget_adds_up() -> None:
    """The figures for the battery in the building notes follow from its table of currents."""
    text = words_of(ROOT / "firmware_notes" / "building.md")
    asleep, awake = 0.1 * 24, 40 * 1 * 144 / 3600
    for sends, total in ((24, "8.8"), (4, "4.8")):
        day_mah = asleep + awake + 120 * 6 * sends / 3600
        assert f"{day_mah:.1f}" == total
        assert f"{total} mAh" in text
        for days in (0.8 * 3000 / day_mah, 2 * 2000 * 1.2 * 0.85 / (day_mah * 3.3)):
            assert re.search(rf"\b{days:.0f} days, {days / 30.4:.0f} months\b", text), days
