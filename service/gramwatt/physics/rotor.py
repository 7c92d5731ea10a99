"""Speeds of a rotor."""

from gramwatt.arrays import Array


def tip_mach(rotor_speed: Array, diameter: Array, speed_of_sound: Array) -> Array:
    """Mach number of a blade's tip at rest: ``omega D / (2 a)``.

    Parameters
    ----------
    rotor_speed : (N,) angular speed [rad/s]
    diameter : (N,) propeller diameter [m]
    speed_of_sound : (N,) [m/s]

    Returns
    -------
    (N,) dimensionless. Equal to ``pi D n / a`` with n in revolutions per second.
    """
    return rotor_speed * diameter / (2 * speed_of_sound)


def speed_at_tip_mach(tip_mach: Array, diameter: Array, speed_of_sound: Array) -> Array:
    """The angular speed [rad/s] at which a blade's tip reaches a Mach number; the inverse of `tip_mach`."""
    return 2 * tip_mach * speed_of_sound / diameter
