"""Backup of all records in one file, and restoring into a database of either kind: `files`, `tables`, `taking`, `restoring`."""
