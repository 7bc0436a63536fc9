"""Makes the outside values that `cargo test` holds the crate against.

    python -m venv .venv && .venv/bin/pip install -r requirements.txt
    .venv/bin/python make.py            writes the JSON files beside this script
    .venv/bin/python make.py --check    makes them again and compares, writes nothing

Every value comes from a general-purpose library, from a textbook formula written out in Python, or from a published table; the
docstring of each module says which. Nothing here reads or runs the crate. `cargo test` reads the JSON files only and needs no
Python. SI units throughout.
"""

import json
import math
import pathlib
import sys

sys.dont_write_bytecode = True

import control_loops
import field
import geometry
import hydraulics
import limits
import noises
import shares
import sobol
import strikes
import tool_error

HERE = pathlib.Path(__file__).parent

# Relative tolerance of --check: adaptive quadrature and root finding stop near 1e-10, and another processor's libm may
# stop a step earlier or later.
RELATIVE = 1e-7
ABSOLUTE = 1e-12

MODULES = [limits, strikes, hydraulics, geometry, noises, control_loops, tool_error, sobol, shares, field]


def plain(value):
    """The value in plain Python numbers, as the JSON file holds it; refuses what is not finite."""
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)) or hasattr(value, "tolist") and getattr(value, "ndim", 0):
        return [plain(item) for item in value]
    if value is None or isinstance(value, (str, bool, int)):
        return value
    number = float(value)
    if not math.isfinite(number):
        raise ValueError("a reference value is not finite")
    return number


def text(value):
    """JSON with one case per line, so that a change shows in a diff."""
    lines = []
    for key, item in value.items():
        if isinstance(item, list):
            rows = ",\n  ".join(json.dumps(row) for row in item)
            lines.append(f"{json.dumps(key)}: [\n  {rows}\n]")
        else:
            lines.append(f"{json.dumps(key)}: {json.dumps(item)}")
    return "{\n" + ",\n".join(lines) + "\n}\n"


def differences(made, kept, where=""):
    """Where two values differ by more than the tolerance."""
    if type(made) is not type(kept) and not (
        isinstance(made, (int, float)) and isinstance(kept, (int, float))
    ):
        yield f"{where}: {made!r} instead of {kept!r}"
    elif isinstance(made, dict):
        if made.keys() != kept.keys():
            yield f"{where}: other keys"
        for key in made.keys() & kept.keys():
            yield from differences(made[key], kept[key], f"{where}.{key}")
    elif isinstance(made, list):
        if len(made) != len(kept):
            yield f"{where}: {len(made)} items instead of {len(kept)}"
        for index, pair in enumerate(zip(made, kept)):
            yield from differences(*pair, f"{where}[{index}]")
    elif isinstance(made, (int, float)) and not isinstance(made, bool):
        if not math.isclose(made, kept, rel_tol=RELATIVE, abs_tol=ABSOLUTE):
            yield f"{where}: {made!r} instead of {kept!r}"
    elif made != kept:
        yield f"{where}: {made!r} instead of {kept!r}"


def main(check):
    wrong = 0
    for module in MODULES:
        path = HERE / f"{module.__name__}.json"
        made = plain(module.values())
        if check:
            found = list(differences(made, json.loads(path.read_text(encoding="utf-8")), path.name))
            for line in found[:20]:
                print(line)
            wrong += len(found)
            print(f"{path.name}: {len(found)} differences")
        else:
            path.write_text(text(made), encoding="utf-8", newline="\n")
            print(f"{path.name}: {path.stat().st_size} bytes")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main("--check" in sys.argv[1:]))
