"""Papers people carry or keep: documents built from records, typeset as PDF."""
