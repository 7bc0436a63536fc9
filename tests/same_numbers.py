"""Compares two results.json: same structure and words, numbers equal within 1e-9 relative.

    python3 tests/same_numbers.py reports/demo/results.json elsewhere/results.json

The numbers are computed by the same code from the same seed; 1e-9 leaves room for a last bit that an optimiser rounds
another way, and for nothing else. Prints every difference (the first 20) and ends with 1 if there is one.
"""

import json
import math
import sys

RELATIVE = 1e-9


def differences(left, right, where="$"):
    """Yields one line for each place where the two values differ."""
    numbers = (int, float)
    if isinstance(left, bool) or isinstance(right, bool) or not (
        isinstance(left, numbers) and isinstance(right, numbers)
    ):
        if type(left) is not type(right):
            yield f"{where}: {left!r} is not {right!r}"
        elif isinstance(left, dict):
            for key in sorted(left.keys() | right.keys()):
                if key in left and key in right:
                    yield from differences(left[key], right[key], f"{where}.{key}")
                else:
                    yield f"{where}.{key}: only in {'the first' if key in left else 'the second'}"
        elif isinstance(left, list):
            if len(left) != len(right):
                yield f"{where}: {len(left)} entries against {len(right)}"
            for index, (a, b) in enumerate(zip(left, right)):
                yield from differences(a, b, f"{where}[{index}]")
        elif left != right:
            yield f"{where}: {left!r} is not {right!r}"
    elif not math.isclose(left, right, rel_tol=RELATIVE, abs_tol=0.0):
        yield f"{where}: {left!r} is not {right!r} within {RELATIVE}"


def count(value):
    """Numbers in a value."""
    if isinstance(value, dict):
        return sum(count(entry) for entry in value.values())
    if isinstance(value, list):
        return sum(count(entry) for entry in value)
    return int(isinstance(value, (int, float)) and not isinstance(value, bool))


def main():
    if len(sys.argv) != 3:
        sys.exit("usage: same_numbers.py FIRST.json SECOND.json")
    first, second = (json.load(open(name, encoding="utf-8")) for name in sys.argv[1:])
    found = list(differences(first, second))
    for line in found[:20]:
        print(line)
    if found:
        sys.exit(f"{len(found)} differences")
    print(f"{count(first)} numbers are the same within {RELATIVE} relative")


if __name__ == "__main__":
    main()
