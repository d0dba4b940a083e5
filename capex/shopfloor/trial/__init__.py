"""Time trials: what to time, what was timed, and what it says of the machines.

Imported on demand, as scipy takes its time. Imports `capex.study` and the shop floor.
"""
