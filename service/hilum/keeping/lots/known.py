"""Answers about many lots, kept as long as what they rest on stays the same.

An answer is kept under everything it was worked out from. So it cannot grow stale: once a test, a
reading or a day changes what goes in, another answer is looked for.
"""

from collections.abc import Callable, Hashable, Iterable, Sequence
from itertools import islice
from typing import Generic, TypeVar

MOST = 20_000
"""Answers kept of one sort; the oldest make room. Some 1,000 bytes each."""

LOSS_DECIMALS = 4
"""Loss is rounded to so many decimals of a probit, so that answers last for hours: germination
changes by less than 0.004 points."""

FACTOR_DECIMALS = 3
"""The factor of doubt about the loss is rounded likewise."""

Question = TypeVar("Question", bound=Hashable)
Answer = TypeVar("Answer")


class Known(Generic[Question, Answer]):
    """Works out what is not known yet, all of it at once.

    Parameters
    ----------
    work_out : callable
        Answers questions in their order; the answer must depend on nothing but the question.
    most : int, optional
        Answers kept.
    """

    def __init__(
        self, work_out: Callable[[Sequence[Question]], Iterable[Answer]], most: int = MOST
    ) -> None:
        self._work_out = work_out
        self._most = most
        self._kept: dict[Question, Answer] = {}

    def answers(self, questions: Sequence[Question]) -> list[Answer]:
        """Give an answer to each question."""
        kept = self._kept
        found = {question: kept[question] for question in set(questions) if question in kept}
        new = [question for question in dict.fromkeys(questions) if question not in found]
        if new:
            found.update(zip(new, self._work_out(new), strict=True))
            added = {question: found[question] for question in new}
            every = {**kept, **added}
            # put in place as a whole: another thread may be at it, too
            self._kept = dict(islice(every.items(), max(0, len(every) - self._most), None))
        return [found[question] for question in questions]
