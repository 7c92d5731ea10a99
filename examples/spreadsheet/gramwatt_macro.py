"""A Python macro for LibreOffice Calc: the pack's current and volts a cell at each selected power.

Put this file into the folder Scripts/python of your LibreOffice user profile. Type powers in watts below each other,
select them, and run Tools > Macros > Run Macro > My Macros > gramwatt_macro > fill_table: the three columns to the
right are filled. Their cells are overwritten. The pack below is invented.
"""

from __future__ import annotations

import http.client
import json
import urllib.error
import urllib.request
from typing import Any

SERVICE = "http://127.0.0.1:8000"
PACK = {"cells": 6, "capacity": "1300 mAh", "state_of_charge": 80, "cell_resistance": "8 mohm"}


def fill_table(*_: object) -> None:
    """Fill in for every power of the selection: current [A], volts a cell [V], and cautions."""
    document = XSCRIPTCONTEXT.getDocument()  # type: ignore[name-defined]  # noqa: F821 - LibreOffice provides it
    selected = document.getCurrentController().getSelection().getRangeAddress()
    sheet = document.getSheets().getByIndex(selected.Sheet)
    for row in range(selected.StartRow, selected.EndRow + 1):
        power = sheet.getCellByPosition(selected.StartColumn, row)
        if not power.getString().strip():
            continue
        beside = [sheet.getCellByPosition(selected.StartColumn + step, row) for step in (1, 2, 3)]
        current, voltage, note = fetch(power.getString() if power.getError() or is_text(power) else power.getValue())
        for cell, value in ((beside[0], current), (beside[1], voltage)):
            if value is None:
                cell.setString("")
            else:
                cell.setValue(value)
        beside[2].setString(note)


def is_text(cell: Any) -> bool:
    """Return whether a cell contains text rather than a number."""
    return bool(cell.getType().value == "TEXT")


def fetch(power: float | str) -> tuple[float | None, float | None, str]:
    """Return current, volts a cell and the cautions; or no figures, and the reason."""
    body = json.dumps({**PACK, "pack_power": power}).encode()
    headers = {"Content-Type": "application/json", "Accept": "application/json"}
    request = urllib.request.Request(f"{SERVICE}/v1/pack-current", data=body, headers=headers)
    try:
        with urllib.request.urlopen(request, timeout=30) as response:
            response_body = json.load(response)
        results = response_body["results"]
        notes = [note["text"] for note in response_body["cautions"] if note["code"] != "needs-input"]
        return results["pack_current"], results["loaded_cell_voltage"], " ".join(notes)
    except urllib.error.HTTPError as error:
        with error:
            try:
                return None, None, json.load(error)["detail"]
            except (ValueError, KeyError):
                return None, None, f"{SERVICE} answered {error.code}"
    except (OSError, ValueError, KeyError, http.client.HTTPException):
        return None, None, f"no answer from {SERVICE}"


g_exportedScripts = (fill_table,)  # noqa: N816 - the name LibreOffice looks for
