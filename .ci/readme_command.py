"""Print a command of README.md: `readme_command.py demo` (first code block) or `readme_command.py test` (second)."""

import re
import sys
from pathlib import Path

blocks = re.findall(r"^```sh\n(.*?)^```", Path("README.md").read_text(encoding="utf-8"), re.M | re.S)
print(blocks[["demo", "test"].index(sys.argv[1])].strip())
