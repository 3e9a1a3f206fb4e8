"""Reading a customer's letter: which requirements it states, each with the words it came from.

A careful reader of patterns: quantities with units, and the words beside them. It never invents:
what it cannot place is returned with the reason, and nothing is filled in.
"""
