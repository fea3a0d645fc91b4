"""Files to grids: what a file is, is told by its content, never by its name."""

import re
from pathlib import Path

from hilum.domain.errors import InvalidInputError
from hilum.sheets.grid import MOST_BYTES, Grid
from hilum.sheets.text import read_text
from hilum.sheets.workbook import read_workbook

_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_OTHER = (
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"{\\rtf", "a text document"),
    (b"\x1f\x8b", "a packed file"),
    (b"7z\xbc\xaf", "a packed file"),
    (b"Rar!", "a packed file"),
    (b"SQLite format 3", "a database"),
)


def read_path(path: Path) -> bytes:
    """Read a file whole, unless it is too large to be a list of seed.

    Raises
    ------
    InvalidInputError
        It is not there, is no file, or is too large.
    """
    try:
        if not path.is_file():
            raise InvalidInputError(f"There is no file {path}.", "file")
        check_bytes(path.stat().st_size)
        return path.read_bytes()
    except OSError as error:
        raise InvalidInputError(f"{path} cannot be read: {error.strerror}.", "file") from error


def check_bytes(size: int) -> None:
    """Refuse a file too large to be a list of seed."""
    if size > MOST_BYTES:
        raise InvalidInputError(
            f"The file has {size / 1e6:,.0f} MB; a list of seed of more than "
            f"{MOST_BYTES / 1e6:.0f} MB is not read. Keep only the rows and columns of the lots.",
            "file",
        )


def read_grids(data: bytes, name: str) -> list[Grid]:
    """Read the tables in a file.

    Parameters
    ----------
    data : bytes
        Content of the file.
    name : str
        Its name, for messages.

    Returns
    -------
    list of Grid
        One for text; one for each sheet of a workbook that holds something.

    Raises
    ------
    InvalidInputError
        It is no table that can be read; says what it is instead and what to do.
    """
    check_bytes(len(data))
    if not data.strip(b"\0\r\n\t \xef\xbb\xbf\xff\xfe"):
        raise InvalidInputError("The file is empty.", "file")
    if data.startswith(_OLE):
        raise _old_workbook(data)
    if data.startswith(b"PK"):
        return read_workbook(data)
    for mark, what in _OTHER:
        if data.startswith(mark):
            raise InvalidInputError(f"This is {what}, not a table. Give an XLSX or CSV.", "file")
    head = data[:2000].lstrip(b"\xef\xbb\xbf \r\n\t").lower()
    if re.match(rb"<(!doctype html|html|table|head|body|\?xml|!--)", head):
        raise InvalidInputError(
            "This is a web page or XML under the name of a spreadsheet. Open it in a spreadsheet "
            "program and save it as XLSX or CSV.",
            "file",
        )
    return [read_text(data, name)]


def _old_workbook(data: bytes) -> InvalidInputError:
    if "EncryptedPackage".encode("utf-16-le") in data:
        return InvalidInputError(
            "The workbook is protected with a password. Save it without one, or as CSV.", "file"
        )
    return InvalidInputError(
        "This is a workbook of the old kind (XLS). Save it as XLSX or CSV.", "file"
    )
