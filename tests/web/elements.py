"""A page as a tree of elements, so that tests look at elements and not at strings."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = frozenset({"area", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"})


@dataclass
class Element:
    """One element with its attributes, children and text."""

    tag: str
    attrs: dict[str, str] = field(default_factory=dict)
    children: list["Element"] = field(default_factory=list)
    parts: list["str | Element"] = field(default_factory=list)

    def walk(self) -> Iterator["Element"]:
        """Give this element and all below it, in order of the page."""
        yield self
        for child in self.children:
            yield from child.walk()

    def all(self, tag: str = "", **attrs: str) -> list["Element"]:
        """Give the elements below with this tag, class (``of``) and attributes (_ for -)."""
        wanted_class = attrs.pop("of", None)
        wanted = {name.replace("_", "-"): value for name, value in attrs.items()}
        return [
            element
            for element in self.walk()
            if (not tag or element.tag == tag)
            and (wanted_class is None or wanted_class in element.attrs.get("class", "").split())
            and all(element.attrs.get(name) == value for name, value in wanted.items())
        ]

    def one(self, tag: str = "", **attrs: str) -> "Element":
        """Give the only such element."""
        found = self.all(tag, **attrs)
        assert len(found) == 1, f"{len(found)} elements {tag} {attrs}"
        return found[0]

    @property
    def text(self) -> str:
        """Text in the order of the page, blanks drawn together.

        What is only kept on one line stands in its sentence, and gets no blanks about it.
        """
        raw = "".join(p if isinstance(p, str) else p.inline() for p in self.parts)
        return " ".join(raw.split())

    def inline(self) -> str:
        """Text as it stands in that of the element around it."""
        return self.text if self.attrs.get("class") == "one" else f" {self.text} "


class _Builder(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("document")
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(element)
        self.open[-1].parts.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].parts.append(data)


def parse(html: str) -> Element:
    """Read a page; every element must be closed in order."""
    builder = _Builder()
    builder.feed(html)
    builder.close()
    assert builder.open == [builder.root], f"<{builder.open[-1].tag}> is not closed"
    return builder.root
