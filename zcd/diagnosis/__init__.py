"""Meters, readings, faults, their ranking, the next reading, the retest, job files."""
