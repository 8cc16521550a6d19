"""Causes over time: what the controller sees, the drive, the motor, the flags."""
