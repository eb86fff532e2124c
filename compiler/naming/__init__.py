"""Names of a standard for a rig's joints: ISO/IEC 19774 (H-Anim), by a map kept with the recipe.

What comes in is a names file and a settled rig; what goes out is the rig with the standard's names
for its joints, and which joint is which. The names that the recipe makes stay a node's identity:
only how they are spelled in outputs changes.
"""

from somite.naming.names_file import Names, load, read
from somite.naming.naming import named

__all__ = ["Names", "load", "named", "read"]
