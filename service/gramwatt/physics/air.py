"""Air as an ideal gas."""

import numpy as np

from gramwatt.declare import Array
from gramwatt.physics import constants


def speed_of_sound(temperature: Array) -> Array:
    """Speed of sound in dry air.

    Parameters
    ----------
    temperature : (N,) absolute temperature [K]

    Returns
    -------
    (N,) speed [m/s], ``a = sqrt(gamma R T)``. Moist air at 30 degC is faster by up to about 0.6 %.

    References
    ----------
    ISO 2533:1975, Standard atmosphere, equation for the speed of sound; 340.294 m/s at 288.15 K.
    """
    return np.sqrt(constants.DRY_AIR_HEAT_RATIO * constants.DRY_AIR_GAS_CONSTANT * temperature)
