"""Command line."""


def main() -> int:
    raise SystemExit("not built yet")
