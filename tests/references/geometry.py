"""Row geometry and steady turns.

- Bend of a line whose curvature is piecewise linear: the double integral of the curvature by SciPy's `quad`, and the exact
  plane curve, integrated by SciPy's DOP853 and looked at from the tangent at the station.
- Steady turns: exact plane kinematics of a tractor's rear axle on a circle with a rolling carrier behind it, integrated until
  it stands still (SciPy), held against the textbook off-tracking sqrt(R^2 + x^2) - R and R - sqrt(R^2 + h^2 - l^2).
- Driver on an arc: the exact steady state of single-track kinematics and steering law by SciPy's brentq.
"""

import math

from scipy import integrate, optimize

LINES = [
    [dict(start_m=20.0, length_m=400.0, curvature_start_1_m=0.01, curvature_end_1_m=0.01)],
    [
        dict(start_m=10.0, length_m=12.0, curvature_start_1_m=0.0, curvature_end_1_m=0.02),
        dict(start_m=22.0, length_m=15.0, curvature_start_1_m=0.02, curvature_end_1_m=0.02),
        dict(start_m=37.0, length_m=9.0, curvature_start_1_m=0.02, curvature_end_1_m=-0.015),
        dict(start_m=50.0, length_m=20.0, curvature_start_1_m=-0.015, curvature_end_1_m=0.004),
    ],
]


def curvature(line, s):
    for bend in line:
        along = s - bend["start_m"]
        if 0.0 <= along < bend["length_m"]:
            share = along / bend["length_m"]
            return bend["curvature_start_1_m"] * (1 - share) + bend["curvature_end_1_m"] * share
    return 0.0


def edges(line, low, high):
    inner = [e for b in line for e in (b["start_m"], b["start_m"] + b["length_m"]) if low < e < high]
    return [low, *sorted(set(inner)), high]


def double_integral(line, s, x):
    """integral_0^x (x - u) k(s - u) du, piece by piece; x < 0 looks ahead."""
    low, high = min(s, s - x), max(s, s - x)
    total = 0.0
    for a, b in zip(edges(line, low, high)[:-1], edges(line, low, high)[1:]):
        total += integrate.quad(
            lambda t: abs(t - (s - x)) * curvature(line, t), a, b, epsabs=1e-15
        )[0]
    return total


def plane_lateral(line, s, x):
    """Lateral position of the curve's point at s - x in the frame of its tangent at s."""
    state = [0.0, 0.0, 0.0]
    stops = edges(line, min(s, s - x), max(s, s - x))
    stops = stops[::-1] if x > 0 else stops
    for a, b in zip(stops[:-1], stops[1:]):
        def slope(t, y, low=min(a, b), high=max(a, b)):
            k = curvature(line, min(max(t, low + 1e-12), high - 1e-12))
            return [math.cos(y[2]), math.sin(y[2]), k]

        state = integrate.solve_ivp(
            slope, (a, b), state, method="DOP853", rtol=1e-12, atol=1e-14
        ).y[:, -1]
    return state[1]


def bends():
    for number, line in enumerate(LINES):
        for s in (5.0, 15.0, 21.0, 24.0, 33.0, 41.5, 48.0, 55.0, 80.0):
            for x in (-8.0, -3.5, 0.6, 2.2, 4.0, 6.0):
                yield dict(
                    line=number,
                    station_m=s,
                    behind_m=x,
                    bend_m=double_integral(line, s, x),
                    plane_m=plane_lateral(line, s, x),
                )


def turn(radius, points):
    """Offsets (left = inside positive) of points behind the axle of a tractor on a left circle. A point is
    (hitch, carrier, behind the hitch); without a carrier it is rigid."""
    for hitch, carrier, behind in points:
        if carrier is None:
            offset = radius - math.hypot(radius, behind)
            closed = offset
        else:
            # Exact: psi' = v/R; the carrier's wheels roll without slip behind a hitch h behind the axle.
            def relative(t, y):
                yaw = 1.0 / radius
                theta = y[0]  # carrier heading minus tractor heading
                along, across = 1.0, -hitch * yaw
                return [(-math.sin(theta) * along + math.cos(theta) * across) / carrier - yaw]

            theta = integrate.solve_ivp(
                relative, (0, 60 * carrier), [0.0], method="DOP853", rtol=1e-12, atol=1e-14
            ).y[0, -1]
            # Tractor axle at (0, 0) heading +x, centre of the circle at (0, R).
            x = -hitch - behind * math.cos(theta)
            y = -behind * math.sin(theta)
            offset = radius - math.hypot(x, radius - y)
            closed = (
                radius - math.sqrt(radius**2 + hitch**2 - carrier**2) if behind == carrier else offset
            )
        assert abs(offset - closed) < 1e-9
        yield dict(
            radius_m=radius, hitch_m=hitch, carrier_m=carrier, behind_m=behind, offset_m=offset
        )


def driver_on_arc(radius, wheelbase, preview):
    """Steady offset (left = inside positive) of the hand driver's rear axle: zero heading error, so that
    tan(delta) = L k/(1 - k y) and delta = -(2 L/d^2)(y - k d^2/2)."""
    k = 1.0 / radius

    def unbalance(y):
        return -(2 * wheelbase / preview**2) * (y - k * preview**2 / 2) - math.atan(
            wheelbase * k / (1 - k * y)
        )

    exact = optimize.brentq(unbalance, -1.0, 1.0, xtol=1e-15)
    closed = preview**2 / (2 * wheelbase) * (wheelbase * k - math.atan(wheelbase * k))
    assert abs(exact - closed) < 0.02 * abs(closed)
    return dict(
        radius_m=radius,
        wheelbase_m=wheelbase,
        preview_m=preview,
        offset_m=exact,
        closed_form_m=closed,
    )


def values():
    return dict(
        lines=LINES,
        bends=list(bends()),
        turns=list(
            turn(
                100.0,
                [(0.0, None, 2.2), (0.0, None, -3.5), (1.0, 3.0, 3.0), (1.0, 3.0, 4.0), (0.8, 2.0, 1.2)],
            )
        )
        + list(turn(40.0, [(0.0, None, 2.2), (1.0, 3.0, 3.0)])),
        drivers=[driver_on_arc(100.0, 2.5, 8.0), driver_on_arc(50.0, 2.8, 10.0)],
    )
