"""Checks of server/web."""
