"""Spans of time in words, no finer than they are known."""

import math

FAR_DAYS = 365.0


def span_words(days: float) -> str:
    """Write a length of time: hours, days, weeks or months."""
    if days < 2.0:
        hours = max(round(days * 24.0), 1)
        return "an hour" if hours == 1 else f"{hours} hours"
    if days < 21.0:
        return f"{round(days)} days"
    if days < 75.0:
        return f"{round(days / 7.0)} weeks"
    if days < 2 * FAR_DAYS:
        return f"{round(days / 30.44)} months"
    return "years"


def range_words(low_days: float, high_days: float) -> str:
    """Write an interval: the unit only once where it is the same."""
    first = "now" if low_days < 1.0 / 24.0 else span_words(low_days)
    last = span_words(high_days) if high_days <= FAR_DAYS else "over a year"
    if first == last:
        return first
    if " " in first and first.split()[-1] == last.split()[-1]:
        first = first.split()[0]
    return f"{first} to {last}"


def in_span(low_days: float, days: float, high_days: float) -> str:
    """Write a date to come with its interval; empty if even the middle is too far to tell."""
    if not math.isfinite(days) or days > FAR_DAYS:
        if math.isfinite(low_days) and low_days <= FAR_DAYS:
            return f"in {span_words(low_days)} at the earliest, perhaps much later"
        return ""
    low_days = 0.0 if low_days < 1.0 else low_days
    return f"in about {span_words(max(days, 1.0))} ({range_words(low_days, high_days)})"
