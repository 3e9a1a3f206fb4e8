"""The quote desk: money, life, changes, approval, copies."""
