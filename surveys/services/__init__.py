"""Writes: each function does one deed in one transaction, or refuses with a reason."""
