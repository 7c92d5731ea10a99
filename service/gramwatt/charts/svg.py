"""Prepare matplotlib's SVG for a page.

It gets a title and a description, loses its inline styles, which a strict Content-Security-Policy blocks, and shrinks.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping
from typing import Final

from gramwatt.charts.themes import FONT_FAMILY, TITLE_FAMILY, TITLE_FONT

SVG: Final = "http://www.w3.org/2000/svg"
_GENERATED_ID: Final = re.compile(r"^[A-Za-z]?[0-9]?_?[0-9a-f]{6,}")
"""The ids that matplotlib refers to: it makes them from a digest. Its other ids only name a part."""
_INVALID_XML: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that XML does not allow (XML 1.0, production 2)."""
_LONG_NUMBER: Final = re.compile(r"-?\d+\.\d{3,}")
_CURVE_COMMAND: Final = re.compile("[^-MLz0-9. ]")
"""Anything but straight lines in a path: after a curve's command, further coordinates are curves too."""
_STYLE_ATTRIBUTES: Final = frozenset(
    ("fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-dashoffset", "stroke-linecap", "stroke-linejoin",
     "font-weight", "opacity", "fill-opacity", "stroke-opacity", "text-anchor", "fill-rule", "clip-rule")
)  # fmt: skip


def clean_svg(text: str, title: str, description: str, *, prefix: str, dark: Mapping[str, str]) -> bytes:
    """Return a chart with styles as attributes, a title and a description.

    ``prefix`` makes its ids differ from those of another chart on the same page. ``dark`` maps light colours to dark
    ones: a style sheet uses them where the reader prefers dark. The light ones stay attributes, for programs that
    ignore style sheets.
    """
    ET.register_namespace("", SVG)
    title, description = (_INVALID_XML.sub("\ufffd", each) for each in (title, description))
    root = ET.fromstring(_INVALID_XML.sub("\ufffd", text))  # noqa: S314 - matplotlib has just written it
    width, height = (root.get(side, "").removesuffix("pt") for side in ("width", "height"))
    for name in list(root.attrib):
        del root.attrib[name]
    root.attrib.update(
        {"viewBox": f"0 0 {width} {height}", "width": str(round(float(width) * 4 / 3)),
         "height": str(round(float(height) * 4 / 3)), "role": "img",
         "aria-labelledby": f"{prefix}-title {prefix}-desc", "stroke-linejoin": "round", "font-family": FONT_FAMILY}
    )  # fmt: skip
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag.endswith(("}metadata", "}style")):
                parent.remove(child)
    for element in root.iter():
        _move_styles_to_attributes(element)
        _shorten_attributes(element, prefix)
    _flatten(root)
    if dark:
        style = ET.Element(f"{{{SVG}}}style")
        style.text = _dark_rules(root, dark)
        root.insert(0, style)
    for tag, content in (("desc", description), ("title", title)):
        element = ET.Element(f"{{{SVG}}}{tag}", {"id": f"{prefix}-{tag}"})
        element.text = content
        root.insert(0, element)
    return ET.tostring(root, encoding="unicode").encode() + b"\n"


def _dark_rules(root: ET.Element, dark: Mapping[str, str]) -> str:
    """Return a style sheet with the dark counterparts of the colours in use."""
    used = sorted({(name, value) for each in root.iter() for name, value in each.items() if value in dark})
    rules = "".join(f'[{name}="{value}"]{{{name}:{dark[value]}}}' for name, value in used)
    return f"@media (prefers-color-scheme:dark){{{rules}}}"


def _move_styles_to_attributes(element: ET.Element) -> None:
    for declaration in element.attrib.pop("style", "").split(";"):
        name, colon, value = (part.strip() for part in declaration.partition(":"))
        if name == "font-family" and TITLE_FONT in value:
            element.set(name, TITLE_FAMILY)
        elif name == "font-size":
            element.set(name, value.removesuffix("px"))
        elif colon and name in _STYLE_ATTRIBUTES:
            element.set(name, value)


def _shorten_attributes(element: ET.Element, prefix: str) -> None:
    """Prefix the ids that are referred to, drop the others, and shorten coordinates."""
    for name, value in list(element.attrib.items()):
        if name == "id":
            if _GENERATED_ID.match(value):
                element.set(name, f"{prefix}-{value}")
            else:
                del element.attrib[name]
        elif name.endswith("}href") and value.startswith("#"):
            del element.attrib[name]
            element.set("href", f"#{prefix}-{value[1:]}")
        elif name == "clip-path":
            element.set(name, value.replace("url(#", f"url(#{prefix}-"))
        elif name in ("d", "x", "y", "transform", "points", "width", "height"):
            if value.startswith("rotate(-0 "):
                del element.attrib[name]
            else:
                element.set(name, _shorten_path(_LONG_NUMBER.sub(_round_to_hundredths, value)))


def _shorten_path(value: str) -> str:
    """Return coordinates without spare white space, and without the commands of lines after lines (SVG 2, 9.3.4)."""
    value = " ".join(value.split())
    return value if _CURVE_COMMAND.search(value) else value.replace(" L ", " ")


def _round_to_hundredths(number: re.Match[str]) -> str:
    """Return a coordinate in hundredths of a point, finer than anybody sees."""
    return f"{float(number[0]):.2f}".rstrip("0").rstrip(".")


def _flatten(element: ET.Element) -> None:
    """Remove groups without attributes, and white space between elements."""
    element.text = None if element.text is not None and not element.text.strip() else element.text
    element.tail = None if element.tail is not None and not element.tail.strip() else element.tail
    children: list[ET.Element] = []
    for child in list(element):
        _flatten(child)
        if child.tag.endswith("}g") and not child.attrib:
            children += list(child)
        elif not (child.tag.endswith("}g") and not len(child)):
            children.append(child)
    for child in list(element):
        element.remove(child)
    element.extend(children)
