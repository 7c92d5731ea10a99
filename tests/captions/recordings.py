"""Made-up recordings for the tests of captions."""

from __future__ import annotations

from typing import Any

import numpy as np

from gramwatt.physics.recording import CleanRecording


def make_recording(time: Any, current: Any = None, voltage: Any = None, **more: Any) -> CleanRecording:
    """Return a recording of these channels. Every step counts unless ``counts`` says otherwise."""
    missing = np.full(len(time), np.nan)

    def channel(values: Any) -> Any:
        return missing if values is None else np.broadcast_to(np.asarray(values, dtype=np.float64), missing.shape)

    return CleanRecording(
        np.asarray(time, dtype=np.float64),
        channel(voltage),
        channel(current),
        channel(more.get("throttle")),
        channel(more.get("cell_voltage")),
        np.asarray(more.get("counts", np.ones(max(0, len(time) - 1))), dtype=np.bool_),
    )
