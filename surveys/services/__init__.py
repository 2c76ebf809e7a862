"""Services: each function performs one action in one transaction, or rejects it with a reason."""
