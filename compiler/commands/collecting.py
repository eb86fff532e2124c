"""When garbage is looked for: not during imports and the first work, which make hardly any."""

from __future__ import annotations

import gc


def collect_again() -> None:
    """Has garbage collected from here on, except among what is there already.

    That is modules, which stay; what little else there is goes when the process ends, which would
    otherwise begin with a search through all of it.
    """
    if not gc.isenabled():
        gc.freeze()
        gc.enable()
