"""Actuator, closed PID loop with delay, margins, SIMC.

- Actuator e^(-s T_v)/(s (T_s s + 1)): responses by python-control.
- The PID runs once a frame on row minus shift at the exposure and acts T_c later through the dead time; the command holds.
  Held plant with its fractional delay in state space (textbook zero-order hold with delay, Astrom & Wittenmark,
  Computer-Controlled Systems, section 2.3) by SciPy's matrix exponential; loop closed, stepped and evaluated by
  python-control.
- Margins: python-control's `stability_margins` on the exact frequency data of that sampled loop; its interpolation
  between data points is made harmless by a dense grid, and checked against SciPy's brentq on the exact function.
- SIMC: half rule and tuning written from Skogestad, J. Process Control 13:291-309, 2003; published example tau 2.5,
  theta 1.47 (first order), 2, 1.2, 0.77 (second order), K_c 0.850, tau_I 2.5; published margins of tau_I = 8 theta,
  tau_c = theta: gain 2.96, phase 46.9 deg, delay 1.59 theta, M_s 1.70 (quoted from memory, recomputed here).
"""

import cmath
import math

import control
import numpy as np
from scipy import linalg, optimize


def simc(tau_c, dead, lag):
    """Integrating plant, series PID converted to parallel: K_p, T_i, T_d; derivative filter T_d/10."""
    k_c, tau_i, tau_d = 1 / (tau_c + dead), 4 * (tau_c + dead), lag
    factor = 1 + tau_d / tau_i
    pid = dict(gain_1_s=k_c * factor, integral_s=tau_i * factor, derivative_s=tau_d / factor)
    return pid | dict(derivative_filter_s=pid["derivative_s"] / 10)


def held_plant(dead, lag, frame):
    """State-space system (python-control, sampled each frame): held command in m/s to shift in m after `dead`."""
    whole, part = divmod(dead, frame)
    whole = int(whole)
    if frame - part < 1e-12:
        whole, part = whole + 1, 0.0
    if lag > 0:
        a, b, c = np.array([[-1 / lag, 0], [1.0, 0]]), np.array([[1 / lag], [0.0]]), [0.0, 1.0]
    else:
        a, b, c = np.array([[0.0]]), np.array([[1.0]]), [1.0]
    n = len(a)

    def step(t):
        block = linalg.expm(np.block([[a, b], [np.zeros((1, n + 1))]]) * t)
        return block[:n, :n], block[:n, n:]

    phi, _ = step(frame)
    late_phi, new = step(frame - part)
    _, old = step(part)
    old = late_phi @ old
    # States: plant, then the commands of the last `whole + 1` frames, newest first.
    size = n + whole + 1
    full_a, full_b = np.zeros((size, size)), np.zeros((size, 1))
    full_a[:n, :n] = phi
    full_a[:n, n + whole] = old[:, 0]
    if whole == 0:
        full_b[:n] = new
    else:
        full_a[:n, n + whole - 1] += new[:, 0]
    full_b[n, 0] = 1.0
    for k in range(whole):
        full_a[n + k + 1, n + k] = 1.0
    return control.ss(full_a, full_b, np.r_[c, np.zeros(whole + 1)], 0, dt=frame)


def pulse(plant, z):
    """C (z I - A)^-1 B at one z or at an array of them."""
    z = np.asarray(z)[..., None, None]
    right = np.broadcast_to(plant.B, z.shape[:-2] + plant.B.shape)
    return (plant.C @ np.linalg.solve(z * np.eye(len(plant.A)) - plant.A, right))[..., 0, 0]


def pid_system(pid, frame):
    z = control.tf("z")
    z.dt = frame
    back = 1 / z
    back.dt = frame
    filtered = pid["derivative_filter_s"]
    parts = [frame / pid["integral_s"] / (1 - back)]
    if pid["derivative_s"] > 0:
        parts.append(pid["derivative_s"] * (1 - back) / ((filtered + frame) - filtered * back))
    return pid["gain_1_s"] * (1 + sum(control.ss(control.minreal(p, verbose=False)) for p in parts))


def loop_value(case):
    """Exact open loop at w, without any polynomial: used for margins."""
    plant = held_plant(case["latency_s"] + case["dead_time_s"], case["spool_lag_s"], case["frame_s"])
    pid, t = case["pid"], case["frame_s"]

    def value(w):
        back = cmath.exp(-1j * w * t)
        filtered = pid["derivative_filter_s"]
        c = pid["gain_1_s"] * (
            1
            + t / pid["integral_s"] / (1 - back)
            + pid["derivative_s"] * (1 - back) / ((filtered + t) - filtered * back)
        )
        return c * pulse(plant, 1 / back)

    return value


def margins_of(value, low, high):
    """Gain margin, phase margin (rad), modulus margin and the two crossover frequencies."""
    w = np.geomspace(low, high, 6001)
    data = np.array([value(x) for x in w])
    gain, phase, modulus, w_phase, w_gain, w_modulus = control.stability_margins(
        control.frd(data, w), returnall=False
    )

    def near(w0, function):
        return optimize.brentq(function, w0 * 0.98, w0 * 1.02, xtol=1e-13)

    w_cross = near(w_gain, lambda x: abs(value(x)) - 1)
    exact_phase = cmath.phase(-value(w_cross))
    w_turn = near(w_phase, lambda x: value(x).imag)
    exact_gain = -1 / value(w_turn).real
    exact_modulus = optimize.minimize_scalar(
        lambda x: abs(1 + value(x)),
        bounds=(w_modulus * 0.97, w_modulus * 1.03),
        method="bounded",
        options=dict(xatol=1e-12),
    ).fun
    assert abs(math.degrees(exact_phase) - phase) < 0.05
    assert abs(exact_gain / gain - 1) < 1e-3
    assert abs(exact_modulus / modulus - 1) < 1e-3
    return dict(
        gain_margin=exact_gain,
        phase_margin_rad=exact_phase,
        modulus_margin=exact_modulus,
        crossover_rad_s=w_cross,
    )


