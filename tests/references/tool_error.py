"""Variance of the tool error and of the axle, source by source, from transfer functions written out in NumPy.

Small angles, no limits; delays exact. Vehicle, driver and hitch are the single-track kinematics of the crate's
documentation, derived by hand; each source with two-sided density S adds (1/pi) integral_0^inf |H|^2 S dw, by composite
Gauss-Legendre quadrature, done twice with different panels.

The controller is sampled. The feedback of the PID is closed with the exact pulse transfer function of the held plant
(python-control state space of `control_loops`); closing it with the continuous plant and the hold's frequency response
instead, which leaves the images above half the frame rate out of the loop gain, changes no sd here by more than 5e-5. Noises that exist at frames only have the density of a sampled Gauss-Markov sequence.
"""

import math

import numpy as np

from control_loops import held_plant, pulse, simc

DEGREE = math.pi / 180

BASE = dict(
    wheelbase_m=2.5,
    steer_lag_s=0.2,
    driver="hand",
    preview_min_m=8.0,
    preview_time_s=1.5,
    reaction_s=0.25,
    seeing=[0.035, 12.0],
    steering=[0.4 * DEGREE, 0.5],
    receiver=[0.0, 1.0],
    drift=[0.0, 1.0],
    frequency_rad_s=0.0,
    damping=0.0,
    row=[0.030, 12.5],
    hitch_m=0.0,
    carrier_m=0.0,
    sway=[0.0, 3.0],
    tool_line_m=2.2,
    lookahead_m=0.8,
    frame_s=0.04,
    latency_s=0.08,
    white_sd_m=0.0,
    rows_seen=4,
    appearance=[0.012, 1.0],
    roll_height_m=1.2,
    roll_still_sd_rad=0.0,
    roll_ground_sd_rad=0.34 * DEGREE,
    roll_reference_m_s=2.0,
    roll_time_s=0.15,
    low_pass_s=0.0,
    dead_time_s=0.03,
    spool_lag_s=0.06,
    pid=simc(0.13, 0.13, 0.06),
    gain_1_s=5.0,
    feed_forward=0.0,
    yaw_noise=[0.1 * DEGREE, 0.5],
)

MACHINES = {
    "rear": {},
    "rear with sway, white noise and roll at standstill": dict(
        sway=[0.006, 3.0], white_sd_m=0.003, roll_still_sd_rad=0.2 * DEGREE, lookahead_m=1.4
    ),
    "front": dict(tool_line_m=-3.7, lookahead_m=0.9),
    "drawn": dict(hitch_m=1.0, carrier_m=3.0, tool_line_m=4.0, lookahead_m=1.2),
    "satellite": dict(
        driver="satellite",
        frequency_rad_s=0.8,
        damping=0.7,
        receiver=[0.012, 1.5],
        drift=[0.010, 60.0],
    ),
    "low-pass": dict(low_pass_s=0.12),
    "feed forward": dict(feed_forward=1.0, lookahead_m=1.0),
}

CONTROLLERS = ("locked", "pid", "lag_compensated", "lag_compensated_yaw")
SPEEDS_M_S = [4 / 3.6, 8 / 3.6, 12 / 3.6]


def panels(fine):
    """Nodes and weights over (0, 1e8] rad/s: panels short against the fastest phase (about 12 s of delay) up to
    2000 rad/s; above, where only the tail of sway that no controller can follow is left, in geometric steps."""
    parts = [(1e-9, 0.2, 40), (0.2, 10.0, 200), (10.0, 200.0, 400), (200.0, 2000.0, 2500)]
    low = [np.linspace(a, b, int(n * fine) + 1)[:-1] for a, b, n in parts]
    edges = np.concatenate([*low, np.geomspace(2000.0, 1e8, int(200 * fine) + 1)])
    x, weight = np.polynomial.legendre.leggauss(16)
    half = np.diff(edges)[:, None] / 2
    return ((edges[:-1, None] + half) + half * x).ravel(), (half * weight).ravel()


def gauss_markov(w, sd, t):
    return 2 * sd**2 * t / (1 + (w * t) ** 2)


def smooth(w, sd, t):
    return 4 * sd**2 * t / (1 + (w * t) ** 2) ** 2


