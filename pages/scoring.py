"""What do you find in this glass?"""

from origin_compare import page_parts as parts
from origin_compare import page_scoring as scoring

with parts.question("What do you find in this glass?"):
    found = scoring.whose()
    if found is not None:
        scoring.one_glass(*found)
