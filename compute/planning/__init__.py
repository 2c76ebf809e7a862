"""Planning of jobs, technicians and kits: the pure part, free of Django.

`problem` defines the problem, `greedy` makes a heuristic plan, `search` improves it by a solver and bounds it, `check` checks
any plan independently.
"""
