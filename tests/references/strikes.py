"""Share of plants struck for a Gaussian tool error.

A plant needs the clearance max(p - e + rho, -p + e + rho) with its scatter p ~ N(0, scatter) and the tool error
e ~ N(mean, sd); struck above c. Double integral over e and p by SciPy (`quad` over e of SciPy's normal distribution of p),
not the closed form 2 (1 - Phi((c - rho)/sqrt(sd^2 + scatter^2))) that it must equal for a mean of 0.
"""

import numpy as np
from scipy import integrate, stats


def probability(clearance, radius, sd, scatter, mean):
    gap = clearance - radius

    def struck_at(e):
        return stats.norm.sf(gap, -e, scatter) + stats.norm.cdf(-gap, -e, scatter)

    density = stats.norm(mean, sd)
    edges = mean + sd * np.linspace(-12, 12, 49)
    return sum(
        integrate.quad(lambda e: struck_at(e) * density.pdf(e), low, high, epsabs=1e-14, epsrel=1e-11)[0]
        for low, high in zip(edges[:-1], edges[1:])
    )


def values():
    cases = []
    for sd in (0.010, 0.025):
        for mean in (0.0, 0.008):
            for clearance in (0.030, 0.040, 0.050, 0.060, 0.080):
                radius, scatter = 0.015, 0.010
                cases.append(
                    dict(
                        clearance_m=clearance,
                        protected_radius_m=radius,
                        tool_error_sd_m=sd,
                        tool_error_mean_m=mean,
                        scatter_sd_m=scatter,
                        probability=probability(clearance, radius, sd, scatter, mean),
                    )
                )
    for case in cases:
        if case["tool_error_mean_m"] == 0.0:
            sigma = np.hypot(case["tool_error_sd_m"], case["scatter_sd_m"])
            closed = 2 * stats.norm.sf((case["clearance_m"] - case["protected_radius_m"]) / sigma)
            assert abs(case["probability"] / closed - 1) < 1e-8
    return dict(gaussian=cases)
