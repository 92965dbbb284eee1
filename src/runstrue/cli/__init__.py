"""The door for the keyboard; it may import everything, nothing imports it."""