def at_frames(w, sd, t, frame):
    r = math.exp(-frame / t) if t > 0 else 0.0
    return sd**2 * frame * (1 - r**2) / np.abs(1 - r * np.exp(-1j * w * frame)) ** 2


def one_minus_delay(w, t):
    """1 - e^(-jwt) without cancellation."""
    return 2 * np.sin(w * t / 2) ** 2 + 1j * np.sin(w * t)


class Machine:
    def __init__(self, p, v, w):
        self.p, self.v, self.w, s = p, v, w, 1j * w
        self.s = s
        self.delay = lambda t: np.exp(-s * t)
        frame = p["frame_s"]
        self.back, self.fall = self.delay(frame), one_minus_delay(w, frame)
        self.hold = self.fall / (s * frame)
        if p["low_pass_s"] > 0:
            g = -math.expm1(-frame / p["low_pass_s"])
            self.filter = g / (1 - (1 - g) * self.back)
            self.filter_delay = frame * (1 - g) / g
        else:
            self.filter, self.filter_delay = 1.0, 0.0

    def axle(self):
        """Offset of the axle per unit of each source that moves it."""
        p, v, s = self.p, self.v, self.s
        if p["driver"] == "satellite":
            f, z = p["frequency_rad_s"], p["damping"]
            y = -(f**2) / (s**2 * (1 + p["steer_lag_s"] * s) + 2 * z * f * s + f**2)
            return dict(receiver=y, drift=y)
        length = p["wheelbase_m"]
        d = max(p["preview_min_m"], v * p["preview_time_s"])
        vehicle = v**2 / (length * s**2 * (1 + p["steer_lag_s"] * s))
        hand = 2 * length / d**2 * self.delay(p["reaction_s"])
        den = 1 + vehicle * hand * (1 + d * s / v)
        return dict(
            row=vehicle * hand * np.exp(s * d / v) / den,
            seeing=-vehicle * hand / den,
            steering=vehicle / den,
        )

    def carried(self, x):
        """Lateral position of a point x behind the axle per offset of the axle."""
        p, s, v = self.p, self.s, self.v
        if p["carrier_m"] == 0.0:
            return 1 - x * s / v
        hitch = 1 - p["hitch_m"] * s / v
        return hitch - (x - p["hitch_m"]) * (s / v) * hitch / (1 + p["carrier_m"] * s / v)

    def heading(self):
        """Heading that the yaw-rate sensor turns with, per offset of the axle."""
        p, s, v = self.p, self.s, self.v
        if p["carrier_m"] == 0.0:
            return s / v
        return (s / v) * (1 - p["hitch_m"] * s / v) / (1 + p["carrier_m"] * s / v)

    def lever(self):
        p = self.p
        return p["tool_line_m"] - p["hitch_m"] - p["carrier_m"]

    def densities(self):
        p, v, w = self.p, self.v, self.w
        roll = math.hypot(
            p["roll_still_sd_rad"], p["roll_ground_sd_rad"] * math.sqrt(v / p["roll_reference_m_s"])
        )
        frame, length = p["frame_s"], lambda pair: (pair[0], pair[1] / v)
        return dict(
            row=smooth(w, *length(p["row"])),
            seeing=gauss_markov(w, *length(p["seeing"])),
            steering=gauss_markov(w, *p["steering"]),
            receiver=gauss_markov(w, *p["receiver"]),
            drift=gauss_markov(w, *p["drift"]),
            sway=gauss_markov(w, *length(p["sway"])),
            white=at_frames(w, p["white_sd_m"], 0.0, frame),
            appearance=at_frames(
                w, p["appearance"][0] / math.sqrt(p["rows_seen"]), p["appearance"][1] / v, frame
            ),
            roll=at_frames(w, roll * p["roll_height_m"], p["roll_time_s"], frame),
            yaw_sensor=gauss_markov(w, *p["yaw_noise"]),
        )

    def pid(self):
        p, t = self.p, self.p["frame_s"]
        g = p["pid"]
        c = g["gain_1_s"] * (
            1
            + t / g["integral_s"] / self.fall
            + g["derivative_s"]
            * self.fall
            / ((g["derivative_filter_s"] + t) - g["derivative_filter_s"] * self.back)
        )
        forward = (
            c
            * self.filter
            * self.hold
            * self.delay(p["latency_s"] + p["dead_time_s"])
            / (self.s * (1 + p["spool_lag_s"] * self.s))
        )
        plant = held_plant(p["latency_s"] + p["dead_time_s"], p["spool_lag_s"], t)
        return forward / (1 + c * self.filter * pulse(plant, 1 / self.back))

    def lag_parts(self):
        p, s, t, v = self.p, self.s, self.p["frame_s"], self.v
        k, f = p["gain_1_s"], p["feed_forward"]
        inner = (k + f * self.fall / t) * self.fall / (1 - (1 - k * t) * self.back)
        act = self.delay(p["dead_time_s"]) / (1 + p["spool_lag_s"] * s) * self.hold / s * inner
        ahead = p["dead_time_s"] + p["spool_lag_s"] + (1 - f) / k
        age = max(p["lookahead_m"] / v - ahead - self.filter_delay, p["latency_s"])
        frames = (age - p["latency_s"]) / t
        whole = math.floor(frames + 1e-9)
        between = self.delay(p["latency_s"] + whole * t) * (1 - (frames - whole) * self.fall)
        return act, between, ahead, age + self.filter_delay

    def tool_error(self, controller):
        """Tool error per unit of each source."""
        p, s, v = self.p, self.s, self.v
        x_t = p["tool_line_m"]
        x_c = x_t - p["lookahead_m"]
        axle = self.axle()
        zero = np.zeros_like(s)
        row = {"row": 1.0}
        camera = {"white", "appearance", "roll"}
        if controller == "pid":
            act, seen_by = self.pid(), 1.0
        elif controller == "locked":
            act, seen_by = zero, 0.0
        else:
            act, between, ahead, past = self.lag_parts()
            seen_by = between * self.filter
        out = {}
        for source in self.densities():
            y = axle.get(source, zero)
            at_row, at_sway = row.get(source, 0.0), 1.0 if source == "sway" else 0.0
            wanted = at_row * self.delay(x_t / v) - y * self.carried(x_t) - at_sway
            seen = at_row * self.delay(x_c / v) - y * self.carried(x_c) - at_sway
            seen = seen + (1.0 if source in camera else 0.0)
            shift = act * seen_by * seen
            if controller == "lag_compensated_yaw":
                fall, kept = one_minus_delay(self.w, past), self.delay(past)
                turn = y * self.heading()
                shift = shift + act * turn * (
                    self.lever() * (fall + s * ahead)
                    - v * (fall / s - past * kept + ahead * fall + s * ahead**2 / 2)
                )
                if source == "yaw_sensor":
                    shift = shift + act * (
                        self.lever() * (fall / s + ahead)
                        - v * (fall / s**2 - past * kept / s + ahead * fall / s + ahead**2 / 2)
                    )
            out[source] = shift - wanted
        return out

    def wander(self):
        """Axle from the row at its station (satellite: from the line), per unit of each source."""
        axle = dict(self.axle())
        if "row" in axle:
            axle["row"] = axle["row"] - 1.0
        return axle


