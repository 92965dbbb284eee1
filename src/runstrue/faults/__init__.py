"""From symptoms, checks and readings to what can be wrong: the knowledge and the inference."""
