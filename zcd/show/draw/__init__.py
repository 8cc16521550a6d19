"""Pictures: the sheet they stand on, circuit diagrams, waveforms, maps, lanes over time."""
