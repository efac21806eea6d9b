"""What holds 95 in 100 of a box and a normal, each of standard deviation 1.

Run: python3 box_and_normal.py   (needs scipy; 1.17.1 was used; prints 2.7116463827)
"""
from scipy import integrate, optimize, stats

A = 3**0.5  # half-width of the box


def held(h):
    inner = lambda x: (stats.norm.cdf(h - x) - stats.norm.cdf(-h - x)) / (2 * A)
    return integrate.quad(inner, -A, A)[0]


print(f"{optimize.brentq(lambda h: held(h) - 0.95, 0, 6):.10f}")
