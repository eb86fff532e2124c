"""Pure mathematics of turns, places, curves and frames; it knows nothing of rigs.

Conventions, stated once for the whole package:

- Right-handed space, column vectors, metres and radians.
- A quaternion is ``(x, y, z, w)``; ``product(a, b)`` turns by ``b`` first, then by ``a``.
- A matrix is a tuple of rows; its columns are the images of the axes.
- Turn order ``"xyz"`` means R = Rz.Ry.Rx: x first, about the parent's fixed axes.

**Component form.** A vector is a plain tuple of three components and a quaternion one of four;
each component is a Python float or a numpy float64 array (shapes that broadcast together). One
set of functions therefore serves one pose and ten thousand. With floats nothing here imports
numpy, so start-up stays quick.

**The same bits everywhere.** Every result comes from + - * / and square root in written order,
comparisons, absolute values and rounding. No platform mathematics library, no reductions and no
linear algebra library takes part, and floats and arrays give the same bits.

**Singular inputs** have a stated, finite answer in each docstring. Validation belongs to callers:
inputs are finite, and what is called a unit vector is one.
"""
