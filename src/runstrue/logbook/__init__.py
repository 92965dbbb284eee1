"""The record that outlives the program: decks, visits, captures, readings, verdicts."""
