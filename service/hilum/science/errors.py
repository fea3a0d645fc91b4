"""The errors of the science layer."""


class OutOfRangeError(ValueError):
    """A quantity lies outside the range for which the published model can answer.

    Parameters
    ----------
    quantity : str
        What was given, in words ("relative humidity").
    value : float
        The value that was given.
    low, high : float
        The accepted range.
    unit : str
        Unit of value and range.
    """

    def __init__(self, quantity: str, value: float, low: float, high: float, unit: str) -> None:
        self.quantity = quantity
        self.value = value
        self.low = low
        self.high = high
        self.unit = unit
        super().__init__(f"{quantity} must lie between {low:g} and {high:g} {unit}, not {value:g}.")


class UnknownNameError(LookupError):
    """A name stands in no table; the nearest known names are offered.

    Parameters
    ----------
    what : str
        The table in words ("kind of seed").
    name : str
        The name that was asked for.
    nearest : tuple of str
        Known names that come closest, best first; may be empty.
    """

    def __init__(self, what: str, name: str, nearest: tuple[str, ...] = ()) -> None:
        self.what = what
        self.name = name
        self.nearest = nearest
        hint = f" Did you mean {', '.join(nearest)}?" if nearest else ""
        super().__init__(f"No {what} is known as “{name}”.{hint}")


class AmbiguousNameError(LookupError):
    """A name fits several entries of a table; none is taken.

    Parameters
    ----------
    what : str
        The table in words ("kind of seed").
    name : str
        The name that was asked for.
    candidates : tuple of str
        The names it could mean.
    """

    def __init__(self, what: str, name: str, candidates: tuple[str, ...]) -> None:
        self.what = what
        self.name = name
        self.candidates = candidates
        choice = " or ".join((", ".join(candidates[:-1]), candidates[-1]))
        super().__init__(f"“{name}” fits more than one {what}: {choice}?")


class NoLifeModelError(ValueError):
    """The viability equation does not hold for this kind of seed.

    Parameters
    ----------
    kind : str
        Common name of the kind.
    reason : str
        Why, as the end of a sentence ("its seed dies when it dries").
    """

    def __init__(self, kind: str, reason: str) -> None:
        self.kind = kind
        self.reason = reason
        super().__init__(f"{kind}: how long it keeps cannot be worked out, for {reason}.")
