"""Where signals come from, block by block: a file or the virtual deck (later a sound card)."""
