"""Checks of server/fit/letter."""
