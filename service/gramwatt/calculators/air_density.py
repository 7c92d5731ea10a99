"""The density of the air at a place, and what follows from it."""

from dataclasses import dataclass
from typing import Annotated

from gramwatt.model import Array, Assumption, Calculator, Caution, CurveChart, Example, Quantity, Reference
from gramwatt.physics import air


@dataclass(frozen=True, slots=True)
class Inputs:
    """The place, and what was measured there."""

    elevation: Annotated[
        Array,
        Quantity(
            "m",
            "Height above sea level; it stands for temperature and pressure where they are not given.",
            at_least=-500,
            at_most=9000,
            default=0,
        ),
    ]
    temperature: Annotated[
        Array, Quantity("degC", "Temperature of the air, in the shade.", at_least=-60, at_most=60, optional=True)
    ]
    pressure: Annotated[
        Array,
        Quantity(
            "hPa",
            "Station pressure: what a barometer reads at the place, not the figure of weather reports, which is "
            "reduced to sea level.",
            at_least=250,
            at_most=1100,
            optional=True,
        ),
    ]
    humidity: Annotated[
        Array, Quantity("%", "Relative humidity, over liquid water.", at_least=0, at_most=100, default=0)
    ]


MIXTURE = "(pressure - vapour_pressure) / (287.05287 * temperature) + vapour_pressure / (461.523 * temperature)"
ALTITUDE = "geometric altitude at which the standard atmosphere of ISO 2533 has this density"
SATURATED = (
    "humidity * 611.21 * exp((18.678 - (temperature - 273.15) / 234.5) * (temperature - 273.15)"
    " / (temperature - 273.15 + 257.14))"
)


@dataclass(frozen=True, slots=True)
class Results:
    """The air as it is."""

    air_density: Annotated[Array, Quantity("kg/m3", "Density of the air.", formula=MIXTURE)]
    density_altitude: Annotated[Array, Quantity("m", "Altitude of standard air that is as thin.", method=ALTITUDE)]
    pressure: Annotated[
        Array, Quantity("hPa", "Pressure at the place.", method="as given, or of the standard atmosphere at elevation")
    ]
    temperature: Annotated[
        Array, Quantity("degC", "Temperature.", method="as given, or of the standard atmosphere at elevation")
    ]
    speed_of_sound: Annotated[
        Array, Quantity("m/s", "Speed of sound, by virtual temperature.", formula="sqrt(1.4 * pressure / air_density)")
    ]
    density_ratio: Annotated[
        Array, Quantity("1", "Over that of standard air at sea level.", formula="air_density / 1.225")
    ]
    vapour_pressure: Annotated[Array, Quantity("hPa", "Pressure of the water vapour.", formula=SATURATED)]


def air_density(given: Inputs) -> Results:
    """Density of moist air as a mixture of two ideal gases; with elevation alone, exactly the standard atmosphere.

    Within 0.07 % of the metrologists' equation CIPM-2007 from 0 to 50 degC. Elevation counts only for what is not
    measured: pressure changes with the weather by some 2 %, temperature changes density by 0.35 % a degree.
    """
    vapour_pressure = given.humidity * air.saturation_pressure(given.temperature)
    density = air.density(given.temperature, given.pressure, vapour_pressure)
    return Results(
        air_density=density,
        density_altitude=air.standard_altitude(density),
        pressure=given.pressure,
        temperature=given.temperature,
        speed_of_sound=air.speed_of_sound(air.virtual_temperature(given.pressure, density)),
        density_ratio=density / air.SEA_LEVEL_DENSITY,
        vapour_pressure=vapour_pressure,
    )


CALCULATOR = Calculator(
    title="How thick is the air?",
    summary="Density of the air from elevation, temperature, pressure and humidity.",
    inputs=Inputs,
    results=Results,
    formula=air_density,
    category="before",
    chart=CurveChart(
        "temperature",
        ("air_density", "density_altitude"),
        start=-20,
        stop=45,
    ),
    assumptions=(
        Assumption(
            "temperature",
            "that of the standard atmosphere at elevation",
            lambda given: air.standard_atmosphere(given.elevation).temperature,
        ),
        Assumption(
            "pressure",
            "that of the standard atmosphere at elevation",
            lambda given: air.standard_atmosphere(given.elevation).pressure,
        ),
    ),
    references=(
        Reference("Standard atmosphere, geometric altitude: ISO 2533:1975, the same as ICAO Doc 7488"),
        Reference(
            "Vapour over water: A. L. Buck, J. Appl. Meteor. 20 (1981) 1527, coefficients of 1996 (from memory)",
            url="https://doi.org/10.1175/1520-0450(1981)020%3C1527:NEFCVP%3E2.0.CO;2",
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
            "Thinner air takes thrust away and raises power and rotor speed: on a hot or high field start with short "
            "hovers, check motors and controllers for heat, and keep to their makers' limits.",
        ),
        Caution(
            "reduced-pressure",
            "{pressure} is more than 5 % above the standard pressure at {elevation}: it looks reduced to sea level, as "
            "weather reports have it. Give the station pressure, or leave pressure out.",
            when=lambda given, found: given.pressure > 1.05 * air.standard_atmosphere(given.elevation).pressure,
        ),
        Caution(
            "outside-temperature",
            "{temperature} is outside -40 to 50 degC, for which vapour pressure and density were checked.",
            when=lambda given, found: (
                (given.temperature < air.COLDEST_CHECKED) | (given.temperature > air.HOTTEST_CHECKED)
            ),
        ),
    ),
    examples=(
        Example(
            "A field at 1000 m, by elevation alone",
            given={"elevation": 1000},
            expected={
                "air_density": 1.111660,
                "pressure": 898.76278,
                "temperature": 8.501,
                "speed_of_sound": 336.4346,
                "density_altitude": 1000,
            },
            rtol=1e-5,
            source="ISO 2533:1975, table by geometric altitude, row 1000 m: 281.651 K, 89 876.3 Pa, 1.11166 kg/m3",
        ),
        Example(
            "Measured at 20 degC, half saturated",
            given={"temperature": 20, "pressure": 1013.25, "humidity": 50},
            expected={"air_density": 1.199314},
            rtol=5e-4,
            source="CIPM-2007 (Picard et al. 2008) at 293.15 K, 101325 Pa, 50 %: 1.199314 kg/m3",
        ),
        Example(
            "A hot day at 1600 m",
            given={"elevation": "1600 m", "temperature": "35 degC", "humidity": "30 %"},
            expected={"pressure": 835.2766, "vapour_pressure": 16.8803, "air_density": 0.937078},
            rtol=5e-6,
            source="by hand: H = 1599.597 m, T0 - L H = 277.7526 K, 101325 x 0.9639167^5.255879 = 83 527.66 Pa; Buck "
            "at 35 degC 5626.75 Pa x 0.3 = 1688.03 Pa; (83 527.66 - 1688.03) / (287.05287 x 308.15) + "
            "1688.03 / (461.523 x 308.15) = 0.925209 + 0.011869",
        ),
    ),
)
