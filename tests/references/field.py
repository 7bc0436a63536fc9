"""Places on a plane from geographiclib, and an unbalanced two-way case from statsmodels.

The plane: east and north of a point by the inverse geodesic problem are those of a tangent plane but for d^3/(6 R^2), 0.004 mm at 1 km and less nearer by;
distances are kept below that. The readings: rows fixed, places random, by restricted likelihood.
"""

import math

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf
from geographiclib.geodesic import Geodesic


def planes():
    out = []
    for latitude, longitude in [(52.0, 9.0), (-33.4, -70.6), (0.0, 179.9999), (69.5, 25.0)]:
        for distance_m, azimuth in [(3.0, 20.0), (60.0, 95.0), (400.0, 200.0), (800.0, 310.0)]:
            point = Geodesic.WGS84.Direct(latitude, longitude, azimuth, distance_m)
            out.append(
                dict(
                    origin_deg=[latitude, longitude],
                    place_deg=[point["lat2"], point["lon2"]],
                    east_m=distance_m * math.sin(math.radians(azimuth)),
                    north_m=distance_m * math.cos(math.radians(azimuth)),
                )
            )
    return out


def values():
    rng = np.random.default_rng(7)
    rows = np.array([-3.0, 1.0, 4.0, -2.0])
    readings = []
    for place in range(9):
        moment = rng.normal(0.0, 7.0)
        for row in range(4):
            value = round(5.0 + rows[row] + moment + rng.normal(0.0, 3.0), 1)
            if (3 * place + row) % 7 != 0:
                readings.append([place, row, value])
    table = pd.DataFrame(readings, columns=["place", "row", "value"])
    fit = smf.mixedlm("value ~ 0 + C(row)", table, groups=table["place"]).fit(reml=True, method="lbfgs")
    means = fit.fe_params.to_numpy()
    covariance = fit.cov_params().to_numpy()[:4, :4]
    even = np.full(4, 0.25)
    return dict(
        planes=planes(),
        readings=readings,
        # Where the search stops moves the last digits: as many as the search is asked for are kept.
        mean=round(float(even @ means), 5),
        mean_se=round(float(np.sqrt(even @ covariance @ even)), 4),
        row_offsets=[round(float(m - means.mean()), 5) for m in means],
        place_sd=round(float(np.sqrt(fit.cov_re.iloc[0, 0])), 4),
        scatter_sd=round(float(np.sqrt(fit.scale)), 4),
    )
