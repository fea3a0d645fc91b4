"""Where the web files are, and how they are named."""

import os
import shutil
from pathlib import Path

import pytest

from hilum.domain.errors import PartMissingError
from hilum.web import assets
from hilum.web.assets import StaticUrls, web_folder
from hilum.web.render import environment


def test_the_files_are_found_in_a_checkout() -> None:
    """Templates and static files stand side by side."""
    folder = web_folder()
    assert (folder / "templates" / "base.html").is_file()
    assert (folder / "static" / "hilum.css").is_file()


def test_missing_files_are_told_with_both_places(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Whoever broke an installation learns where Hilum looked."""
    package = tmp_path / "service" / "hilum"
    monkeypatch.setattr(assets, "files", lambda _: package)
    with pytest.raises(PartMissingError) as caught:
        web_folder()
    assert str(package / "_web") in str(caught.value)
    assert str(tmp_path / "dashboards") in str(caught.value)


def test_files_inside_the_package_come_first(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """An installed Hilum uses what it was installed with."""
    inside = tmp_path / "service" / "hilum" / "_web"
    for base in (inside, tmp_path / "dashboards"):
        (base / "templates").mkdir(parents=True)
        (base / "static").mkdir()
    monkeypatch.setattr(assets, "files", lambda _: tmp_path / "service" / "hilum")
    assert web_folder() == inside


def test_a_changed_file_gets_another_address(tmp_path: Path) -> None:
    """Its hash follows the content, so that no browser keeps the old one."""
    file = tmp_path / "a.css"
    file.write_text("one", "utf-8")
    url = StaticUrls(tmp_path)
    first = url("a.css")
    assert first == url("a.css")
    file.write_text("two", "utf-8")
    os.utime(file, ns=(1, 1))
    assert url("a.css") != first
    assert url("a.css").startswith("/static/a.css?v=")


def test_templates_are_compiled_once_and_again_where_the_folder_is_spoilt(tmp_path: Path) -> None:
    """The next start takes what the last one compiled; damage or a lost folder changes no page."""
    templates, kept = tmp_path / "templates", tmp_path / "cache"
    templates.mkdir()
    (templates / "a.html").write_text("<p>{{ page }}</p>")

    def page() -> str:
        env = environment(templates, StaticUrls(tmp_path), kept)
        return env.get_template("a.html").render(page="1 < 2")

    assert page() == "<p>1 &lt; 2</p>"
    [file] = kept.rglob("*.cache")
    whole = file.read_bytes()
    file.write_bytes(whole.replace(b"<p>", b"<b>").replace(b"</p>", b"</b>"))
    assert page() == "<b>1 &lt; 2</b>"  # taken from there
    for spoilt in (b"", whole[:20], whole[:-9], b"\xff" * 99):
        file.write_bytes(spoilt)
        assert page() == "<p>1 &lt; 2</p>"
    shutil.rmtree(kept)
    kept.write_text("no folder")
    assert page() == "<p>1 &lt; 2</p>"
