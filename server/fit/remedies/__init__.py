"""The smallest single changes that would turn failing margins into passing ones."""

from server.fit.remedies.offered import remedies_for, remedies_of_stack

__all__ = ["remedies_for", "remedies_of_stack"]
