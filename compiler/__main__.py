"""`python -m somite`: the same as the `somite` command."""

from __future__ import annotations

import sys

from somite.cli import main

if __name__ == "__main__":
    sys.exit(main())
