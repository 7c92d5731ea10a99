"""How packs may travel in the baggage of air passengers: a result, its source, and what to know."""

from typing import Annotated, Any, Final, TypeAlias

from gramwatt.model import Caution, Choice, IndexArray, Reference
from gramwatt.physics import baggage

Baggage: TypeAlias = Annotated[
    IndexArray,
    Choice(
        baggage.CATEGORIES,
        "How the pack may travel by air, by label energy.",
        label="Air travel",
        option_labels=("carry-on", "only with the airline's approval", "not in baggage"),
        method="carry-on up to 100 Wh; airline-approval above that, up to 160 Wh; not-in-baggage above",
    ),
]
ASK_AIRLINE: Final[Caution[Any, Any]] = Caution(
    "ask-airline",
    "Air travel: carry spare packs in the cabin with their terminals protected. From 100 Wh to 160 Wh the "
    "airline must approve, usually two at most. Airlines may have stricter rules: check with yours.",
)


def limits(*about: str) -> Reference:
    """Return the source of the limits."""
    return Reference(
        "49 CFR 175.10(a)(18): lithium-ion batteries of at most 100 Wh in passenger baggage, spares in the cabin "
        "and each protected against short circuit. The step to 160 Wh with approval of the airline is from memory",
        about=about,
    )
