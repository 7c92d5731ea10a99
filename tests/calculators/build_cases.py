"""A craft with three packs, and functions that compute its build."""

from typing import Any, Final

from gramwatt import calculate

FOUR: Final[dict[str, Any]] = {"name": "four", "cells": 4, "capacity": 1300, "mass": 155, "cell_resistance": 8}
SIX: Final[dict[str, Any]] = {"name": "six", "cells": 6, "capacity": 1300, "mass": 228, "cell_resistance": 8}
LARGE: Final[dict[str, Any]] = {"name": "large", "cells": 4, "capacity": 1800, "mass": 205, "lead_resistance": 3}
CRAFT: Final[dict[str, Any]] = {
    "dry_mass": 353.8,
    "kv": 2400,
    "diameter": 5,
    "pitch": 4.3,
    "throttle_cap": 66,
    "mass_limit": 600,
    "packs": [FOUR, SIX, LARGE],
}


def compute(**inputs: Any) -> dict[str, Any]:
    """Return the response of build."""
    response: dict[str, Any] = calculate("build", **inputs)
    return response


def compute_rows(**inputs: Any) -> list[dict[str, Any]]:
    """Return the rows of build, one for each pack."""
    rows: list[dict[str, Any]] = compute(**inputs)["results"]["by_setup"]
    return rows


def get_reasons(response: dict[str, Any]) -> dict[str, str]:
    """Return the code of each result that is missing, not of those that some draws lack."""
    reasons = [caution for caution in response["cautions"] if not caution["code"].startswith("possibly-")]
    return {name: caution["code"] for caution in reasons for name in caution.get("results", ())}
