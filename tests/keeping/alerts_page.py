"""Puts the table of rules into ``service/docs/alerts.md``.

``python tests/keeping/alerts_page.py`` writes it; a test compares.
"""

from pathlib import Path

from hilum.keeping.watching.judging import span
from hilum.keeping.watching.rules import COLD_DWELL_S, RULES, Rule

PAGE = Path(__file__).resolve().parents[2] / "service" / "docs" / "alerts.md"
BEGIN, END = "<!-- rules: written by tests/keeping/alerts_page.py -->", "<!-- end of rules -->"


def table() -> str:
    """All rules as a table, and their sources as a list."""
    head = "| rule | what is compared | limit | over at | must last | reminder |\n"
    head += "| --- | --- | --- | --- | --- | --- |\n"
    rows = "\n".join(map(_row, RULES.values()))
    sources = "\n".join(
        f"- **{rule.title}** (`{rule.key}`): {rule.source}. Status: {rule.status}."
        for rule in RULES.values()
    )
    return f"{head}{rows}\n\nWhere the limits come from:\n\n{sources}"


def _row(rule: Rule) -> str:
    side = "below" if rule.side.value > 0 else "above"
    over = f"{rule.band:g} {rule.unit} {side} the limit" if rule.band else "the limit"
    lasts = span(rule.dwell_s) if rule.dwell_s else "at once"
    if rule.key in COLD_DWELL_S:
        lasts += f"; {COLD_DWELL_S[rule.key] // 3600} hours in fridge and freezer"
    again = span(rule.repeat_s) if rule.repeat_s else "none"
    urgent = " (told at night too)" if rule.urgent else ""
    cells = (f"{rule.title}{urgent}", rule.quantity, rule.limit_words, over, lasts, again)
    return f"| {' | '.join(cells)} |"


def page(text: str) -> str:
    """The page with the table of today in it."""
    before, rest = text.split(BEGIN)
    return f"{before}{BEGIN}\n{table()}\n{END}{rest.split(END)[1]}"


if __name__ == "__main__":
    PAGE.write_text(page(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
