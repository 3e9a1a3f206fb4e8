"""Checks of server/fit."""
