"""What is made of a report about pinned packages; the service itself is not asked here."""

import audit
from audit import CONSTRAINTS, Verdict, pinned, verdict

# The shape of ``pip-audit --format json`` 2.x, from its documentation.
REPORT = {
    "dependencies": [
        {"name": "alpha", "version": "1.0", "vulns": []},
        {
            "name": "beta",
            "version": "2.0",
            "vulns": [{"id": "PYSEC-0", "fix_versions": ["2.1"], "aliases": [], "description": ""}],
        },
        {"name": "gamma", "skip_reason": "not found"},
    ],
    "fixes": [],
}


def test_a_known_weakness_is_named() -> None:
    """With the version that mends it; what the service does not know is listed apart."""
    found = verdict(REPORT)
    assert found == Verdict(2, ("gamma",), ("beta 2.0: PYSEC-0, mended in 2.1",))
    assert "gamma" in found.in_words()


def test_nothing_audited_is_not_called_well() -> None:
    """Where every package was skipped, or no report came, the words say so."""
    skipped = verdict({"dependencies": [{"name": "alpha", "skip_reason": "no service"}]})
    assert "NOT audited" in skipped.in_words()
    assert "NOT audited" in Verdict(0, ("alpha",), ()).in_words()
    assert "No weakness" in Verdict(1, (), ()).in_words()


def test_a_tool_that_fails_is_no_audit() -> None:
    """Without the tool, or when it breaks, nothing counts as audited."""
    assert audit.ask(["not-a-package==0"]).audited == 0


def test_every_package_of_ours_is_pinned() -> None:
    """The file that is audited holds what Hilum itself needs."""
    names = {line.partition("==")[0] for line in pinned(CONSTRAINTS.read_text(encoding="utf-8"))}
    assert {"fastapi", "uvicorn", "paho-mqtt", "argon2-cffi", "numpy", "jinja2"} <= names
