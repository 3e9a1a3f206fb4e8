"""Checks of server/store."""
