"""Tests of ``server.web.outgoing``."""
