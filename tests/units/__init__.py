"""Checks of server/units."""
