"""The quote desk: from a draft over approval to the customer's answer, with nothing overwritten."""
