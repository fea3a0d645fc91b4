"""The page about alerts says what the code does."""

from hilum.keeping.watching.rules import RULES
from hilum.notify.sender import GIVE_UP_S
from keeping.alerts_page import PAGE, page


def test_the_table_of_rules_is_of_today() -> None:
    """Run ``python tests/keeping/alerts_page.py`` when this fails."""
    text = PAGE.read_text(encoding="utf-8")
    assert page(text) == text
    for rule in RULES.values():
        assert f"`{rule.key}`" in text


def test_what_the_page_promises_is_so() -> None:
    """The figures in its prose are those of the code."""
    text = PAGE.read_text(encoding="utf-8")
    assert GIVE_UP_S == 3 * 86_400
    assert "**three days**" in text
    urgent = [rule.title.lower() for rule in RULES.values() if rule.urgent]
    assert f"{' and '.join(urgent)}." in text
