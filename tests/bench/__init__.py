"""Benchmarks: run by name, never part of the suite."""
