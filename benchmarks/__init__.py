"""Measures the service beside others, on the same machine in the same run; `python -m benchmarks --help`."""
