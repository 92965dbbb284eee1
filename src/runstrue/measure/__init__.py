"""One module a measurement: a description and a pure function from signal to results."""
