"""What can be sold: items, curves, compatibility, import and checking."""