def variances(machine, response, weight):
    density = machine.densities()
    return {
        source: float((np.abs(h) ** 2 * density[source] * weight).sum() / math.pi)
        for source, h in response.items()
    }


def study(p, v, fine):
    w, weight = panels(fine)
    machine = Machine(p, v, w)
    by_controller = {c: variances(machine, machine.tool_error(c), weight) for c in CONTROLLERS}
    return by_controller, variances(machine, machine.wander(), weight)


def values():
    machines, cases, axles = [], [], []
    for name, change in MACHINES.items():
        p = BASE | change
        machines.append(dict(name=name) | p)
        for v in SPEEDS_M_S:
            by_controller, wander = study(p, v, 1.0)
            again = study(p, v, 1.37)[0] if v == SPEEDS_M_S[0] else by_controller
            axles.append(
                dict(machine=name, speed_m_s=v, sd_m=math.sqrt(sum(wander.values())), variance_m2=wander)
            )
            for controller, by_source in by_controller.items():
                total = sum(by_source.values())
                assert abs(total / sum(again[controller].values()) - 1) < 1e-6, (name, v, controller)
                cases.append(
                    dict(
                        machine=name,
                        speed_m_s=v,
                        controller=controller,
                        sd_m=math.sqrt(total),
                        variance_m2=by_source,
                    )
                )
    return dict(machines=machines, tool_errors=cases, axles=axles)
