"""The one error of the science layer."""


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
