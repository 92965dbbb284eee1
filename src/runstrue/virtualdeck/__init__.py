"""A deck with known faults, for practice, demo and tests; it shares no code with `measure`."""
