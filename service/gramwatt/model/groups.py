"""The groups that the inputs of a form are shown in."""

from __future__ import annotations

from enum import StrEnum


class Group(StrEnum):
    """A group of inputs, by its heading, in the order in which a form shows them."""

    CAMERA = "Camera"
    PACK = "Pack"
    CHARGER = "Charger"
    WIRING = "Wiring"
    MOTOR = "Motor and propeller"
    WEIGHT = "Weight and limit"
    FLIGHT = "Flight"
    TARGET = "Target"
    SCREW = "Screw"
    JOINT = "Joint"
    AIR = "Air"
    RECORDING = "Recording"
    VIDEO = "Video"
    FINE_TUNING = "Fine tuning"
