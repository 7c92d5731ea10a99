"""What a response about packs in baggage says: its headline in words, and what to know."""

from typing import Any, Final

from gramwatt.calculators._shared import air_baggage
from gramwatt.calculators._shared.cautions import LITHIUM_FIRE
from gramwatt.model import Caution, Sentence
from gramwatt.physics import baggage

IN_ALL: Final = "{total_energy} in {pack_count} packs."
SENTENCES: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "Leave {packs_left_behind} of {pack_count} packs at home",
        details=(
            "Packs above 160 Wh: {excluded_packs}.",
            "Spares above 100 Wh over the allowance: {spares_left_behind}.",
            "What may travel needs the airline's approval above 100 Wh.",
        ),
        when=lambda given, found: found.packs_left_behind > 0,
        verdict="bad",
    ),
    Sentence(
        "Only with the airline's approval: {packs_needing_approval} of {pack_count} packs",
        details=("They are above 100 Wh. All spares go in the cabin, terminals protected.", IN_ALL),
        when=lambda given, found: found.packs_needing_approval > 0,
        verdict="close",
    ),
    Sentence(
        "Only with the airline's approval: {spares_carried} spare packs",
        details=("Without it each passenger may carry {spare_allowance}.", IN_ALL),
        when=lambda given, found: found.travel_verdict == baggage.APPROVAL,
        verdict="close",
    ),
    Sentence(
        "The pack may travel in carry-on baggage",
        details=("It has {total_energy}. In the cabin, with its terminals protected.",),
        when=lambda given, found: found.pack_count == 1,
        verdict="good",
    ),
    Sentence(
        "All {pack_count} packs may travel in carry-on baggage",
        details=("Each is within 100 Wh. Spares go in the cabin, terminals protected.", IN_ALL),
        verdict="good",
    ),
)
CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    LITHIUM_FIRE,
    air_baggage.ASK_AIRLINE,
    Caution(
        "protect-terminals",
        "Spare packs never go in checked baggage. Tape the terminals, or put each pack in a pouch of its own, so "
        "that none can be shorted or crushed. A damaged, swollen or recalled pack may not travel at all.",
        severity="high",
    ),
    Caution(
        "label-decides",
        "At the airport the watt-hours on the label count. Where a label has none, show volts times ampere-hours.",
        severity="low",
    ),
    Caution(
        "not-in-baggage",
        "{by_pack.name}: {by_pack.nominal_energy} is more than 160 Wh. Neither cabin nor checked baggage may hold "
        "it: leave it at home, or let a carrier ship it as dangerous goods.",
        severity="high",
        when=lambda given, found: found.by_pack.baggage == baggage.NOT_IN_BAGGAGE,
    ),
    Caution(
        "needs-approval",
        "{by_pack.name}: {by_pack.nominal_energy} is more than 100 Wh. Get the approval of the airline before the "
        "day of the flight.",
        when=lambda given, found: found.by_pack.baggage == baggage.APPROVAL,
    ),
    Caution(
        "too-many-approved-spares",
        "Of the spares above 100 Wh, {spares_left_behind} must stay: each passenger may carry "
        "{approved_spare_allowance} of them, with approval.",
        severity="high",
        when=lambda given, found: found.spares_left_behind > 0,
    ),
    Caution(
        "many-spares",
        "{spares_carried} spares are more than {spare_allowance} for each passenger: the airline must approve their "
        "number.",
        when=lambda given, found: found.spares_carried > given.spare_allowance * given.passengers,
    ),
    Caution(
        "more-in-devices",
        "{packs.name}: more packs are in devices than there are of them: check both numbers.",
        when=lambda given, found: given.packs.installed_count > given.packs.count,
    ),
    Caution(
        "devices-switched-off",
        "A device with its pack inside is best carried in the cabin too, switched off and safe from being switched "
        "on by accident.",
        severity="low",
        when=lambda given, found: (given.packs.installed_count > 0).any(axis=1),
    ),
)
