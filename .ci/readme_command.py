"""Print one of the README's two commands: `readme_command.py demo` or `test`. They stand in its first two code blocks."""

import re
import sys
from pathlib import Path

blocks = re.findall(r"^```sh\n(.*?)^```", Path("README.md").read_text(encoding="utf-8"), re.M | re.S)
print(blocks[["demo", "test"].index(sys.argv[1])].strip())
