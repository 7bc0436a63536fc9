"""First-order and total Sobol indices of three functions of independent uniform inputs, by SALib (Saltelli's sample and estimators).

The Shapley share of an input lies between the two (Owen, SIAM/ASA J. Uncertainty Quantification 2:245-251, 2014). `ishigami` with a = 7,
b = 0.1; `g` of Sobol with a = 0, 1, 4.5, 9, 99, 99, 99, 99; `cut`, the logarithm of a bell curve's tails beyond a clearance, whose spread is
made up of four causes, as plants cut have it.
"""

import numpy as np
from SALib.analyze import sobol as analyze
from SALib.sample import sobol as sample
from scipy.stats import norm

POINTS = 2**13
G = np.array([0, 1, 4.5, 9, 99, 99, 99, 99])
CLEARANCE_M = 0.045
LEAST_M = np.array([0.006, 0.002, 0.001, 0.004])
MOST_M = np.array([0.020, 0.010, 0.008, 0.012])


def ishigami(u):
    x = np.pi * (2 * u - 1)
    return np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


def g(u):
    return np.prod((np.abs(4 * u - 2) + G) / (1 + G), axis=1)


def cut(u):
    sd_m = LEAST_M + (MOST_M - LEAST_M) * u
    return np.log(2 * norm.sf(CLEARANCE_M / np.sqrt((sd_m**2).sum(axis=1))))


def values():
    out = {"points": POINTS, "functions": []}
    for name, function, inputs in [("ishigami", ishigami, 3), ("g", g, 8), ("cut", cut, 4)]:
        problem = {"num_vars": inputs, "names": [f"u{i}" for i in range(inputs)], "bounds": [[0, 1]] * inputs}
        u = sample.sample(problem, POINTS, calc_second_order=False, seed=1)
        y = function(u)
        found = analyze.analyze(problem, y, calc_second_order=False, num_resamples=50, seed=1)
        out["functions"].append(
            dict(
                name=name,
                first=[float(x) for x in found["S1"]],
                total=[float(x) for x in found["ST"]],
                within=[float(max(a, b)) for a, b in zip(found["S1_conf"], found["ST_conf"])],
            )
        )
    return out
