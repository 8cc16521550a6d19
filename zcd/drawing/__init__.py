"""Pictures: circuit diagrams, waveforms, maps, timelines."""
