"""Pictures of answers and of sweeps: `sheet` is what there is to see, `declared` and `swept` make one, `draw` draws it.

Alone may import matplotlib.
"""
