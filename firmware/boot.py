"""Runs at every start of a real board, before main.py and before mpremote's prompt: the first picture."""

try:
    import stopped

    stopped.begin()
    del stopped
except ImportError:
    pass  # half an installation: the prompt stays reachable
