"""Live readings: sound that arrives now, kept safe on disk and read as a file would be."""
