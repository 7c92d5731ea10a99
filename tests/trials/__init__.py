"""Trials of the running service: hostile inputs, sequences of them, clients that misbehave, and random requests.

``make trials`` runs the long form and ``make trials SHORT=1`` that of ``.ci/run``; both run ``python -m trials``. A
trial starts a service of its own on 127.0.0.1, is bounded in count and time, and stops by itself.
"""
