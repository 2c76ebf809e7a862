"""How many pages a PDF of ours has."""

import re


def pages(pdf: bytes) -> int:
    """Pages of a PDF whose page objects are not compressed, as the typesetter leaves them."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))
