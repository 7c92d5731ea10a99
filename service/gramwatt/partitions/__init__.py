"""Tables and grids computed in parts, each by a worker that reads, computes and writes it by itself.

`split` cuts a table or a grid into parts; `job` is what a worker does with one of them; `manifest` records which parts
are done, so that an interrupted run continues; `workers` are this process or a pool of processes on this machine (for
several machines see `cluster`); `runner` joins all that, and `join` makes one file of the parts. Only the description
of a part goes to a worker, and only counts come back.
"""
