"""Checks of server/quoting."""
