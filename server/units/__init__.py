"""The trade's units to and from SI, where people type and read; SI alone everywhere else."""

from server.units.dimensions import Dimension, accepted_examples
from server.units.reading import parse_quantity
from server.units.showing import convert, format_duration, format_quantity, units_of

__all__ = [
    "Dimension",
    "accepted_examples",
    "convert",
    "format_duration",
    "format_quantity",
    "parse_quantity",
    "units_of",
]
