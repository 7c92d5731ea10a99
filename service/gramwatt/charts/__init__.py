"""Charts of results and of sweeps.

`calculator_charts` and `sweep_charts` compute a `chart_data.ChartData`; `render` writes it as SVG, PNG or text. No
other package imports matplotlib.
"""

import os
import tempfile

if "MPLCONFIGDIR" not in os.environ and not os.access(os.path.expanduser("~"), os.W_OK):
    # matplotlib caches its list of fonts in the home directory and logs a warning where it cannot.
    os.environ["MPLCONFIGDIR"] = tempfile.mkdtemp(prefix="gramwatt-")
