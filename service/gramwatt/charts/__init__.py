"""Pictures of answers and of sweeps: `sheet` is what there is to see, `declared` and `swept` make one, `draw` draws it.

Alone may import matplotlib.
"""

import os
import tempfile

if "MPLCONFIGDIR" not in os.environ and not os.access(os.path.expanduser("~"), os.W_OK):
    # matplotlib keeps a list of fonts at home; where there is no home it complains of that in the log.
    os.environ["MPLCONFIGDIR"] = tempfile.mkdtemp(prefix="gramwatt-")
