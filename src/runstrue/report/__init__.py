"""Figures and the printed sheet, made from logbook records alone."""
