"""Checks that records are unchanged since they were stored: `files`, `figures`, `history`; `everything` runs all of them."""
