"""Pages, the JSON interface and sign-in."""
