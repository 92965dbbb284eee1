"""Runstrue: measure a tape deck, judge it against its sheet, keep the record.

The folders are the sentence: capture, (samples,) measure, verdict, logbook, report.
"""

__version__ = "0.1.0"
