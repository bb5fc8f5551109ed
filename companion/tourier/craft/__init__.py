"""Lamination maths: SI floats in, SI floats out; nothing here reads a clock, a file or a port."""
