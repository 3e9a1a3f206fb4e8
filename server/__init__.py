"""Pumpwright: from a laboratory's inquiry to a pump stack, a quote and an operating card."""
