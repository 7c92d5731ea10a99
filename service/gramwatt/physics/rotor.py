"""Rotor speeds and tip Mach numbers."""

from gramwatt.arrays import Array


def tip_mach(rotor_speed: Array, diameter: Array, speed_of_sound: Array) -> Array:
    """Compute the Mach number of a blade tip at rest.

    Parameters
    ----------
    rotor_speed : (N,)
        Angular speed [rad/s].
    diameter : (N,)
        Propeller diameter [m].
    speed_of_sound : (N,)
        Speed of sound [m/s].

    Returns
    -------
    (N,)
        ``omega D / (2 a)``, equal to ``pi D n / a`` with n in revolutions per second.
    """
    return rotor_speed * diameter / (2 * speed_of_sound)


def speed_at_tip_mach(tip_mach: Array, diameter: Array, speed_of_sound: Array) -> Array:
    """Compute the angular speed (N,) [rad/s] at which a blade tip reaches a Mach number: the inverse of `tip_mach`."""
    return 2 * tip_mach * speed_of_sound / diameter
