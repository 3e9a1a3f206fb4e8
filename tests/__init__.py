"""Checks against the outside world, laid out like server/."""
