"""Search for known vulnerabilities in the packages of the runtime lock. Exit status 1 if any are found."""

import json
import subprocess
import sys

audit = subprocess.run(
    ["pip-audit", "-r", "requirements.lock", "--disable-pip", "--no-deps", "-f", "json", "--progress-spinner", "off"],
    capture_output=True, text=True, check=False, timeout=300,
)  # fmt: skip
if not audit.stdout.startswith("{"):
    # An unreachable package index is not a fault of this project, so the run continues.
    print("NOT CHECKED: the package index cannot be reached.", audit.stderr.strip().splitlines()[-1:])
    sys.exit(0)
packages = json.loads(audit.stdout)["dependencies"]
skipped = [package["name"] for package in packages if "skip_reason" in package]
vulnerable = [(package["name"], entry["id"]) for package in packages for entry in package.get("vulns", [])]
print(f"{len(packages) - len(skipped)} of {len(packages)} packages checked.")
if skipped:
    print("NOT CHECKED: the index has no vulnerability data for", ", ".join(skipped))
for name, identifier in vulnerable:
    print(f"{name}: {identifier}")
sys.exit(bool(vulnerable))
