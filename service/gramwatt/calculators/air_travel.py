"""How several packs may travel in the baggage of air passengers."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import air_baggage, air_notices, air_steps, pack_fields
from gramwatt.calculators._shared import packs as shared_packs
from gramwatt.calculators._shared.air_steps import MAX_COUNT, count_of
from gramwatt.model import (
    Array,
    BarChart,
    BarLimit,
    Calculator,
    Choice,
    Count,
    Example,
    Group,
    IndexArray,
    Quantity,
    Reference,
    StringArray,
    Table,
    Text,
)
from gramwatt.physics import baggage, cells


@dataclass(frozen=True, slots=True)
class TravelPack:
    """Packs of one kind."""

    name: Annotated[StringArray, shared_packs.NAME]
    cells: pack_fields.Cells
    capacity: pack_fields.Capacity
    chemistry: pack_fields.Chemistry
    count: Annotated[Array, Count("Number of such packs.", at_least=1, at_most=MAX_COUNT, default=1)]
    installed_count: Annotated[
        Array,
        Count(
            "How many of them are inside a device; all others are spares.",
            label="In devices",
            at_least=0,
            at_most=MAX_COUNT,
            default=0,
            synonyms=("installed", "in_device"),
        ),
    ]


@dataclass(frozen=True, slots=True)
class Inputs:
    """The packs, the passengers, and what their airline allows."""

    packs: Annotated[
        TravelPack,
        Table(
            TravelPack,
            "Packs to take along.",
            label="Packs",
            group=Group.PACK,
            max_length=shared_packs.MAX_PACKS,
            chosen_by=shared_packs.CHOSEN_BY,
            row_label="pack",
        ),
    ]
    passengers: Annotated[
        Array,
        Count(
            "Passengers who share the packs among their baggage.",
            group=Group.FLIGHT,
            at_least=1,
            at_most=100,
            default=1,
            synonyms=("people", "persons", "travellers"),
        ),
    ]
    spare_allowance: Annotated[
        Array,
        Count(
            "Spare packs that the airline allows each passenger without approval.",
            label="Spares per passenger",
            group=Group.FLIGHT,
            at_least=0,
            at_most=MAX_COUNT,
            default=baggage.SPARES,
        ),
    ]
    approved_spare_allowance: Annotated[
        Array,
        Count(
            "Spare packs above 100 Wh that the airline may approve for each passenger.",
            label="Approved per passenger",
            group=Group.FLIGHT,
            at_least=0,
            at_most=MAX_COUNT,
            default=baggage.APPROVED_SPARES,
        ),
    ]


@dataclass(frozen=True, slots=True)
class TravelPackResults:
    """Packs of one kind."""

    name: Annotated[StringArray, Text("Name of the pack.", label="Pack")]
    nominal_energy: Annotated[
        Array,
        Quantity("Wh", "Energy on the label.", label="Label energy", formula="cells * nominal_cell_voltage * capacity"),
    ]
    baggage: air_baggage.Baggage
    spares: Annotated[
        Array, count_of("Packs that are not in a device.", formula="number - min(number_in_devices, number)")
    ]


@dataclass(frozen=True, slots=True)
class Results:
    """What may travel, and how."""

    travel_verdict: Annotated[
        IndexArray,
        Choice(
            baggage.VERDICTS,
            "Whether all packs may travel.",
            label="Air travel",
            option_labels=("all in carry-on", "only with the airline's approval", "some must stay"),
            method="leave-some where some packs are over a limit or an allowance; else airline-approval where packs "
            "are above 100 Wh or spares above their number; else carry-on",
        ),
    ]
    pack_count: Annotated[Array, count_of("Packs in total.", "Packs in total", formula="sum(packs.count)")]
    carry_on_packs: Annotated[
        Array,
        count_of(
            "Packs up to 100 Wh.", "Packs up to 100 Wh", formula="pack_count - packs_needing_approval - excluded_packs"
        ),
    ]
    packs_needing_approval: Annotated[
        Array,
        count_of("Packs above 100 Wh, up to 160 Wh.", "Packs from 100 to 160 Wh", method="those of airline-approval"),
    ]
    excluded_packs: Annotated[
        Array, count_of("Packs above 160 Wh.", "Packs above 160 Wh", method="those of not-in-baggage")
    ]
    spares_carried: Annotated[
        Array,
        count_of(
            "Spares that may travel, with approval where it is needed.",
            "Spares that may travel",
            method="spares of at most 160 Wh, less `spares_left_behind`",
        ),
    ]
    spares_left_behind: Annotated[
        Array,
        count_of(
            "Spares above 100 Wh that are over the allowance.",
            method="spares of airline-approval less `approved_spare_allowance * passengers`, or none",
        ),
    ]
    packs_left_behind: Annotated[
        Array,
        count_of("Packs that may not travel in baggage.", formula="excluded_packs + spares_left_behind"),
    ]
    total_energy: Annotated[
        Array,
        Quantity("Wh", "Label energy of all packs.", formula="sum(by_pack.nominal_energy * packs.count)"),
    ]
    by_pack: Annotated[
        TravelPackResults,
        Table(
            TravelPackResults,
            "The packs in the given order.",
            label="Packs one by one",
            max_length=shared_packs.MAX_PACKS,
        ),
    ]


def air_travel(given: Inputs) -> Results:
    """Compare packs with the limits for lithium-ion batteries in the baggage of air passengers.

    These are for batteries that passengers carry for their own use. Cargo, crew and other countries have rules of
    their own, and an airline may allow less.
    """
    packs = given.packs
    energy = packs.cells * cells.NOMINAL_VOLTAGE[packs.chemistry] * packs.capacity
    category = baggage.classify(energy)
    counted = baggage.count_packs(
        category,
        packs.count,
        packs.installed_count,
        spares=given.spare_allowance * given.passengers,
        approved=given.approved_spare_allowance * given.passengers,
    )
    total = packs.count.sum(axis=1)
    return Results(
        travel_verdict=counted.verdict,
        pack_count=total,
        carry_on_packs=total - counted.approval - counted.excluded,
        packs_needing_approval=counted.approval,
        excluded_packs=counted.excluded,
        spares_carried=counted.spares,
        spares_left_behind=counted.over,
        packs_left_behind=counted.excluded + counted.over,
        total_energy=(energy * packs.count).sum(axis=1),
        by_pack=TravelPackResults(
            name=packs.name,
            nominal_energy=energy,
            baggage=category,
            spares=packs.count - np.minimum(packs.installed_count, packs.count),
        ),
    )


CALCULATOR = Calculator(
    title="May these packs travel by air?",
    summary="Label energy of packs against the limits for the baggage of air passengers, and what needs approval.",
    inputs=Inputs,
    results=Results,
    formula=air_travel,
    steps=air_steps.find_steps,
    category="before",
    sentences=air_notices.SENTENCES,
    charts=(
        BarChart(
            ("nominal_energy",),
            table="by_pack",
            limits=(
                BarLimit("carry-on", baggage.CARRY_ON_ENERGY),
                BarLimit("with approval", baggage.APPROVAL_ENERGY),
            ),
            title="Energy against the limits",
        ),
    ),
    references=(
        air_baggage.limits(
            *("travel_verdict", "carry_on_packs", "packs_needing_approval", "excluded_packs"),
            *("packs_left_behind", "by_pack"),
        ),
        Reference(
            "IATA Dangerous Goods Regulations, 2.3.5, and ICAO Technical Instructions, Doc 9284, Part 8: at most two "
            "spares above 100 Wh, and 20 spares in all without approval, for each passenger; from memory, the texts of "
            "the current editions were not seen",
            about=("travel_verdict", "spares_carried", "spares_left_behind", "packs_left_behind"),
        ),
        Reference(
            "Watt-hours on a label are nominal voltage times rated capacity: rule of thumb, no source",
            about=("total_energy", "by_pack"),
        ),
        Reference("Addition, no source needed", about=("pack_count",)),
    ),
    cautions=air_notices.CAUTIONS,
    examples=(
        Example(
            "Packs of small craft for a weekend",
            given={
                "packs": [
                    {"name": "6 cells", "cells": 6, "capacity": 1300, "count": 6},
                    {"name": "4 cells", "cells": 4, "capacity": 850, "chemistry": "lihv", "count": 4},
                    {"name": "goggles", "cells": 2, "capacity": 3000, "chemistry": "li-ion", "installed_count": 1},
                ]
            },
            expected={"travel_verdict": "carry-on", "pack_count": 11, "spares_carried": 10, "total_energy": 246.44},
            rtol=1e-9,
            source="by hand: 6 x 6 x 3.7 V x 1.3 Ah + 4 x 4 x 3.8 V x 0.85 Ah + 2 x 3.6 V x 3 Ah = 173.16 + 51.68 + "
            "21.6 = 246.44 Wh; each pack has less than 100 Wh",
        ),
        Example(
            "Long-range packs, of which one spare is too many",
            given={
                "packs": [
                    {
                        "name": "long range",
                        "cells": 6,
                        "capacity": "6 Ah",
                        "chemistry": "li-ion",
                        "count": 4,
                        "installed_count": 1,
                    },
                    {"name": "six cells", "cells": 6, "capacity": 1300, "count": 2},
                ],
                "passengers": 1,
            },
            expected={
                "travel_verdict": "leave-some",
                "packs_needing_approval": 4,
                "spares_left_behind": 1,
                "packs_left_behind": 1,
                "spares_carried": 4,
            },
            rtol=1e-9,
            source="by hand: 6 x 3.6 V x 6 Ah = 129.6 Wh, more than 100 and at most 160; 4 - 1 = 3 spares, two allowed",
        ),
        Example(
            "Two passengers with a pack for lifting, and many spares",
            given={
                "packs": [
                    {"name": "lifter", "cells": 12, "capacity": "5 Ah"},
                    {"name": "small", "cells": 1, "capacity": 450, "chemistry": "lihv", "count": 45},
                ],
                "passengers": 2,
            },
            expected={"travel_verdict": "leave-some", "excluded_packs": 1, "spares_carried": 45},
            rtol=1e-9,
            source="by hand: 12 x 3.7 V x 5 Ah = 222 Wh, more than 160; 45 spares of 1.71 Wh are more than 2 x 20",
        ),
    ),
)
