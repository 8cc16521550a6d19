"""The batched solver: circuits in, waveforms over one mains period out."""
