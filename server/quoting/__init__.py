"""A chosen stack becomes an offer: consumables, prices, quote, operating card."""
