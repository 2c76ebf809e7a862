"""Who does which job when and with which kit: the pure part of planning, free of Django.

`problem` states it, `greedy` makes a careful plan, `search` betters it by a solver and bounds it, `check` judges any plan on its own.
"""
