"""Arrays in, arrays out: tone tracking, weightings, detectors, spectra."""
