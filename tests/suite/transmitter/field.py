"""Field of a magnetic dipole by magpylib: lines of tilt (radians), x, y in; the field at height 1 out, in units of 1e-7 T."""
import math
import sys

import magpylib
import numpy

rows = [tuple(map(float, line.split())) for line in sys.stdin]
for tilt, x, y in rows:
    dipole = magpylib.misc.Dipole(moment=(math.cos(tilt), 0.0, math.sin(tilt)), position=(0.0, 0.0, -1.0))
    field = numpy.asarray(dipole.getB((x, y, 0.0))) / 1e-7
    print(*(repr(float(b)) for b in field))
