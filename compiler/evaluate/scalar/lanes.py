"""Where the parts of a thing lie in a program's memory: a row a number, a lane a pose.

Memory is flat. A row has `LANES` places, one for each of the poses that are worked out together:
one as Python runs it, more when it is compiled, where every constant of this module is multiplied
by how many there are. Operands are addresses of rows, so that `memory[address + lane]` is the first
number of a thing in one pose and `memory[address + lane + Y]` the second.
"""

from __future__ import annotations

LANES = 1
"""Poses that are worked out together."""
EVERY = tuple(range(LANES))
"""Every lane: a tuple, since making a range costs more than going through one of one. Compiled, it
is the range."""

Y, Z, W = 1, 2, 3
"""From the first component of a vector or a quaternion to the others."""
VECTOR, QUATERNION = 3, 4
"""From one vector or quaternion to the next."""
TURN, TURN_Y, TURN_Z, TURN_W = 3, 4, 5, 6
"""From the place in a slot to the turn in it."""
SLOT = 7
"""From one slot, a place and a turn, to the next."""
XY, XZ, YX, YY, YZ, ZX, ZY, ZZ = 1, 2, 3, 4, 5, 6, 7, 8
"""From the first component of a matrix, row by row, to the others."""
MATRIX = 9
"""Rows of a matrix."""

PLACE, PLACE_Y, PLACE_Z = 1, 2, 3
VELOCITY, VELOCITY_Y, VELOCITY_Z = 4, 5, 6
STEP, STEP_Y, STEP_Z, STEP_W = 7, 8, 9, 10
"""From the parameter of a sample of a curve to the place, the velocity, and the way to the next."""
SAMPLE = 11
"""From one sample to the next. At distances that do not change, loops over lanes can be compiled
to work on several at once."""
