"""Compute tables and grids in parts. A worker reads, computes and writes each part by itself.

`split` splits a table or a grid into parts, `job` computes one of them, and `manifest` records which parts are done, so
that an interrupted run continues. `workers` are this process or a pool of processes on this machine; `cluster` has
those of several machines. `runner` runs a job, and `join` makes one file of the parts. Only the description of a part
goes to a worker, and only counts come back.
"""
