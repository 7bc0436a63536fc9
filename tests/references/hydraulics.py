"""Cylinder speed, flow, pressure and force; valve speed of an unequal cylinder.

- Textbook exercises (v = Q/A, F = p A): 36 L/min into a 40 mm bore gives 28 648 mm/min; a 110 mm bore against 8.8 kN at
  12 m/min needs 9.26 bar and 114 L/min. US rules v[ft/s] = 0.3208 Q[gpm]/A[in^2], hp = Q[gpm] p[psi]/1714.
- Valve: both metering edges written out as orifices, p_s - p_1 = dp_r (A_in v/(Q_r))^2, p_2 - p_r = dp_r (A_out v/Q_r)^2,
  and the force balance p_1 A_in - p_2 A_out = F + R solved for v by SciPy's brentq.
"""

import math

from scipy import constants, optimize

LITRE_PER_MINUTE = constants.liter / constants.minute
GALLON_PER_MINUTE = constants.gallon / constants.minute
BAR = constants.bar


def circle(diameter):
    return math.pi * diameter**2 / 4


def exercises():
    bore = 0.040
    speed = 36 * LITRE_PER_MINUTE / circle(bore)
    assert abs(speed * 60e3 - 28648) < 0.5
    yield dict(
        what="36 L/min into a 40 mm bore", bore_m=bore, flow_m3_s=36 * LITRE_PER_MINUTE, speed_m_s=speed
    )
    bore = 0.110
    yield dict(
        what="110 mm bore, 8.8 kN, 12 m/min",
        bore_m=bore,
        flow_m3_s=circle(bore) * 0.2,
        speed_m_s=0.2,
        force_n=8800.0,
        pressure_pa=8800.0 / circle(bore),
    )
    # 3 gpm (US) into 2 in^2, by the US rule in its own units.
    gallons, square_inches = 3.0, 2.0
    yield dict(
        what="3 gpm (US) into 2 in^2 by v = 0.3208 Q/A ft/s (four digits)",
        bore_m=math.sqrt(square_inches * constants.inch**2 * 4 / math.pi),
        flow_m3_s=gallons * GALLON_PER_MINUTE,
        speed_m_s=0.3208 * gallons / square_inches * constants.foot,
    )


def valve_speed(case, extending):
    a1 = circle(case["bore_m"])
    a2 = a1 - circle(case["rod_m"])
    force = case["force_against_extension_n"]
    inlet, outlet, force = (a1, a2, force) if extending else (a2, a1, -force)

    def surplus(v):
        drop_in = case["rated_drop_pa"] * (inlet * v / case["rated_flow_m3_s"]) ** 2
        drop_out = case["rated_drop_pa"] * (outlet * v / case["rated_flow_m3_s"]) ** 2
        p1, p2 = case["supply_pa"] - drop_in, case["return_pa"] + drop_out
        return p1 * inlet - p2 * outlet - force - case["friction_n"]

    return 0.0 if surplus(0.0) <= 0 else optimize.brentq(surplus, 0.0, 50.0, xtol=1e-15, rtol=1e-14)


def valves():
    base = dict(
        bore_m=0.040,
        rod_m=0.020,
        supply_pa=180 * BAR,
        return_pa=5 * BAR,
        rated_flow_m3_s=12 * LITRE_PER_MINUTE,
        rated_drop_pa=5 * BAR,
        force_against_extension_n=0.0,
        friction_n=0.0,
        pump_m3_s=40 * LITRE_PER_MINUTE,
    )
    changes = [
        {},
        dict(force_against_extension_n=3000.0, friction_n=800.0),
        dict(force_against_extension_n=-6000.0, friction_n=500.0),
        dict(bore_m=0.063, rod_m=0.036, supply_pa=120 * BAR, rated_flow_m3_s=4 * LITRE_PER_MINUTE),
        dict(rod_m=0.0, pump_m3_s=5 * LITRE_PER_MINUTE),
        dict(supply_pa=20 * BAR, force_against_extension_n=2600.0),
        dict(supply_pa=60 * BAR, return_pa=25 * BAR, force_against_extension_n=-5000.0, friction_n=200.0),
    ]
    for change in changes:
        case = base | change
        a1 = circle(case["bore_m"])
        a2 = a1 - circle(case["rod_m"])
        for extending in (True, False):
            inlet, outlet = (a1, a2) if extending else (a2, a1)
            yield case | dict(
                extending=extending,
                metered_m_s=valve_speed(case, extending),
                unloaded_m_s=valve_speed(
                    case | dict(force_against_extension_n=0.0, friction_n=0.0), extending
                ),
                pump_m_s=case["pump_m3_s"] / inlet,
                stall_force_n=case["supply_pa"] * inlet - case["return_pa"] * outlet,
            )


def values():
    return dict(exercises=list(exercises()), valves=list(valves()))
