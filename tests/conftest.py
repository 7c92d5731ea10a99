"""What every test may use."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

# No deadline: how long an example takes says nothing of its truth. The same examples on every run: a red run repeats.
settings.register_profile("gramwatt", deadline=None, derandomize=True)
settings.load_profile("gramwatt")


@pytest.fixture(scope="session")
def reference_data() -> Path:
    """The folder of open datasets that figures are checked against; skips the test where it is absent."""
    beside = Path(__file__).resolve().parents[1].parent / "shared" / "data"
    folder = Path(os.environ.get("GRAMWATT_REFERENCE_DATA", beside))
    if not folder.is_dir():
        pytest.skip(f"no open reference data at {folder}; set GRAMWATT_REFERENCE_DATA to the folder that holds it")
    return folder
