"""Jets: numbers that carry their derivatives along, exactly, to a chosen order.

A jet is a polynomial in a few infinitesimals, cut off where its algebra says. Put a jet in place of a number and
every formula gives value and derivatives at once, with no step size and no truncation error. Coefficients are
Taylor coefficients: the coefficient of tⁿ is the n-th derivative divided by n!.

Terms: a *generator* is an infinitesimal (say travel t, or a change p of a pickup coordinate); a *monomial* is a tuple
of exponents, one a generator; an *algebra* is the set of monomials that are kept. (Taylor arithmetic: A. Griewank and
A. Walther, *Evaluating Derivatives*, 2008, ch. 13; from memory.)
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from functools import lru_cache
from math import factorial
from typing import Any

import numpy as np
from numpy.typing import NDArray

Coefficient = Any  # float, NDArray[np.float64] over lanes, or None for a zero that is known to be zero
Monomial = tuple[int, ...]


class Algebra:
    """Monomials that are kept, in an order in which every divisor comes before its multiples.

    Attributes
    ----------
    monomials : tuple of tuple of int
        Exponents; the first is the constant.
    products : tuple
        For every monomial the pairs of indices whose product it is.
    squares : tuple
        The same of a jet times itself: pairs of two that come twice, and what comes times itself.
    degree : int
        Largest total degree: a jet without constant part, raised to `degree` + 1, vanishes.
    """

    def __init__(self, monomials: Iterable[Monomial]) -> None:
        self.monomials = tuple(sorted(set(monomials), key=lambda m: (sum(m), m)))
        self.index = {m: k for k, m in enumerate(self.monomials)}
        self.degree = max(sum(m) for m in self.monomials)
        pairs: list[list[tuple[int, int]]] = [[] for _ in self.monomials]
        for (i, a), (j, b) in itertools.product(enumerate(self.monomials), repeat=2):
            total = tuple(x + y for x, y in zip(a, b, strict=True))
            if total in self.index:
                pairs[self.index[total]].append((i, j))
        self.products = tuple(tuple(p) for p in pairs)
        self.squares = tuple(([p for p in of if p[0] < p[1]], [i for i, j in of if i == j]) for of in pairs)

    def constant(self, value: Coefficient) -> Jet:
        """A jet without derivatives."""
        return Jet(self, [value] + [None] * (len(self.monomials) - 1))

    def variable(self, value: Coefficient, generator: int, rate: Coefficient = 1.0) -> Jet:
        """A jet that grows by `rate` with one generator."""
        jet = self.constant(value)
        jet.coefficients[self.generator(generator)] = rate
        return jet

    def up_to(self, degree: int) -> Algebra:
        """The algebra of the monomials up to a total degree."""
        return algebra_of(tuple(m for m in self.monomials if sum(m) <= degree))

    def generator(self, number: int) -> int:
        """Index of the monomial that is one generator alone."""
        unit = tuple(int(k == number) for k in range(len(self.monomials[0])))
        return self.index[unit]


@lru_cache
def total_degree(generators: int, degree: int) -> Algebra:
    """Algebra of all monomials of the generators up to a total degree."""
    every = itertools.product(range(degree + 1), repeat=generators)
    return Algebra(m for m in every if sum(m) <= degree)


@lru_cache
def box(*orders: int) -> Algebra:
    """Algebra of all monomials whose exponent of generator k is at most orders[k]."""
    return Algebra(itertools.product(*(range(n + 1) for n in orders)))


@lru_cache
def algebra_of(monomials: tuple[Monomial, ...]) -> Algebra:
    """The algebra of the given monomials; they must hold every divisor of each."""
    return Algebra(monomials)


def _sum(a: Coefficient, b: Coefficient) -> Coefficient:
    if a is None:
        return b
    return a if b is None else a + b


class Jet:
    """A number with derivatives; see the module's text. Mixes with floats and arrays."""

    __slots__ = ("algebra", "coefficients")
    __array_ufunc__ = None  # numpy arrays leave the operation to the jet

    def __init__(self, algebra: Algebra, coefficients: list[Coefficient]) -> None:
        self.algebra = algebra
        self.coefficients = coefficients

    def __getitem__(self, monomial: Monomial) -> Coefficient:
        """Taylor coefficient of a monomial; 0.0 where it is known to vanish."""
        value = self.coefficients[self.algebra.index[monomial]]
        return 0.0 if value is None else value

    @property
    def value(self) -> Coefficient:
        """The constant part."""
        return 0.0 if self.coefficients[0] is None else self.coefficients[0]

    def derivative(self, monomial: Monomial) -> Coefficient:
        """Partial derivative of the orders given by the exponents (coefficient times factorials)."""
        return self[monomial] * float(np.prod([factorial(n) for n in monomial]))

    def rate(self, generator: int = 0) -> Jet:
        """The jet of the derivative along one generator; the highest order along it is lost (taken as zero)."""
        out: list[Coefficient] = []
        for m in self.algebra.monomials:
            up = tuple(n + (k == generator) for k, n in enumerate(m))
            i = self.algebra.index.get(up)
            c = None if i is None else self.coefficients[i]
            out.append(None if c is None else c * float(up[generator]))
        return Jet(self.algebra, out)

    def cut(self, algebra: Algebra) -> Jet:
        """The same number in a smaller algebra: what that does not keep is dropped."""
        first = len(algebra.monomials)
        if self.algebra.monomials[:first] == algebra.monomials:  # as those up to a degree are
            return Jet(algebra, self.coefficients[:first])
        return Jet(algebra, [self.coefficients[self.algebra.index[m]] for m in algebra.monomials])

    def _lift(self, other: Any) -> Jet:
        return other if isinstance(other, Jet) else self.algebra.constant(other)

    def __add__(self, other: Any) -> Jet:
        own = self.coefficients
        if not isinstance(other, Jet):
            return Jet(self.algebra, [_sum(own[0], other), *own[1:]])
        pairs = zip(own, other.coefficients, strict=True)
        return Jet(self.algebra, [b if a is None else (a if b is None else a + b) for a, b in pairs])

    __radd__ = __add__

    def __neg__(self) -> Jet:
        return Jet(self.algebra, [None if c is None else -c for c in self.coefficients])

    def __sub__(self, other: Any) -> Jet:
        own = self.coefficients
        if not isinstance(other, Jet):
            return Jet(self.algebra, [-other if own[0] is None else own[0] - other, *own[1:]])
        pairs = zip(own, other.coefficients, strict=True)
        return Jet(self.algebra, [a if b is None else (-b if a is None else a - b) for a, b in pairs])

    def __rsub__(self, other: Any) -> Jet:
        return self._lift(other) - self

    def __mul__(self, other: Any) -> Jet:
        if not isinstance(other, Jet):
            return Jet(self.algebra, [None if c is None else c * other for c in self.coefficients])
        if other is self:
            return self._squared()
        out: list[Coefficient] = []
        a, b = self.coefficients, other.coefficients
        for pairs in self.algebra.products:
            total: Coefficient = None
            for i, j in pairs:
                x = a[i]
                if x is not None:  # most are known to be zero
                    y = b[j]
                    if y is not None:
                        total = x * y if total is None else total + x * y
            out.append(total)
        return Jet(self.algebra, out)

    __rmul__ = __mul__

    def _squared(self) -> Jet:
        out: list[Coefficient] = []
        a = self.coefficients
        for twice, once in self.algebra.squares:
            total: Coefficient = None
            for i, j in twice:
                x, y = a[i], a[j]
                if x is not None and y is not None:
                    total = x * y if total is None else total + x * y
            if total is not None:
                total = total + total
            for i in once:
                x = a[i]
                if x is not None:
                    total = x * x if total is None else total + x * x
            out.append(total)
        return Jet(self.algebra, out)

    def __truediv__(self, other: Any) -> Jet:
        if not isinstance(other, Jet):
            return Jet(self.algebra, [None if c is None else c / other for c in self.coefficients])
        return self * other.compose(lambda x, n: (-1.0) ** n / x ** (n + 1))

    def __rtruediv__(self, other: Any) -> Jet:
        return self._lift(other) / self

    def compose(self, series: Callable[[Coefficient, int], Coefficient]) -> Jet:
        """Apply a function given by its Taylor coefficients: series(x, n) = f⁽ⁿ⁾(x)/n!.

        With x the constant part and h the rest, f(x + h) = Σ series(x, n) hⁿ ends at the algebra's degree.
        """
        rest = Jet(self.algebra, [None, *self.coefficients[1:]])
        total = self.algebra.constant(series(self.value, 0))
        power: Jet | None = None
        for n in range(1, self.algebra.degree + 1):
            power = rest if power is None else power * rest
            if all(c is None for c in power.coefficients):
                break
            total = total + power * series(self.value, n)
        return total


