"""The version of Somite, as a constant.

Reading it from the installed package's metadata would cost more than the rest of a start; a test
keeps it equal to the one in `pyproject.toml`. Nothing is imported here.
"""

VERSION = "0.1.0"
