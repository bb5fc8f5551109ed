"""A bench timer and a kitchen without hardware: the real firmware on a real MicroPython interpreter."""
