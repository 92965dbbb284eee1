"""The bench in the browser: pages of the job and live readings, all on this machine."""
