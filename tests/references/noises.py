"""The noise shapes.

- Autocovariance from the two-sided density S(w) by SciPy's Fourier quadrature, (1/pi) integral_0^inf S(w) cos(w d) dw:
  Gauss-Markov S = 2 sd^2 l/(1 + (w l)^2) (Uhlenbeck & Ornstein 1930), damped S = 4 z sd^2 l/((1 - (w l)^2)^2 + (2 z w l)^2), the
  response of mass, spring and damper to white noise; at z = 1 the smooth one (Matern 3/2).
- Exact recurrence over a step from the state equation: Phi by SciPy's matrix exponential, stationary P by its Lyapunov
  solver, Q by Van Loan's block exponential (IEEE Trans. Autom. Control 23:395-404, 1978), over more than a reach P - Phi P Phi'.
- Variance that linear interpolation between exact points keeps, averaged over the gap: 1 - (1 - rho)/3, rho the
  correlation of neighbours.
"""

import math

import numpy as np
from scipy import integrate, linalg

SHAPES = {
    "gauss_markov": (lambda w: 2 / (1 + w * w), lambda m: np.array([[-m]])),
    "smooth": (lambda w: 4 / (1 + w * w) ** 2, lambda m: np.array([[0, 1], [-m * m, -2 * m]])),
}
DAMPINGS = {"gauss_markov": None, "smooth": 1.0}


def damped(z):
    return (
        lambda w: 4 * z / ((1 - w * w) ** 2 + (2 * z * w) ** 2),
        lambda m: np.array([[0, 1], [-m * m, -2 * z * m]]),
    )


for z in (0.35, 0.68, 2.5):
    SHAPES[f"damped {z}"] = damped(z)
    DAMPINGS[f"damped {z}"] = z


def autocovariance(density, lag):
    """Of unit variance and unit reach."""
    if lag == 0:
        return integrate.quad(density, 0, np.inf, epsabs=1e-13)[0] / math.pi
    return (
        integrate.quad(density, 0, np.inf, weight="cos", wvar=lag, epsabs=1e-12, limlst=500)[0] / math.pi
    )


def recurrence(drift, sd, reach, step, damping):
    m, n = 1 / reach, len(drift)
    # Driving intensity that gives the stationary variance sd^2.
    intensity = 2 * m * sd**2 if n == 1 else 4 * damping * m**3 * sd**2
    drive = np.zeros((n, n))
    drive[-1, -1] = intensity
    stationary = linalg.solve_continuous_lyapunov(drift, -drive)
    assert abs(stationary[0, 0] / sd**2 - 1) < 1e-9
    block = linalg.expm(np.block([[-drift, drive], [np.zeros((n, n)), drift.T]]) * step)
    phi = block[n:, n:].T
    if step > reach:
        # The block holds e^(+step) too, which drowns a fast root; the difference cancels for short steps only.
        return phi, stationary - phi @ stationary @ phi.T, stationary
    return phi, phi @ block[:n, n:], stationary


def values():
    out = dict(autocovariance=[], recurrence=[], interpolation=[])
    for shape, (density, drift) in SHAPES.items():
        for sd, reach in ((0.035, 12.0), (0.007, 0.5)):
            for lags in (0.0, 0.05, 0.3, 1.0, 2.5):
                out["autocovariance"].append(
                    dict(
                        shape=shape,
                        damping=DAMPINGS[shape],
                        sd=sd,
                        reach=reach,
                        lag=lags * reach,
                        covariance=sd**2 * autocovariance(density, lags),
                    )
                )
            for ratio in (0.02, 0.2, 1.0, 6.0):
                phi, spread, stationary = recurrence(drift(1 / reach), sd, reach, ratio * reach, DAMPINGS[shape])
                out["recurrence"].append(
                    dict(
                        shape=shape,
                        damping=DAMPINGS[shape],
                        sd=sd,
                        reach=reach,
                        step=ratio * reach,
                        phi=phi,
                        spread=spread,
                        stationary=stationary,
                    )
                )
        rho = autocovariance(density, 1 / 200)
        out["interpolation"].append(dict(shape=shape, damping=DAMPINGS[shape], points_per_reach=200, kept=1 - (1 - rho) / 3))
    return out
