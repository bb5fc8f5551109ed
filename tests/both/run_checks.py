"""Run every check of one check file on MicroPython: `micropython run_checks.py ROOT HERE check_plan`.

Prints one line per check that test_both.py reads: `@check NAME ok|failed MS`, then the traceback if it failed.
"""

import sys
import time


def main(root, here, name):
    sys.path.insert(0, here)
    sys.path.insert(0, root)
    module = __import__(name)
    print("@interpreter", sys.implementation[0], ".".join([str(part) for part in sys.implementation[1][:3]]))
    for check in sorted(dir(module)):
        if not check.startswith("check_"):
            continue
        start = time.ticks_ms()
        try:
            getattr(module, check)()
        except Exception as problem:
            print("@check", check, "failed", time.ticks_diff(time.ticks_ms(), start))
            sys.print_exception(problem, sys.stdout)
        else:
            print("@check", check, "ok", time.ticks_diff(time.ticks_ms(), start))
    print("@end")


main(sys.argv[1], sys.argv[2], sys.argv[3])
