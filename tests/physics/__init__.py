"""Checks of server/physics."""
