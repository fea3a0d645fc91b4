"""Every error a user can meet, one sentence each.

    HilumError
    ├── NotFoundError        the thing asked for is not here
    ├── InvalidInputError    what was given cannot be used (names the field)
    ├── ConflictError        what was given contradicts what is kept
    ├── StoreError           the database cannot be read or written
    │   └── NewerSchemaError the database was written by a newer Hilum
    ├── BrokerError          the MQTT broker cannot be reached or refuses
    ├── SettingsError        the settings cannot be used
    └── PartMissingError     an optional part is not installed

Errors of the science layer (out of range, unknown or ambiguous name, no life model) are passed on
unchanged.
"""

from hilum.science.errors import (
    AmbiguousNameError,
    NoLifeModelError,
    OutOfRangeError,
    UnknownNameError,
)

__all__ = [
    "AmbiguousNameError",
    "BrokerError",
    "ConflictError",
    "HilumError",
    "InvalidInputError",
    "NewerSchemaError",
    "NoLifeModelError",
    "NotFoundError",
    "OutOfRangeError",
    "PartMissingError",
    "SettingsError",
    "StoreError",
    "UnknownNameError",
]


class HilumError(Exception):
    """Something a person can act on; the text is a sentence for them."""


class NotFoundError(HilumError):
    """The thing asked for is not here."""


class InvalidInputError(HilumError):
    """What was given cannot be used.

    Parameters
    ----------
    message : str
        One sentence for the user.
    field : str, optional
        Name of the form field, column or argument the sentence is about.
    """

    def __init__(self, message: str, field: str | None = None) -> None:
        self.field = field
        super().__init__(message)


class ConflictError(HilumError):
    """What was given contradicts what is kept."""


class StoreError(HilumError):
    """The database cannot be read or written."""


class NewerSchemaError(StoreError):
    """The database was written by a newer Hilum."""


class ClockNotSetError(HilumError):
    """The clock of this machine was not set yet, or seems to be slow."""


class BrokerError(HilumError):
    """The MQTT broker cannot be reached or refuses."""


class SettingsError(HilumError):
    """The settings cannot be used."""


class PartMissingError(HilumError):
    """An optional part is not installed."""
