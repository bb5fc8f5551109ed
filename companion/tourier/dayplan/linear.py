"""A linear program in whole minutes, solved by HiGHS: the times of a day once its order is settled."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array

FAR = 10**7


class Program:
    """A linear program in minutes: rows `sum(coefficient * x) <= bound`, costs on the helper columns."""

    def __init__(self, count: int):
        self.low, self.high, self.price = [-float(FAR)] * count, [float(FAR)] * count, [0.0] * count
        self.at: list[tuple[int, int, float]] = []
        self.bounds: list[float] = []
        self.cost = 0

    def new(self, price: float) -> int:
        self.low.append(0.0)
        self.high.append(float(FAR))
        self.price.append(float(price))
        return len(self.price) - 1

    def row(self, terms: list[tuple[int, float]], bound: float) -> None:
        number = len(self.bounds)
        self.at += [(number, column, factor) for column, factor in terms]
        self.bounds.append(float(bound))

    def at_least(self, a: int, b: int, gap: int) -> None:
        """x[b] - x[a] >= gap"""
        self.row([(a, 1.0), (b, -1.0)], -gap)

    def above(self, a: int, b: int, most: int, price: float) -> None:
        """x[b] - x[a] <= most, or `price` for every minute more."""
        self.row([(b, 1.0), (a, -1.0), (self.new(price), -1.0)], most)

    def solve(self) -> list[int] | None:
        rows, columns, factors = zip(*self.at, strict=True)
        matrix = csr_array((factors, (rows, columns)), shape=(len(self.bounds), len(self.price)))
        bounds = np.column_stack((self.low, self.high))
        result = linprog(self.price, A_ub=matrix, b_ub=self.bounds, bounds=bounds, method="highs-ds")
        if result.x is None or result.status != 0:
            return None
        self.cost = round(result.fun)
        return [round(x) for x in result.x]
