"""An HTML page taken apart, as a browser without scripts sees it."""

from __future__ import annotations

import html
import re
from html.parser import HTMLParser

import pytest
from flask.testing import FlaskClient

from gramwatt.engine import registry

BROWSER = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
CALCULATORS = list(registry.load().values())
every_calculator = pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
VOID = {"input", "br", "meta", "link", "hr", "img", "source"}
PARTS = {
    "parts.0.name": "frame",
    "parts.0.mass": "38.4",
    "parts.4.name": "motor",
    "parts.4.mass": "11.1",
    "parts.4.count": "4",
    "parts.5.name": "",
    "parts.5.mass": "",
    "mass_limit": "250",
    "scale_resolution": "0.1",
}


class Page(HTMLParser):
    """A page taken apart: its elements with attributes and the text below them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[list[str]] = []
        self.around: list[tuple[int, ...]] = []
        self._open: list[int] = []
        self.feed(text)
        assert not self._open, [self.elements[at] for at in self._open]

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attributes}))
        self.texts.append([])
        self.around.append(tuple(self._open))
        if tag not in VOID:
            self._open.append(len(self.elements) - 1)

    def handle_startendtag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attributes)
        if tag not in VOID:
            self._open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.elements[self._open.pop()][0] == tag, f"</{tag}> closes another"

    def handle_data(self, data: str) -> None:
        for at in self._open:
            self.texts[at].append(data)

    def find(self, tag: str = "", **wanted: str) -> list[tuple[dict[str, str], str]]:
        """Elements of a tag with these attributes (class_ for class), each with its text."""
        wanted = {name.rstrip("_").replace("_", "-"): value for name, value in wanted.items()}
        return [
            (attributes, re.sub(r"\s+", " ", "".join(self.texts[at])).strip())
            for at, (found, attributes) in enumerate(self.elements)
            if (not tag or found == tag)
            and all(value in (attributes.get(n), *attributes.get(n, "").split(" ")) for n, value in wanted.items())
        ]

    def find_folded(self) -> set[str]:
        """Return the ids of the elements within details that are closed at first."""
        closed = {at for at, (tag, found) in enumerate(self.elements) if tag == "details" and "open" not in found}
        return {
            attributes["id"]
            for (_, attributes), around in zip(self.elements, self.around, strict=True)
            if "id" in attributes and not closed.isdisjoint(around)
        }

    def one(self, tag: str = "", **wanted: str) -> tuple[dict[str, str], str]:
        """Return the only one."""
        (found,) = self.find(tag, **wanted)
        return found


def get(client: FlaskClient, path: str, **query: str) -> Page:
    answer = client.get(path, query_string=query or None, headers=BROWSER)
    assert answer.status_code == 200, answer.text
    assert answer.content_type == "text/html; charset=utf-8"
    return Page(answer.text)


def headline(page: Page) -> str:
    """Return the headline result with its unit and its uncertainty."""
    return page.one("h2", id="headline")[0]["data-value"]


def form_data(page: Page) -> dict[str, str]:
    """Return what a form would send, its rows of templates aside."""
    data: dict[str, str] = {}
    inside: str | None = None
    for at, (tag, attributes) in enumerate(page.elements):
        name = attributes.get("name", "")
        if "#" in name or (tag == "input" and attributes.get("type") == "file"):
            inside = None
            continue
        if tag == "input" and name:
            data[name] = attributes.get("value", "")
        elif tag == "textarea":
            data[name] = html.unescape("".join(page.texts[at]))
        elif tag == "select":
            inside = name
        elif tag == "option" and inside:
            value = attributes.get("value", "".join(page.texts[at]).strip())
            if inside not in data or "selected" in attributes:
                data[inside] = value
    return data


def code(page: Page) -> dict[str, str]:
    """Return the pieces of code of a page by their titles, as they would be copied."""
    titles = [text for attributes, text in page.find("h3") if attributes.get("id", "").startswith("code-")]
    found = [at for at, (tag, _) in enumerate(page.elements) if tag == "code" and page.elements[at - 1][0] == "pre"]
    pieces = ["".join(page.texts[at]) for at in found]
    return dict(zip(titles, pieces, strict=True))


def last_place(text: str) -> float:
    return float(10 ** -len(text.partition(".")[2])) if "." in text else 1.0
