"""The description of the contract as paragraphs with addresses, which the descriptions of operations refer to."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from markupsafe import Markup, escape

from gramwatt.web.pages.text import marked_text

_HEADING: Final = re.compile(r"\*\*([A-Z][\w ]*)\.\*\*\s*")
_ABOVE: Final = re.compile(r"(?<=See )([A-Z][\w ]*?), above\b")


@dataclass(frozen=True, slots=True)
class Topic:
    """A paragraph of the description."""

    heading: str
    """Empty of a paragraph without one."""
    text: Markup

    @property
    def id(self) -> str:
        """Its address on the page."""
        return make_id(self.heading)


def list_topics(description: str) -> list[Topic]:
    """Return the paragraphs of a description; ``**Units.**`` at the beginning of one is its heading."""
    topics = []
    for paragraph in re.split(r"\n\s*\n", description.strip()):
        heading = _HEADING.match(paragraph)
        rest = paragraph[heading.end() :] if heading else paragraph
        topics.append(Topic(heading[1] if heading else "", marked_text(rest)))
    return topics


def make_id(heading: str) -> str:
    """Return the address of a topic."""
    return f"about-{heading.lower().replace(' ', '-')}"


def link_topics(text: str) -> Markup:
    """Return the description of an operation; in ``See Tables, above.`` the topic is a link."""
    html = str(marked_text(text))
    linked = _ABOVE.sub(lambda topic: f'<a href="/docs#{make_id(topic[1])}">{escape(topic[1])}</a>', html)
    return Markup(linked)  # noqa: S704 - the text is escaped
