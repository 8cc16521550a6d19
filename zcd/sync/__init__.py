"""Pulses from the pin's waveform, and whether the controller locks to them."""
