"""Spec sheets as understood, and whether a reading meets them, with the chance that it does."""
