"""What `make bench` runs: the figures that Runstrue sets out to reach, and those it reaches."""
