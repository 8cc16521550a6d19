"""Cases from transistor-level circuits, diagnosed step by step: how often the tool is right.

Truth is ngspice's, with a published transistor as the output stage, not the engine's. Boards,
parts, faults and sizes are drawn here from ranges of their own, wider than those of the fault
dictionary; each reading is taken when it is asked for, with the meter hanging in the circuit and
erring. ``python -m tests.diagnosis.proof 1000`` prints the figures and draws the reliability
diagram.
"""
