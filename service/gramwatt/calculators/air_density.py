"""The density of the air at a place, and what follows from it."""

from dataclasses import dataclass
from typing import Annotated

from gramwatt.model import (
    Array,
    Assumption,
    Calculator,
    Caution,
    CurveChart,
    Example,
    Group,
    Quantity,
    Reference,
    Sentence,
)
from gramwatt.physics import air, constants


@dataclass(frozen=True, slots=True)
class Inputs:
    """The place, and the air measured there."""

    elevation: Annotated[
        Array,
        Quantity(
            "m",
            "Height above sea level; gives temperature and pressure where they are not measured.",
            group=Group.AIR,
            at_least=-500,
            at_most=9000,
            default=0,
            synonyms=("altitude",),
        ),
    ]
    air_temperature: Annotated[
        Array,
        Quantity(
            "degC",
            "Temperature of the air, in the shade.",
            label="Air temperature",
            group=Group.AIR,
            at_least=-60,
            at_most=60,
            optional=True,
            synonyms=("temperature", "ambient_temperature"),
        ),
    ]
    air_pressure: Annotated[
        Array,
        Quantity(
            "hPa",
            "Station pressure: the reading of a barometer at the place, not the pressure of weather reports, which is "
            "reduced to sea level.",
            label="Station pressure",
            group=Group.AIR,
            at_least=250,
            at_most=1100,
            optional=True,
            synonyms=("pressure", "station_pressure", "barometric_pressure", "qfe"),
        ),
    ]
    relative_humidity: Annotated[
        Array,
        Quantity(
            "%",
            "Relative humidity, over liquid water.",
            label="Relative humidity",
            group=Group.AIR,
            at_least=0,
            at_most=100,
            default=0,
            synonyms=("humidity",),
        ),
    ]


MIXTURE = (
    "(air_pressure - vapour_pressure) / (DRY_AIR_GAS_CONSTANT * air_temperature)"
    " + vapour_pressure / (WATER_VAPOUR_GAS_CONSTANT * air_temperature)"
)
DENSITY_ALTITUDE = "geometric altitude at which the standard atmosphere of ISO 2533 has this density"
MEASURED_OR_STANDARD = "as measured, or that of the standard atmosphere at this elevation"
BUCK = "BUCK_PRESSURE * exp((BUCK_SLOPE - celsius / BUCK_CURVATURE) * celsius / (BUCK_OFFSET + celsius))"
STANDARD_TEMPERATURE = "SEA_LEVEL_TEMPERATURE - LAPSE_RATE * geopotential_height"
STANDARD_PRESSURE = (
    "SEA_LEVEL_PRESSURE * (1 - LAPSE_RATE * geopotential_height / SEA_LEVEL_TEMPERATURE)"
    "**(STANDARD_GRAVITY / (DRY_AIR_GAS_CONSTANT * LAPSE_RATE))"
)


@dataclass(frozen=True, slots=True)
class Results:
    """Density of the air, and what follows from it."""

    air_density: Annotated[Array, Quantity("kg/m3", "Density of the air.", formula=MIXTURE)]
    density_altitude: Annotated[
        Array, Quantity("m", "Altitude of standard air of this density.", signed=True, method=DENSITY_ALTITUDE)
    ]
    air_pressure: Annotated[
        Array, Quantity("hPa", "Pressure at the place.", label="Station pressure", method=MEASURED_OR_STANDARD)
    ]
    air_temperature: Annotated[
        Array, Quantity("degC", "Temperature.", label="Air temperature", at_least=-273.15, method=MEASURED_OR_STANDARD)
    ]
    speed_of_sound: Annotated[
        Array,
        Quantity(
            "m/s",
            "Speed of sound, by virtual temperature.",
            formula="sqrt(DRY_AIR_HEAT_RATIO * air_pressure / air_density)",
        ),
    ]
    density_ratio: Annotated[
        Array,
        Quantity(
            "1",
            "Density over that of standard air at sea level.",
            label="Relative density",
            formula="air_density / STANDARD_AIR_DENSITY",
        ),
    ]
    vapour_pressure: Annotated[
        Array, Quantity("hPa", "Partial pressure of water vapour.", formula="relative_humidity * saturation_pressure")
    ]


@dataclass(frozen=True, slots=True)
class Steps:
    """Between elevation, temperature and humidity, and the air."""

    geopotential_height: Annotated[
        Array,
        Quantity(
            "m",
            "Height in a field of constant gravity.",
            signed=True,
            formula="EARTH_RADIUS * elevation / (EARTH_RADIUS + elevation)",
        ),
    ]
    celsius: Annotated[
        Array,
        Quantity(
            "K", "Temperature from 0 °C.", label="Degrees Celsius", signed=True, formula="air_temperature - ICE_POINT"
        ),
    ]
    saturation_pressure: Annotated[Array, Quantity("hPa", "Pressure of saturated vapour.", formula=BUCK)]


def find_steps(given: Inputs, found: Results) -> Steps:
    """Return the height of the standard atmosphere, and the vapour that the air can hold."""
    return Steps(
        geopotential_height=air.geopotential_height(given.elevation),
        celsius=found.air_temperature - constants.ICE_POINT,
        saturation_pressure=air.saturation_pressure(found.air_temperature),
    )


