"""Benchmarks, each a module here with `figures(small)`, and their databases."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Benchmark:
    """Benchmark in its own process; one that names a database gets a new, migrated one."""

    module: str
    database: Literal["SQLite", "PostgreSQL"] | None = None
    broker: bool = False


BENCHMARKS = {
    "properties": Benchmark("properties"),
    "start_up": Benchmark("start_up"),
    "compute": Benchmark("compute", "SQLite"),
    "log_import": Benchmark("log_import"),
    "recompute": Benchmark("recompute"),
    "rows": Benchmark("row_per_reading", "SQLite"),
    "lists": Benchmark("lists", "SQLite"),
    "lists_on_postgresql": Benchmark("lists", "PostgreSQL"),
    "serving": Benchmark("serving", "SQLite"),
    "serving_on_postgresql": Benchmark("serving", "PostgreSQL"),
    "whole_fleet": Benchmark("whole_fleet", "SQLite"),
    "whole_fleet_on_postgresql": Benchmark("whole_fleet", "PostgreSQL"),
    "workers": Benchmark("workers", "PostgreSQL", broker=True),
    "plan": Benchmark("plan"),
    "kits": Benchmark("kits", "SQLite"),
    "documents": Benchmark("documents", "SQLite"),
}
# Modules that benchmarks are made with.
PARTS = ("measuring", "registry", "databases", "bare", "bare_server", "fleet", "fan_out")
