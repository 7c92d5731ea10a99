"""What a calculator is declared in: kinds of field, units, charts, and the `Calculator` that holds them together.

Nothing here knows of the web or of validation libraries. Importing a calculator only builds a constant.
"""

from gramwatt.arrays import Array, BoolArray, IndexArray, StringArray, Unit
from gramwatt.model.calculator import (
    AnyCalculator,
    Assumption,
    Calculator,
    Caution,
    Example,
    OutputFormat,
    Reference,
    Rule,
)
from gramwatt.model.charts import BarChart, Chart, CurveChart, RecordedChannels, TimeSeriesChart, WaterfallChart
from gramwatt.model.declaration_checks import CATEGORIES, RESERVED_INPUTS, RESERVED_RESULTS
from gramwatt.model.kinds import (
    Choice,
    Count,
    DeclarationError,
    Flag,
    Kind,
    NumberList,
    Quantity,
    Recording,
    RecordingArray,
    RowCount,
    StandardUncertainty,
    Table,
    Text,
    TimeSeries,
    UnreadableCells,
    get_fields,
)

__all__ = [
    "CATEGORIES",
    "RESERVED_INPUTS",
    "RESERVED_RESULTS",
    "AnyCalculator",
    "Array",
    "Assumption",
    "BarChart",
    "BoolArray",
    "Calculator",
    "Caution",
    "Chart",
    "Choice",
    "Count",
    "CurveChart",
    "DeclarationError",
    "Example",
    "Flag",
    "IndexArray",
    "Kind",
    "NumberList",
    "OutputFormat",
    "Quantity",
    "RecordedChannels",
    "Recording",
    "RecordingArray",
    "Reference",
    "RowCount",
    "Rule",
    "StandardUncertainty",
    "StringArray",
    "Table",
    "Text",
    "TimeSeries",
    "TimeSeriesChart",
    "Unit",
    "UnreadableCells",
    "WaterfallChart",
    "get_fields",
]
