"""matplotlib's SVG made fit for a page: no inline styles (a strict Content-Security-Policy refuses them), words for
those who cannot see it, few bytes."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping
from typing import Final

from gramwatt.charts.themes import FONTS

SVG: Final = "http://www.w3.org/2000/svg"
_DIGEST: Final = re.compile(r"^[A-Za-z]?[0-9]?_?[0-9a-f]{6,}")
_FORBIDDEN: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Letters that no XML may hold (XML 1.0, production 2)."""
_LONG: Final = re.compile(r"-?\d+\.\d{3,}")
_OTHER_STEPS: Final = re.compile("[^-MLz0-9. ]")
"""Whatever a path of straight lines has not: after a curve, more coordinates are a curve."""
_KEPT: Final = frozenset(
    ("fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-dashoffset", "stroke-linecap", "stroke-linejoin",
     "font-weight", "opacity", "fill-opacity", "stroke-opacity", "text-anchor", "fill-rule", "clip-rule")
)  # fmt: skip


def tidy(text: str, title: str, told: str, *, key: str, dark: Mapping[str, str]) -> bytes:
    """The picture with styles as attributes, its title and description.

    ``key`` tells its ids from those of another picture on the same page. ``dark`` has a dark colour for each light one:
    a style sheet then puts them in their place where the reader prefers dark. The light ones stay attributes, for
    programs that know no style sheets.
    """
    ET.register_namespace("", SVG)
    title, told = (_FORBIDDEN.sub("\ufffd", words) for words in (title, told))
    root = ET.fromstring(_FORBIDDEN.sub("\ufffd", text))  # noqa: S314 - what matplotlib has just written
    width, height = (root.get(side, "").removesuffix("pt") for side in ("width", "height"))
    for name in list(root.attrib):
        del root.attrib[name]
    root.attrib.update(
        {"viewBox": f"0 0 {width} {height}", "width": str(round(float(width) * 4 / 3)),
         "height": str(round(float(height) * 4 / 3)), "role": "img",
         "aria-labelledby": f"{key}-title {key}-told", "stroke-linejoin": "round", "font-family": FONTS}
    )  # fmt: skip
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag.endswith(("}metadata", "}style")):
                parent.remove(child)
    for element in root.iter():
        _restyle(element, key)
    _flatten(root)
    if dark:
        sheet = ET.Element(f"{{{SVG}}}style")
        sheet.text = _dark_rules(root, dark)
        root.insert(0, sheet)
    for tag, words in (("desc", told), ("title", title)):
        said = ET.Element(f"{{{SVG}}}{tag}", {"id": f"{key}-{'told' if tag == 'desc' else 'title'}"})
        said.text = words
        root.insert(0, said)
    return ET.tostring(root, encoding="unicode").encode() + b"\n"


def _dark_rules(root: ET.Element, dark: Mapping[str, str]) -> str:
    """A style sheet with the dark colours of those that are there."""
    used = sorted({(name, value) for each in root.iter() for name, value in each.items() if value in dark})
    rules = "".join(f'[{name}="{value}"]{{{name}:{dark[value]}}}' for name, value in used)
    return f"@media (prefers-color-scheme:dark){{{rules}}}"


def _restyle(element: ET.Element, key: str) -> None:
    for part in element.attrib.pop("style", "").split(";"):
        name, colon, value = (piece.strip() for piece in part.partition(":"))
        if name == "font-size":
            element.set(name, value.removesuffix("px"))
        elif colon and name in _KEPT:
            element.set(name, value)
    for name, value in list(element.attrib.items()):
        if name == "id":
            if not _is_referred(element):
                del element.attrib[name]
            else:
                element.set(name, f"{key}-{value}")
        elif name.endswith("}href") and value.startswith("#"):
            del element.attrib[name]
            element.set("href", f"#{key}-{value[1:]}")
        elif name == "clip-path":
            element.set(name, value.replace("url(#", f"url(#{key}-"))
        elif name in ("d", "x", "y", "transform", "points", "width", "height"):
            if value.startswith("rotate(-0 "):
                del element.attrib[name]
            else:
                element.set(name, _short(_LONG.sub(_shortened, value)))


def _short(value: str) -> str:
    """Coordinates without white space, and without the letters of lines after lines (SVG 2, 9.3.4)."""
    value = " ".join(value.split())
    return value if _OTHER_STEPS.search(value) else value.replace(" L ", " ")


def _shortened(number: re.Match[str]) -> str:
    """A hundredth of a point is finer than anybody sees."""
    return f"{float(number[0]):.2f}".rstrip("0").rstrip(".")


def _is_referred(element: ET.Element) -> bool:
    """Whether an id is one that matplotlib refers to: those it makes of a digest, not those that name a part."""
    return bool(_DIGEST.match(element.get("id", "")))


def _flatten(element: ET.Element) -> None:
    """Take out groups that say nothing, and white space between elements."""
    element.text = None if element.text is not None and not element.text.strip() else element.text
    element.tail = None if element.tail is not None and not element.tail.strip() else element.tail
    made: list[ET.Element] = []
    for child in list(element):
        _flatten(child)
        if child.tag.endswith("}g") and not child.attrib:
            made += list(child)
        elif not (child.tag.endswith("}g") and not len(child)):
            made.append(child)
    for child in list(element):
        element.remove(child)
    element.extend(made)
