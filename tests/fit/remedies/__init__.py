"""Checks of server/fit/remedies."""
