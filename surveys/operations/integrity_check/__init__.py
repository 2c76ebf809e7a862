"""Integrity check of the stored records: `files`, `figures`, `history`; `everything` runs them all."""