def air_density(given: Inputs) -> Results:
    """Compute the density of moist air as a mixture of two ideal gases; for elevation alone, the standard atmosphere.

    The result is within 0.07 % of the equation CIPM-2007 from 0 to 50 °C. Elevation is used only for what is not
    measured: weather changes pressure by about 2 %, and temperature changes density by 0.35 % per degree.
    """
    vapour_pressure = given.relative_humidity * air.saturation_pressure(given.air_temperature)
    density = air.density(given.air_temperature, given.air_pressure, vapour_pressure)
    return Results(
        air_density=density,
        density_altitude=air.standard_altitude(density),
        air_pressure=given.air_pressure,
        air_temperature=given.air_temperature,
        speed_of_sound=air.speed_of_sound(air.virtual_temperature(given.air_pressure, density)),
        density_ratio=density / constants.STANDARD_AIR_DENSITY,
        vapour_pressure=vapour_pressure,
    )


CALCULATOR = Calculator(
    title="How thick is the air?",
    summary="Density of the air from elevation, temperature, pressure and humidity.",
    inputs=Inputs,
    results=Results,
    formula=air_density,
    steps=find_steps,
    category="before",
    charts=(
        CurveChart(
            "air_temperature",
            ("air_density", "density_altitude"),
            start=-20,
            stop=45,
            title="Air density against temperature",
        ),
    ),
    sentences=(
        Sentence(
            "{air_density}, as at {density_altitude} in standard air",
            details=(
                "{air_temperature} and {air_pressure}.",
                "That is {density_ratio} times the density at sea level.",
            ),
        ),
    ),
    assumptions=(
        Assumption(
            "air_temperature",
            "that of the standard atmosphere at this elevation",
            lambda given: air.standard_atmosphere(given.elevation).temperature,
            formula=STANDARD_TEMPERATURE,
        ),
        Assumption(
            "air_pressure",
            "that of the standard atmosphere at this elevation",
            lambda given: air.standard_atmosphere(given.elevation).pressure,
            formula=STANDARD_PRESSURE,
        ),
    ),
    references=(
        Reference("Standard atmosphere, geometric altitude: ISO 2533:1975, the same as ICAO Doc 7488"),
        Reference(
            "Vapour pressure over water: Buck equation, coefficients in common use; density checked against psychrolib "
            "2.5.0",
            about=("air_density", "density_altitude", "vapour_pressure", "speed_of_sound", "density_ratio"),
        ),
        Reference(
            "Checked against CIPM-2007: Picard et al., Metrologia 45 (2008) 149",
            url="https://doi.org/10.1088/0026-1394/45/2/004",
            about=("air_density",),
        ),
    ),
    cautions=(
        Caution(
            "thin-air",
            "Thinner air reduces thrust and raises power and rotor speed. On a hot or high field, start with short "
            "hovers, check motors and controllers for heat, and respect their makers' limits.",
            severity="low",
        ),
        Caution(
            "reduced-pressure",
            "{air_pressure} is more than 5 % above the standard pressure at {elevation}. It looks reduced to sea "
            "level, as in weather reports. Give the station pressure, or omit the pressure.",
            severity="high",
            when=lambda given, found: given.air_pressure > 1.05 * air.standard_atmosphere(given.elevation).pressure,
        ),
        Caution(
            "outside-temperature",
            "{air_temperature} is outside -40 to 50 °C, for which vapour pressure and density were checked.",
            when=lambda given, found: (
                (given.air_temperature < air.MIN_CHECKED_TEMPERATURE)
                | (given.air_temperature > air.MAX_CHECKED_TEMPERATURE)
            ),
        ),
    ),
    examples=(
        Example(
            "A field at 1000 m, by elevation alone",
            given={"elevation": 1000},
            expected={
                "air_density": 1.111660,
                "air_pressure": 898.76278,
                "air_temperature": 8.501,
                "speed_of_sound": 336.4346,
                "density_altitude": 1000,
            },
            rtol=1e-5,
            source="ISO 2533:1975, table by geometric altitude, row 1000 m: 281.651 K, 89 876.3 Pa, 1.11166 kg/m³",
        ),
        Example(
            "Measured at 20 °C, half saturated",
            given={"air_temperature": 20, "air_pressure": 1013.25, "relative_humidity": 50},
            expected={"air_density": 1.199314},
            rtol=5e-4,
            source="CIPM-2007 (Picard et al. 2008) at 293.15 K, 101325 Pa, 50 %: 1.199314 kg/m³",
        ),
        Example(
            "A hot day at 1600 m",
            given={"elevation": "1600 m", "air_temperature": "35 degC", "relative_humidity": "30 %"},
            expected={"air_pressure": 835.2766, "vapour_pressure": 16.8803, "air_density": 0.937078},
            rtol=5e-6,
            source="by hand: H = 1599.597 m, T0 - L H = 277.7526 K, 101325 x 0.9639167^5.255879 = 83 527.66 Pa; Buck "
            "at 35 °C 5626.75 Pa x 0.3 = 1688.03 Pa; (83 527.66 - 1688.03) / (287.05287 x 308.15) + "
            "1688.03 / (461.523 x 308.15) = 0.925209 + 0.011869",
        ),
    ),
)
