"""Ask the index whether what the runtime lock names has known faults: 1 if any has, and how much of it could be asked about."""

import json
import subprocess
import sys

asked = subprocess.run(
    ["pip-audit", "-r", "requirements.lock", "--disable-pip", "--no-deps", "-f", "json", "--progress-spinner", "off"],
    capture_output=True, text=True, check=False, timeout=300,
)  # fmt: skip
if not asked.stdout.startswith("{"):
    # No fault of ours, and nothing this run can mend: the lines say what was not looked at.
    print("NOT ASKED, the index was not reached:", asked.stderr.strip().splitlines()[-1:])
    sys.exit(0)
packages = json.loads(asked.stdout)["dependencies"]
unknown = [one["name"] for one in packages if "skip_reason" in one]
faulty = [(one["name"], fault["id"]) for one in packages for fault in one.get("vulns", [])]
print(f"asked about {len(packages) - len(unknown)} of {len(packages)} packages")
if unknown:
    print("NOT ASKED, the index here does not tell of faults:", ", ".join(unknown))
for name, fault in faulty:
    print(f"{name}: {fault}")
sys.exit(bool(faulty))
