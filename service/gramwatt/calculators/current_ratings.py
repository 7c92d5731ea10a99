"""Whether each link from the pack to the motors carries the currents of a craft, and which is the weakest."""

from dataclasses import dataclass
from typing import Annotated, Final

from gramwatt.calculators._shared import chain, chain_fields, chain_notices, drivetrain, fields, pack_fields, wires
from gramwatt.model import (
    Array,
    BarChart,
    BarLimit,
    Calculator,
    Choice,
    Example,
    IndexArray,
    Quantity,
    Reference,
    Table,
    Unit,
)

BURST_DURATION: Final[Annotated[float, Unit("s")]] = 10.0
"""Up to this a peak is short: makers state burst ratings for some 10 s. Rule of thumb, no source."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """The currents, and what pack, wire, connector, controllers and motors are rated for."""

    mean_current: wires.MeanCurrent
    peak_current: wires.PeakCurrent
    peak_duration: wires.PeakDuration
    capacity: pack_fields.OptionalCapacity
    discharge_rating: pack_fields.DischargeRating
    discharge_derating_factor: chain_fields.DischargeDeratingFactor
    wire_gauge: wires.WireGauge
    wire_area: wires.WireArea
    wire_rating: chain_fields.WireRating
    wire_temperature_limit: wires.WireTemperatureLimit
    connector_rating: chain_fields.ConnectorRating
    controller_rating: drivetrain.ControllerRating
    motor_rating: chain_fields.MotorRating
    motors: fields.Motors
    mean_throttle: chain_fields.MeanThrottle
    throttle_cap: fields.ThrottleCap
    air_temperature: fields.AirTemperature
    burst_factor: chain_fields.BurstFactor
    stranding_allowance: wires.StrandingAllowance
    outer_diameter_ratio: wires.OuterDiameterRatio
    heat_transfer_coefficient: wires.HeatTransferCoefficient


@dataclass(frozen=True, slots=True)
class Results:
    """The weakest link, what is needed of pack and wire, and each link."""

    highest_limit_share: Annotated[
        Array,
        Quantity(
            "%",
            "Highest share of its continuous limit that a link has, on average or at the peak.",
            label="Highest share of a limit",
            method="maximum over the links of `by_link.mean_limit_share` and `by_link.peak_limit_share`",
        ),
    ]
    weakest_link: Annotated[
        IndexArray,
        Choice(chain.LINKS, "The link that uses most of its limit.", method="link of the largest share"),
    ]
    rating_verdict: Annotated[
        IndexArray,
        Choice(
            chain.VERDICTS,
            "Whether all links carry the currents.",
            label="Verdict",
            option_labels=chain.VERDICT_NAMES,
            method="the worst of all links",
        ),
    ]
    mean_discharge_rating_needed: chain_fields.MeanDischargeRatingNeeded
    peak_discharge_rating_needed: chain_fields.PeakDischargeRatingNeeded
    mean_wire_gauge_needed: chain_fields.MeanGaugeNeeded
    peak_wire_gauge_needed: chain_fields.PeakGaugeNeeded
    pack_current_limit: Annotated[
        Array,
        Quantity(
            "A",
            "Current that the pack gives for long, by its derated label.",
            label="Current limit of the pack",
            formula="discharge_rating * discharge_derating_factor * capacity",
            needs=("discharge_rating", "capacity"),
        ),
    ]
    wire_area: Annotated[
        Array,
        Quantity(
            "mm2",
            "Area of the copper in one conductor.",
            label="Area of the copper",
            formula=(wires.BY_GAUGE,),
            method="as given, where it is given",
        ),
    ]
    wire_current_limit: wires.WireCurrentLimit
    by_link: Annotated[
        chain.LinkResults,
        Table(chain.LinkResults, "The links with a rating, from pack to motors.", label="Links", max_length=5),
    ]


def current_ratings(given: Inputs) -> Results:
    """Compare the currents of a craft with the limits of each link from the pack to the motors.

    Limits of pack and wire are estimates unless a maker states them; a rating on paper holds for its maker's conditions
    only. Controllers are ideal converters, so a motor draws more than its part of the pack's current at part throttle.
    Avionics count as if their current went through the motors too.
    """
    links = chain.find_links(given, BURST_DURATION)
    weakest = chain.find_weakest(links)
    area = wires.copper_area(given)
    derated = given.capacity * given.discharge_derating_factor
    return Results(
        highest_limit_share=weakest.share,
        weakest_link=weakest.link,
        rating_verdict=links.rating_verdict.max(axis=1, initial=-1),
        mean_discharge_rating_needed=given.mean_current / derated,
        peak_discharge_rating_needed=given.peak_current / derated,
        mean_wire_gauge_needed=chain_fields.find_gauge(given, given.mean_current),
        peak_wire_gauge_needed=chain_fields.find_gauge(given, given.peak_current),
        pack_current_limit=chain.pack_limit(given),
        wire_area=area,
        wire_current_limit=wires.current_limit(given, area),
        by_link=links,
    )


CALCULATOR = Calculator(
    title="Does every link carry the current?",
    summary="Pack, wire, connector, controllers and motors against average and peak current, and the weakest of them.",
    inputs=Inputs,
    results=Results,
    formula=current_ratings,
    steps=chain_fields.find_steps,
    category="choose",
    sentences=chain_notices.SENTENCES,
    charts=(
        BarChart(
            ("peak_limit_share", "mean_limit_share"),
            table="by_link",
            limits=(BarLimit("continuous limit", 1.0),),
            title="Share of limit by link",
        ),
    ),
    any_of=(
        (
            *("discharge_rating", "wire_gauge", "wire_area", "wire_rating"),
            *("connector_rating", "controller_rating", "motor_rating"),
        ),
    ),
    rules=chain_notices.RULES,
    references=(
        Reference(
            "Current over rating, and the motor's current over the throttle of an ideal converter: derived",
            about=("highest_limit_share", "weakest_link", "rating_verdict", "by_link"),
        ),
        Reference(
            "Current in multiples of the capacity per hour, C: definition; derating of a label: rule of thumb, "
            "no source",
            about=("mean_discharge_rating_needed", "peak_discharge_rating_needed", "pack_current_limit"),
        ),
        wires.gauge("wire_area", "mean_wire_gauge_needed", "peak_wire_gauge_needed"),
        wires.copper("wire_current_limit", "mean_wire_gauge_needed", "peak_wire_gauge_needed"),
        wires.heat_balance("wire_current_limit", "mean_wire_gauge_needed", "peak_wire_gauge_needed", "by_link"),
    ),
    cautions=chain_notices.CAUTIONS,
    examples=(
        Example(
            "A pack of 4 cells and 850 mAh with 100 C on its label, 14 A on average and 52 A in climbs",
            given={
                "mean_current": 14,
                "peak_current": 52,
                "capacity": 850,
                "discharge_rating": 100,
                "wire_gauge": 14,
                "connector_rating": 40,
                "controller_rating": 35,
            },
            expected={
                "highest_limit_share": 130,
                "weakest_link": "connector",
                "rating_verdict": "short-peaks-only",
                "mean_discharge_rating_needed": 32.9411764706,
                "peak_discharge_rating_needed": 122.352941176,
                "mean_wire_gauge_needed": 20,
                "peak_wire_gauge_needed": 12,
                "pack_current_limit": 42.5,
                "wire_current_limit": 41.1919836717,
            },
            rtol=1e-11,
            source="by hand: 100 x 0.5 x 0.85 = 42.5 A, and 52 A are 122 %; the connector has 52 / 40 = 130 %; AWG 14 "
            "has 2.08091 mm² and 2.2 x 1.62773 mm outside, so sqrt(20 x pi x 3.58100e-3 x 85 x 2.08091 / (0.017241 x "
            "1.3144 x 1.035)) = 41.192 A, 126 %; 14 / 0.85 / 0.5 = 32.94 C; d³ = 4 x 14² x 0.017241 x 1.3144 x 1.035 / "
            "(pi² x 20 x 2.2e-3 x 85), d = 0.79273 mm: 36 - 39 ln(d / 0.127) / ln 92 = 20.2, and 12.7 for 52 A",
        ),
        Example(
            "Six motors with a throttle cap, in a climb of 15 s through a wire that its maker rates",
            given={
                "mean_current": 25,
                "peak_current": 90,
                "peak_duration": 15,
                "wire_area": 4,
                "wire_rating": 60,
                "wire_temperature_limit": 120,
                "motor_rating": 20,
                "motors": 6,
                "mean_throttle": 45,
                "throttle_cap": 80,
                "air_temperature": 30,
                "stranding_allowance": 5,
                "outer_diameter_ratio": 1.8,
                "heat_transfer_coefficient": 30,
            },
            expected={
                "highest_limit_share": 150,
                "weakest_link": "wire",
                "rating_verdict": "over",
                "mean_wire_gauge_needed": 17,
                "peak_wire_gauge_needed": 10,
                "wire_current_limit": 73.9288857266,
            },
            rtol=1e-11,
            source="by hand: 90 / 60 = 150 %, in a peak of more than 10 s; 90 / (6 x 0.8) = 18.75 A of 20 A in one; "
            "D = 1.8 x 2.25676 mm, sqrt(30 x pi x 4.06217e-3 x 90 x 4 / (0.017241 x 1.393 x 1.05)) = 73.929 A; gauges "
            "17.4 and 10.05 as above",
        ),
    ),
)
