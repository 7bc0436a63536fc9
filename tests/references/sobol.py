"""Points of Sobol's sequence without scrambling, with the direction numbers of Joe & Kuo 2008, from SciPy's quasi-Monte Carlo module.

Whole numbers: each coordinate times 2^30, the resolution of SciPy's generator. SciPy walks in Gray-code order.
"""

from scipy.stats import qmc

DIMENSIONS = 64
COUNT = 48
LATE = [1000, 4095, 65535, 1048575]


def values():
    points = qmc.Sobol(DIMENSIONS, scramble=False, bits=30).random(COUNT)
    out = {"order": "Gray code", "bits": 30, "points": []}
    for index, point in enumerate(points):
        out["points"].append(dict(index=index, point=[int(x * 2**30) for x in point]))
    for index in LATE:
        engine = qmc.Sobol(DIMENSIONS, scramble=False, bits=30)
        engine.fast_forward(index)
        out["points"].append(dict(index=index, point=[int(x * 2**30) for x in engine.random(1)[0]]))
    return out