def loops():
    for frame, latency, dead, lag, tau_c in (
        (0.04, 0.08, 0.03, 0.06, 0.13),
        (0.04, 0.08, 0.03, 0.06, 0.30),
        (0.10, 0.15, 0.05, 0.10, 0.25),
        (1 / 30, 0.05, 0.0, 0.0, 0.10),
        (0.02, 0.12, 0.08, 0.15, 0.20),
    ):
        pid = simc(tau_c, latency + dead + frame / 2, lag)
        case = dict(
            frame_s=frame,
            latency_s=latency,
            dead_time_s=dead,
            spool_lag_s=lag,
            tau_c_s=tau_c,
            pid=pid,
        )
        case |= margins_of(loop_value(case), 0.05, math.pi / frame * 0.9999)
        plant = held_plant(latency + dead, lag, frame)
        closed = control.feedback(pid_system(pid, frame) * plant, 1)
        assert np.all(np.abs(closed.poles()) < 1)
        times = np.arange(0, 60) * frame
        _, shift = control.step_response(closed, times)
        w = np.array([0.5, 2.0, 5.0, 10.0, 20.0])
        response = closed(np.exp(1j * w * frame))
        yield case | dict(
            step_of_shift=shift,
            response=[[x, y.real, y.imag] for x, y in zip(w, response)],
        )


def actuators():
    for dead, lag in ((0.03, 0.06), (0.08, 0.2)):
        system = control.tf([1], [lag, 1, 0])
        times = np.linspace(0, 1, 21)
        _, late = control.step_response(system, np.linspace(0, 1, 20001))
        w = np.array([0.5, 3.0, 10.0, 40.0])
        yield dict(
            dead_time_s=dead,
            spool_lag_s=lag,
            step=[[t, np.interp(t - dead, np.linspace(0, 1, 20001), late)] for t in times],
            response=[[x, y.real, y.imag] for x, y in zip(w, system(1j * w) * np.exp(-1j * w * dead))],
        )


def half_rule(lags, inverse, keep):
    """Skogestad's half rule: keep `keep` lags, half of the next joins the last kept and half the dead time."""
    lags = sorted(lags, reverse=True)
    kept, next_lag, rest = lags[:keep], lags[keep], lags[keep + 1 :]
    kept[-1] += next_lag / 2
    return kept, next_lag / 2 + sum(rest) + inverse


def published_simc():
    # g = (-0.3 s + 1)(0.08 s + 1)/((2 s + 1)(s + 1)(0.4 s + 1)(0.2 s + 1)(0.05 s + 1)^3); the lead 0.08 cancels against
    # the lag 0.2 (rule T3: (0.08 s + 1)/(0.2 s + 1) ~ 1/(0.12 s + 1)) only in the second-order model.
    first, dead_1 = half_rule([2, 1, 0.4, 0.2, 0.05, 0.05, 0.05], 0.3 - 0.08, 1)
    second, dead_2 = half_rule([2, 1, 0.4, 0.12, 0.05, 0.05, 0.05], 0.3, 2)
    assert np.allclose([*first, dead_1], [2.5, 1.47]) and np.allclose([*second, dead_2], [2, 1.2, 0.77])
    k_c, tau_i = first[0] / (2 * dead_1), min(first[0], 8 * dead_1)
    assert abs(k_c - 0.850) < 5e-4 and abs(tau_i - 2.5) < 1e-12
    # The lag-dominant limit of the rule is the integrating plant with slope 1/tau: same K_c tau.
    th = 1.0

    def value(w):
        s = 1j * w
        return cmath.exp(-s * th) / s / (2 * th) * (1 + 1 / (8 * th * s))

    found = margins_of(value, 0.05, 6.0)
    delay = found["phase_margin_rad"] / found["crossover_rad_s"]
    assert abs(found["gain_margin"] - 2.96) < 0.01
    assert abs(math.degrees(found["phase_margin_rad"]) - 46.9) < 0.05
    assert abs(delay - 1.59) < 0.01 and abs(1 / found["modulus_margin"] - 1.70) < 0.01
    return dict(
        first_order=dict(lag_s=first[0], dead_time_s=dead_1, k_c=k_c, tau_i_s=tau_i),
        second_order=dict(lag_s=second[0], second_lag_s=second[1], dead_time_s=dead_2),
        k_c_second_order=second[0] / (2 * dead_2),
        integrating_margins=found | dict(dead_time_s=th, delay_margin_s=delay),
        integrating=[dict(tau_c_s=a, dead_time_s=b, lag_s=c) | simc(a, b, c) for a, b, c in (
            (0.13, 0.13, 0.06), (0.77, 0.77, 1.2), (0.2, 0.3, 0.0))],
    )


def values():
    return dict(actuators=list(actuators()), loops=list(loops()), simc=published_simc())
