"""Someone who uses the pages with a craft, and the craft that they have."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path
from typing import Any, Final

import pytest
from playwright.sync_api import Locator, Page, expect

from gramwatt import calculate

CRAFT: Final[dict[str, Any]] = {
    "parts": [
        {"name": "frame", "mass": 98},
        {"name": "motor", "mass": 31.5, "count": 4},
        {"name": "propeller", "mass": 4.2, "count": 4},
        {"name": "flight controller", "mass": 14},
        {"name": "speed controllers", "mass": 18},
        {"name": "video transmitter", "mass": 33},
        {"name": "camera", "mass": 28},
    ],
    "mass_limit": 600,
    "packs": [
        {"name": "4 cells small", "cells": 4, "capacity": 1300, "mass": 155},
        {"name": "4 cells", "cells": 4, "capacity": 1500, "mass": 172},
        {"name": "6 cells small", "cells": 6, "capacity": 1000, "mass": 168},
        {"name": "6 cells", "cells": 6, "capacity": 1300, "mass": 228},
    ],
    "kv": 1750,
    "diameter": 5,
    "pitch": 4.3,
    "setups": [{"pack": "4 cells"}, {"pack": "6 cells", "match_quantity": "rotor-speed"}],
}


EMPTY_CHART: Final = '<svg xmlns="http://www.w3.org/2000/svg" width="1" height="1"/>'


def unfold(control: Locator) -> None:
    """Open what is folded around a control."""
    control.evaluate(
        "node => { for (; node; node = node.parentElement) if (node.matches('details')) node.open = true; }"
    )


class Builder:
    """Someone who types and chooses, and counts it."""

    def __init__(self, page: Page, service: str) -> None:
        self.page, self.service = page, service
        self.entries: list[str] = []

    def open(self, name: str) -> None:
        """Open a page, and wait until it is filled from the craft."""
        self.page.goto(f"{self.service}/calculators/{name}")
        self.settle()

    def settle(self) -> None:
        """Wait until the page is filled from the craft."""
        expect(self.page.locator("#calculator")).not_to_have_attribute("aria-busy", "true")

    def enter(self, field: str, text: object) -> None:
        """Type into a field, or choose from its menu: one entry."""
        control = self.page.locator(f"[id='{field}']")
        unfold(control)
        if control.evaluate("node => node.tagName") == "SELECT":
            control.select_option(str(text))
        else:
            control.fill(str(text))
        self.entries.append(f"{field} {text}")

    def enter_rows(self, table: str, rows: list[dict[str, Any]]) -> None:
        """Type the rows of a table over those that are there."""
        for number, row in enumerate(rows):
            if not self.page.locator(f"[id^='{table}.{number}.']").count():
                button = self.page.locator(f"[data-table={table}] [name=add]")
                unfold(button)
                button.click()
            for column, value in row.items():
                unfold(self.page.locator(f"[data-table={table}]"))
                if not self.page.locator(f"[id='{table}.{number}.{column}']").is_visible():
                    self.page.locator(f"[data-table={table}] input.show-rare").check()
                self.enter(f"{table}.{number}.{column}", value)

    def choose(self, member: str, name: str) -> None:
        """Choose a row of the craft: one entry."""
        self.page.locator(f"#chosen-{member}").select_option(name)
        self.entries.append(f"{member} {name}")
        self.settle()

    def upload(self, field: str, file: Path) -> None:
        """Choose a recording: one entry."""
        self.page.locator(f"[id='{field}']").set_input_files(file)
        self.entries.append(f"{field} {file.name}")
        self.settle()

    def craft(self) -> dict[str, Any]:
        """Return the craft that the browser stores."""
        return json.loads(self.page.evaluate("localStorage.getItem('gramwatt.craft') ?? '{}'"))  # type: ignore[no-any-return]

    def result(self) -> str:
        """Return the headline result, from the table of all results."""
        cell = self.page.locator("#results table.values tbody tr:first-child td.number").first
        return cell.inner_text().replace("\N{MINUS SIGN}", "-") if cell.count() else ""

    def expect_result(self, name: str, **inputs: Any) -> None:
        """Expect the headline result that the library computes from the same craft, to the digits that are shown."""
        response = calculate(name, craft=CRAFT, **inputs)
        headline, expected = next(iter(response["results"].items()))
        tolerance = 0.06 * response.get("uncertainty", {}).get(headline, {}).get("standard", 0.0)
        for _ in range(200):
            shown = self.result()
            with contextlib.suppress(ValueError):
                if float(shown.split(" ")[0]) == pytest.approx(expected, abs=max(tolerance, 0.002 * abs(expected))):
                    break
            self.page.wait_for_timeout(50)
        else:
            pytest.fail(f"{name} shows {shown}, not {expected}")
        expect(self.page.locator("#calculator [aria-invalid]")).to_have_count(0)
