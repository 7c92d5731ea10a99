"""Write the screenshot of the home page in README.md: ``PYTHONPATH=tests python -m clients.screenshot URL``.

It needs Chromium, and the URL of a running service such as ``http://localhost:8000`` (`make serve`).
"""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import Final

from PIL import Image
from playwright.sync_api import expect

from clients.browsing import chromium

PICTURE: Final = Path(__file__).resolve().parents[2] / ".github" / "home.png"
COLOURS: Final = 256
"""Enough for a page, in fewer bytes."""
SIZE: Final = {"width": 1200, "height": 1640}


def take_screenshot(url: str, path: Path) -> None:
    """Write the home page with its chart and the start of the list of calculators, as PNG."""
    with chromium() as browser:
        page = browser.new_page(viewport=SIZE, locale="en-GB")  # type: ignore[arg-type]
        page.goto(url)
        chart = page.locator("#results picture img")
        chart.scroll_into_view_if_needed()
        expect(chart).to_have_js_property("complete", True)
        page.wait_for_function("document.querySelector('#results picture img').naturalWidth > 0")
        page.evaluate("scrollTo(0, 0)")
        with Image.open(io.BytesIO(page.screenshot())) as image:
            image.convert("RGB").quantize(COLOURS, Image.Quantize.MAXCOVERAGE).save(path, optimize=True)


if __name__ == "__main__":
    take_screenshot(sys.argv[1], PICTURE)
