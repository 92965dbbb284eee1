"""Pulleys, belts, rotation rates, counter: the mechanics of a transport, on paper."""

from runstrue.transport.description import Transport
from runstrue.transport.rates import rates_at, turnings
from runstrue.transport.read import parse_transport, read_transport
from runstrue.transport.turning import Pack, Place, Turning

__all__ = [
    "Pack",
    "Place",
    "Transport",
    "Turning",
    "parse_transport",
    "rates_at",
    "read_transport",
    "turnings",
]
