"""Regenerate everything in the hardware folder, or check that what is there is what would be generated.

    python hardware/make.py                  write all products
    python hardware/make.py board budget     only these groups
    python hardware/make.py --check          generate in memory and compare; exit code 1 when something differs

Needs the `hardware` extra: pip install -e .[hardware]
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))
sys.path.insert(0, str(ROOT / "companion" / "tools"))  # the firmware's own screens

from hardware import products  # noqa: E402 - the path must be set first
from hardware.electronics import circuit, rules  # noqa: E402
from hardware.enclosure.params import PARAMS  # noqa: E402


def main(arguments: list[str] | None = None) -> int:
    """Return 0 when all is well, 1 when a rule is broken or something differs."""
    names = [group.name for group in products.GROUPS]
    parser = argparse.ArgumentParser(prog="python hardware/make.py", description="Regenerate the hardware folder.")
    parser.add_argument("groups", nargs="*", metavar="group", help=f"any of: {', '.join(names)}")
    parser.add_argument("--check", action="store_true", help="write nothing, compare")
    options = parser.parse_args(arguments)
    unknown = [name for name in options.groups if name not in names]
    if unknown:
        parser.error(f"there is no group {unknown[0]!r}; choose from {', '.join(names)}")

    broken = rules.check(circuit.build()) + PARAMS.collisions()
    try:
        from hardware.electronics import skidl_check

        errors, warnings, _ = skidl_check.run()
        if errors or warnings:
            broken.append(f"SKiDL's rule check found {errors} errors and {warnings} warnings")
    except ImportError:
        print("SKiDL is not installed: only our own rules were checked")
    for sentence in broken:
        print(f"rule broken: {sentence}", file=sys.stderr)
    if broken:
        return 1

    bad = 0
    for group in products.GROUPS:
        if options.groups and group.name not in options.groups:
            continue
        start = time.monotonic()
        try:
            if not options.check:
                count = len(products.write(group))
                print(f"{group.name}: {count} files in {time.monotonic() - start:.1f} s")
                continue
            fresh = group.build()
        except ImportError as missing:
            print(f"{group.name}: {missing.name} is missing; pip install -e .[hardware]", file=sys.stderr)
            return 1
        for path, data in fresh.items():
            file = products.HERE / path
            why = products.differs(path, data, file.read_bytes()) if file.exists() else "it is missing"
            if why:
                bad += 1
                print(f"{path}: {why}", file=sys.stderr)
        print(f"{group.name}: {len(fresh)} files compared in {time.monotonic() - start:.1f} s")
    if bad == 0:
        for sentence in products.stale() if options.check else ():
            bad += 1
            print(sentence, file=sys.stderr)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
