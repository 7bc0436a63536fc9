"""How fast is this program beside other ways to write the same simulation?

    cargo build --release
    python3 -m venv target/peers
    target/peers/bin/pip install -r benches/peers/requirements.txt
    target/peers/bin/python benches/peers/run.py                 # agreement, then times: about two minutes
    target/peers/bin/python benches/peers/run.py --agree-only    # agreement alone, as .ci/run does

Three programs compute the reduced model of `reduced.toml`: NumPy (`with_numpy.py`), numba (`with_numba.py`) and this crate.

First they must agree: tool-error sd and rates of cut plants within four joint standard errors. With some forty comparisons chance
alone breaks that in fewer than 0.3 % of seeds, and the seeds are fixed. Then the check is put to the test: numba with a
camera that is one frame late must not agree. Anything else ends with exit code 1 and without times.

Then all are timed in one run, in turns, after a warm-up that takes numba's compiling: time over ticks driven, the warm-up
of each pass included, by processor time of the thread; the second thread is judged by the clock. Ratios are taken within a round; the median over the rounds stands in the table. A target that is missed
is said to be missed; it is no error, because times depend on the machine.

Our side is `cargo bench --bench side_by_side`, which times inside one process, start-up left out, and prints lines like
{"engine": "ours", "threads": 1, "time": "processor", "ns_per_tick": 12.3, "ticks_per_pass": 25311}.
"""

import argparse
import json
import math
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import numba
import numpy as np

import reduced
import with_numba
import with_numpy

ROOT = Path(__file__).resolve().parents[2]
STUDY = [ROOT / "target" / "release" / ("rowroom.exe" if os.name == "nt" else "rowroom"), "study"]
OUR_TIMES = ["cargo", "bench", "--quiet", "--bench", "side_by_side"]

# Joint standard errors within which two programs agree.
WITHIN = 4.0
# A rate whose standard error is a greater share of it hangs on too few passes to compare.
RAREST = 0.25
# Normal quantile of the 95 % limits in results.json.
LIMITS = statistics.NormalDist().inv_cdf(0.975)

ROUNDS = 7
NUMBA_PASSES = 256

# What is asked for: slower over faster, and by how much at least. A time is (engine, threads, whose time).
# Our engine goes by the registers that it is compiled for, see `sim::Registers`.
AVX2, BASELINE = ("Avx2", 1, "processor"), ("Baseline", 1, "processor")
NUMBA = ("numba", 1, "processor")
TARGETS = [
    (NUMBA, AVX2, 4.0, "numba over ours, AVX2, thread against thread"),
    (("Avx2", 1, "clock"), ("Avx2", 2, "clock"), 1.9, "ours, AVX2, one thread over two"),
]
RATIOS = [
    (("numpy", 1, "processor"), AVX2, "NumPy over ours, AVX2, thread against thread"),
    (BASELINE, AVX2, "ours, baseline over AVX2"),
]


class Value(NamedTuple):
    """A number with its standard errors downwards and upwards."""

    value: float
    below: float
    above: float


def apart(a, b):
    """By how many joint standard errors two values differ."""
    low, high = sorted([a, b])
    return (high.value - low.value) / math.hypot(low.above, high.below)


def of_sums(sums, clearances_m):
    """What a peer found: tool-error sd and rates, with linearised standard errors over passes."""
    m, (n, e, ee, plants) = len(sums), sums[:, :4].T
    correction = m / (m - 1)
    mean = e.sum() / n.sum()
    sd = math.sqrt(ee.sum() / n.sum() - mean**2)
    moved = (ee - 2 * mean * e + (mean**2 - sd**2) * n) / n.sum()
    error = math.sqrt(correction * (moved**2).sum()) / (2 * sd)
    found = {"tool-error sd, mm": Value(1e3 * sd, 1e3 * error, 1e3 * error)}
    for clearance_m, struck in zip(clearances_m, sums[:, 4:].T):
        rate = struck.sum() / plants.sum()
        error = math.sqrt(correction * ((struck - rate * plants) ** 2).sum()) / plants.sum()
        found[rate_name(clearance_m)] = Value(rate, error, error)
    return found


def rate_name(clearance_m):
    return f"plants cut at {1e3 * clearance_m:.0f} mm"


