"""All benchmarks, or those named: `python -m tests.benchmarks [NAME ...] [--small] [--json FILE]`.

Every value is a ratio to a floor measured in the same run, or has a unit. Each benchmark runs in its own process and on its own
database. `--small` only checks that the benchmarks run.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from contextlib import nullcontext
from dataclasses import asdict
from importlib import import_module
from pathlib import Path
from typing import Any

from tests.benchmarks.databases import new_database
from tests.benchmarks.measuring import Figure, Figures
from tests.benchmarks.registry import BENCHMARKS, Benchmark
from tests.needs import postgresql_available, redis_available


def main(arguments: list[str]) -> int:
    """Run the requested benchmarks; return 1 if one did not run to its end."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(BENCHMARKS))
    parser.add_argument("--small", action="store_true")
    parser.add_argument("--json", type=Path, metavar="FILE")
    options = parser.parse_args(arguments)
    if unknown := set(options.names) - set(BENCHMARKS):
        parser.error(f"There is no {', '.join(sorted(unknown))}; there are {', '.join(BENCHMARKS)}.")
    names = options.names or list(BENCHMARKS)
    rows, failed = (of_one(names[0], options.small), []) if len(names) == 1 else of_many(names, options.small)
    if options.json:
        options.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    if failed:
        print("DID NOT RUN:", ", ".join(failed))
    return bool(failed)


def of_one(name: str, small: bool) -> list[dict[str, Any]]:
    """Run one benchmark and print its values."""
    benchmark = BENCHMARKS[name]
    print(f"\n{name}" + (f", on {benchmark.database}" if benchmark.database else ""), flush=True)
    with new_database(benchmark.database) if benchmark.database else nullcontext() as url:
        if url:
            os.environ["DATABASE_URL"] = url
        return [_row(name, benchmark, figure, small) for figure in _figures(benchmark, small)]


def _figures(benchmark: Benchmark, small: bool) -> Figures:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    from django.core.management import call_command
    from django.db import connections

    if benchmark.database:
        call_command("migrate", verbosity=0)
    try:
        yield from import_module(f"tests.benchmarks.{benchmark.module}").figures(small)
    finally:
        connections.close_all()


def _row(name: str, benchmark: Benchmark, figure: Figure, small: bool) -> dict[str, Any]:
    # Targets do not apply at a small size.
    holds = None if small else figure.holds
    conformity = {True: "holds", False: "MISSED", None: ""}[holds]
    target = "" if figure.target is None else f"{'>=' if figure.at_least else '<='} {figure.target:g}"
    size = "" if figure.size is None else f"{figure.size:,}"
    print(
        f"  {figure.what:<82} {size:>11} {figure.value:>9.4g} {figure.unit:<2} {target:<8} {conformity}",
        flush=True,
    )
    return {"benchmark": name, "database": benchmark.database} | asdict(figure) | {"holds": holds}


def of_many(names: list[str], small: bool) -> tuple[list[dict[str, Any]], list[str]]:
    """Return the values of all benchmarks that ran, each in its own process, and the names of the others."""
    rows, failed = [], []
    for name in names:
        if missing := missing_requirements(BENCHMARKS[name]):
            print(f"\n{name}: NOT RUN, there is no {missing} here")
            failed.append(name)
            continue
        with tempfile.NamedTemporaryFile(suffix=".json") as file:
            options = [name, "--json", file.name] + ["--small"] * small
            if subprocess.run([sys.executable, "-m", "tests.benchmarks", *options], check=False).returncode:
                failed.append(name)
            else:
                rows += json.loads(Path(file.name).read_text(encoding="utf-8"))
    return rows, failed


def missing_requirements(benchmark: Benchmark) -> str:
    """Return the requirements of a benchmark that this machine lacks."""
    if benchmark.database == "PostgreSQL" and not postgresql_available():
        return "PostgreSQL"
    return "Redis" if benchmark.broker and not redis_available() else ""


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
