"""Reads a form that carries a file (``multipart/form-data``, RFC 7578), whole and in memory."""

from dataclasses import dataclass
from email.message import Message
from email.parser import HeaderParser

from hilum.domain.errors import InvalidInputError

FORM_TYPE = "multipart/form-data"
MOST_PARTS = 100


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a form; ``filename`` is empty for a field."""

    name: str
    filename: str
    data: bytes


def read_parts(content_type: str, body: bytes) -> list[Part]:
    """Take a body apart; it must end with its boundary, so that none is cut off.

    Raises
    ------
    InvalidInputError
        It is not written as the standard says.
    """
    header = Message()
    header["content-type"] = content_type
    boundary = header.get_boundary("")
    sections = (b"\r\n" + body).split(b"\r\n--" + boundary.encode())
    if not boundary or not sections[-1].startswith(b"--") or len(sections) > MOST_PARTS:
        raise InvalidInputError("The file did not arrive whole; send it again.", "file")
    return [_part(section) for section in sections[1:-1]]


def _part(section: bytes) -> Part:
    head, _, data = section.removeprefix(b"\r\n").partition(b"\r\n\r\n")
    headers = HeaderParser().parsestr(head.decode("utf-8", "replace"))
    name = headers.get_param("name", "", "content-disposition")
    if not isinstance(name, str) or not name:
        raise InvalidInputError("The file did not arrive whole; send it again.", "file")
    return Part(name, headers.get_filename("") or "", data)