def of_ours(passes):
    """What this program finds; standard errors of rates from their 95 % limits."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "reduced"
        options = ["--passes", str(passes), "--out", str(out), "--quiet"]
        subprocess.run([*STUDY, str(reduced.SCENARIO), *options], cwd=ROOT, check=True)
        results = json.loads((out / "results.json").read_text(encoding="utf-8"))
    if results["passes"] != passes or not results["complete"]:
        sys.exit("the study did not run all its passes")
    (tracking,) = results["tracking"]
    sd, error = 1e3 * tracking["tool_error_sd_m"], 1e3 * tracking["tool_error_sd_se_m"]
    found = {"tool-error sd, mm": Value(sd, error, error)}
    for row in results["rates"]:
        if row["stretch"] != "rest":
            continue
        # The scenario's stem is as wide as its protected radius: no plant is touched and spared.
        rate, lower, upper = (row["cut"][key] for key in ("rate", "lower", "upper"))
        found[rate_name(row["clearance_m"])] = Value(rate, (rate - lower) / LIMITS, (upper - rate) / LIMITS)
    return found


def agree(found):
    """Prints what each program found. True if all agree."""
    names = list(found)
    quantities = list(found["rowroom"])
    print(f"{'':24}" + "".join(f"{name:>24}" for name in names) + f"{'apart, in s.e.':>17}")
    compared, held = 0, True
    for quantity in quantities:
        values = [found[name][quantity] for name in names]
        cells = "".join(f"{v.value:>14.4g} +-{max(v.below, v.above):<7.1g}" for v in values)
        if any(max(v.below, v.above) > RAREST * v.value for v in values):
            print(f"{quantity:24}{cells}   too rare")
            continue
        pairs = [(a, b) for i, a in enumerate(values) for b in values[i + 1 :]]
        worst = max(apart(a, b) for a, b in pairs)
        compared += len(pairs)
        held &= worst <= WITHIN
        print(f"{quantity:24}{cells}{worst:>12.2f}{'' if worst <= WITHIN else '   APART'}")
    print(f"{compared} comparisons, each allowed {WITHIN:g} joint standard errors")
    return held and compared > 0


def check_agreement(model, passes):
    print(f"{passes} passes of {model.ticks_per_pass} ticks each\n")
    found = {
        "rowroom": of_ours(passes),
        "numba": of_sums(with_numba.run(model, passes, seed=11), model.clearances_m),
        "NumPy f32": of_sums(with_numpy.run(model, passes, seed=12), model.clearances_m),
    }
    if not agree(found):
        sys.exit("agreement broken")
    parts = model.model
    late = model._replace(model=parts._replace(latency_steps=parts.latency_steps + parts.frame_steps))
    wrong = of_sums(with_numba.run(late, passes, seed=13), model.clearances_m)
    seen = apart(wrong["tool-error sd, mm"], found["rowroom"]["tool-error sd, mm"])
    if seen <= WITHIN:
        sys.exit(f"agreement says nothing: a camera one frame late stands only {seen:.1f} standard errors apart; more --passes")
    print(f"a camera one frame late is told apart by {seen:.0f} standard errors")
    print("agreement held")


def our_times(model):
    """Nanoseconds per tick of our engine, by (engine, threads, whose time)."""
    lines = subprocess.run(OUR_TIMES, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout.splitlines()
    times = {}
    for line in lines:
        if line.startswith("{"):
            line = json.loads(line)
            if line["ticks_per_pass"] != model.ticks_per_pass:
                sys.exit(f"our side drives {line['ticks_per_pass']} ticks a pass, the peers {model.ticks_per_pass}")
            times[line["engine"], line["threads"], line["time"]] = line["ns_per_tick"]
    return times


def time_of(run, model, passes, seed):
    start = time.thread_time()
    run(model, passes, seed)
    return 1e9 * (time.thread_time() - start) / (passes * model.ticks_per_pass)


def one_round(model, seed):
    return {
        NUMBA: time_of(with_numba.run, model, NUMBA_PASSES, seed),
        ("numpy", 1, "processor"): time_of(with_numpy.run, model, with_numpy.WIDTH, seed),
    } | our_times(model)


def processor():
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        return next(line.split(":", 1)[1].strip() for line in lines if line.startswith("model name"))
    except (OSError, StopIteration):
        return platform.processor() or "unknown processor"


def compare_times(model):
    print(f"\n{processor()}, {os.cpu_count()} cores, Python {platform.python_version()}, ", end="")
    print(f"NumPy {np.__version__}, numba {numba.__version__}; {ROUNDS} rounds in turns")
    if hasattr(os, "getloadavg") and os.getloadavg()[0] > 1.3:
        print(f"Other work runs on this machine (load {os.getloadavg()[0]:.1f}): take the times with care.")
    one_round(model, seed=0)
    rounds = [one_round(model, seed) for seed in range(1, ROUNDS + 1)]

    print(f"\n{'ns per tick':32}{'threads':>9}{'time':>11}{'median':>10}{'fastest':>10}{'slowest':>10}")
    for key in rounds[0]:
        times = [each[key] for each in rounds]
        print(f"{key[0]:32}{key[1]:>9}{key[2]:>11}{statistics.median(times):>10.1f}{min(times):>10.1f}{max(times):>10.1f}")

    print(f"\n{'ratio':56}{'median':>8}{'least':>8}{'most':>8}{'target':>8}")
    for slow, fast, *target, what in TARGETS + RATIOS:
        if slow not in rounds[0] or fast not in rounds[0]:
            print(f"{what:56}   not measured: there is no such engine")
            continue
        ratios = [each[slow] / each[fast] for each in rounds]
        median = statistics.median(ratios)
        verdict = "".join(f"{least:>8g}  {'reached' if median >= least else 'MISSED'}" for least in target)
        print(f"{what:56}{median:>8.2f}{min(ratios):>8.2f}{max(ratios):>8.2f}{verdict}")


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--agree-only", action="store_true", help="compare what is found, not how fast")
    arguments.add_argument("--passes", type=int, default=2048, help="passes of the comparison [default: 2048]")
    options = arguments.parse_args()
    model = reduced.read()
    check_agreement(model, options.passes)
    if not options.agree_only:
        compare_times(model)


if __name__ == "__main__":
    main()
