"""All records of a database in one file, and back into another, of either kind: `files`, `tables`, `taking`, `restoring`."""
