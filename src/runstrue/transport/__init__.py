"""Pulleys, belts, rotation rates, counter: the mechanics of a transport, on paper."""
