"""Checks of server/catalog."""