def _binomial_half(n: int) -> float:
    out = 1.0
    for k in range(n):
        out *= (0.5 - k) / (k + 1)
    return out


def sqrt(x: Any) -> Any:
    """Square root of a number or jet."""
    if isinstance(x, Jet):
        return x.compose(lambda v, n: _binomial_half(n) * np.sqrt(v) / v**n)
    return np.sqrt(x)


def atan2(y: Any, x: Any) -> Any:
    """Angle of the point (x, y) from the x axis, rad, for numbers or jets."""
    if not isinstance(y, Jet) and not isinstance(x, Jet):
        return np.arctan2(y, x)
    algebra = y.algebra if isinstance(y, Jet) else x.algebra
    y0 = y.value if isinstance(y, Jet) else y
    x0 = x.value if isinstance(x, Jet) else x
    # turned back by its own constant part the point lies on the x axis, and the rest is a short series
    turn = (y * x0 - x * y0) / (x * x0 + y * y0)
    turn.coefficients[0] = None
    small = turn.compose(lambda _v, n: 0.0 if n % 2 == 0 else (-1.0) ** (n // 2) / n)
    small.coefficients[0] = np.arctan2(y0, x0)
    return Jet(algebra, small.coefficients)


def asin(x: Any) -> Any:
    """Arc sine of a number or jet between −1 and 1, rad."""
    return atan2(x, sqrt(1.0 - x * x)) if isinstance(x, Jet) else np.arcsin(x)


def choose(condition: Any, x: Any, y: Any) -> Any:
    """The first of two numbers or jets where a condition holds, else the second."""
    return _together(x, y, lambda a, b: np.where(condition, a, b))


def stacked(first: Any, second: Any, count: int) -> Any:
    """Two numbers or jets over so many lanes each as one over all: the lanes of one, then those of the other."""

    def both(a: Any, b: Any) -> Any:
        shape = (*np.broadcast_shapes(np.shape(a)[:-1], np.shape(b)[:-1]), count)
        return np.concatenate([np.broadcast_to(np.asarray(c, dtype=float), shape) for c in (a, b)], axis=-1)

    return _together(first, second, both)


def _together(x: Any, y: Any, join: Callable[[Any, Any], Any]) -> Any:
    """Two numbers or jets made one, coefficient by coefficient; what is zero in both stays that."""
    if not isinstance(x, Jet) and not isinstance(y, Jet):
        return join(x, y)
    algebra = x.algebra if isinstance(x, Jet) else y.algebra
    both = (n.coefficients if isinstance(n, Jet) else algebra.constant(n).coefficients for n in (x, y))

    def joined(a: Any, b: Any) -> Any:
        return None if a is None and b is None else join(0.0 if a is None else a, 0.0 if b is None else b)

    return Jet(algebra, [joined(a, b) for a, b in zip(*both, strict=True)])


def sense(x: Any) -> Any:
    """−1 where a number, or the constant part of a jet, is under zero, else 1; no derivative."""
    constant = value(x)
    return constant.sense() if hasattr(constant, "sense") else 1.0 - 2.0 * np.less(constant, 0.0)


def size(x: Any) -> Any:
    """A number or jet without its sign."""
    return x * sense(x) if isinstance(x, Jet) else np.abs(x)


def value(x: Any) -> Coefficient:
    """The constant part of a jet, or the number itself."""
    return x.value if isinstance(x, Jet) else x


def over_lanes(v: Iterable[Any], count: int) -> NDArray[np.float64]:
    """Values of a vector's numbers or jets over lanes, shape (3, lanes)."""
    out: NDArray[np.float64] = np.stack([np.broadcast_to(np.asarray(value(c), dtype=float), count) for c in v])
    return out


def in_lanes(x: Any, part: slice) -> Any:
    """A number or jet in some of its lanes, the last axis; what is the same for all lanes stays as it is."""
    if isinstance(x, Jet):
        return Jet(x.algebra, [None if c is None else in_lanes(c, part) for c in x.coefficients])
    return x[..., part] if np.ndim(x) and np.shape(x)[-1] > 1 else x


def sin(x: Any) -> Any:
    """Sine of a number or jet, rad."""
    return x.compose(lambda v, n: np.sin(v + n * np.pi / 2.0) / factorial(n)) if isinstance(x, Jet) else np.sin(x)


def cos(x: Any) -> Any:
    """Cosine of a number or jet, rad."""
    return x.compose(lambda v, n: np.cos(v + n * np.pi / 2.0) / factorial(n)) if isinstance(x, Jet) else np.cos(x)
