"""What every formula does with its arguments: floats give floats, arrays give arrays."""

import numpy as np
import numpy.typing as npt

from hilum.science.errors import OutOfRangeError

Floats = npt.NDArray[np.float64]
Quantity = float | Floats

LN_2 = float(np.log(2.0))
LN_10 = float(np.log(10.0))


def as_floats(value: Quantity) -> Floats:
    """Give the value as a contiguous array; a float becomes an array without dimensions.

    Contiguous, because numpy may round exp and log differently along a strided view.
    """
    return np.asarray(value, dtype=np.float64, order="C")


def checked(quantity: str, value: Quantity, low: float, high: float, unit: str) -> Floats:
    """Give the value as an array, or raise OutOfRangeError with the first value that is outside.

    NaN lies in no range.
    """
    values = as_floats(value)
    inside = (values >= low) & (values <= high)
    if not np.all(inside):
        first = float(values.reshape(-1)[np.argmin(inside)])
        raise OutOfRangeError(quantity, first, low, high, unit)
    return values


def as_given(result: Floats) -> Quantity:
    """Give a result without dimensions back as a float."""
    return result if np.ndim(result) else float(result)
