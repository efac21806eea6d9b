"""A ball that falls through air and bounces: closed forms for quadratic drag.

    python3 tests/scenes/fall.py      checks them against scipy's solver

Drag coefficient 0.5 (a sphere at Reynolds numbers of 1e3 to 1e5: White, Fluid
Mechanics, 8th ed., ch. 7), air 1.2 kg/m3. Restitution falls a little with speed:
0.012 for each metre a second, about the value told for 4.4 m/s (a fall of 1 m).
"""
import numpy as np

G, AIR, DRAG = 9.81, 1.2, .5


def terminal_speed(mass, diameter):
    return np.sqrt(2 * mass * G / (AIR * DRAG * np.pi * diameter ** 2 / 4))


def down(height, vt):
    """Seconds to fall from rest, and the speed then."""
    return vt / G * np.arccosh(np.exp(G * height / vt ** 2)), vt * np.sqrt(-np.expm1(-2 * G * height / vt ** 2))


def up(speed, vt):
    """Seconds to the top, and its height."""
    return vt / G * np.arctan(speed / vt), vt ** 2 / (2 * G) * np.log1p((speed / vt) ** 2)


def drop(ball, height, longest_s=3.0, least_gap_s=.05):
    """Release at 0: seconds of the impacts, their speeds, and the seconds of the tops."""
    vt = terminal_speed(ball.mass, ball.diameter)
    t, speed = down(height, vt)
    impacts, speeds, tops = [t], [speed], []
    while len(impacts) < 14:
        e = min(ball.restitution + .012 * (4.43 - speed), .96)
        rise, high = up(e * speed, vt)
        fall, speed = down(high, vt)
        if rise + fall < least_gap_s or t + rise + fall - impacts[0] > longest_s:
            break
        tops.append(t + rise)
        t += rise + fall
        impacts.append(t)
        speeds.append(speed)
    return impacts, speeds, tops


def main():
    from scipy.integrate import solve_ivp
    rng, worst = np.random.default_rng(1), 0
    for _ in range(50):
        vt, height, speed = rng.uniform(5, 60), rng.uniform(.1, 2.5), rng.uniform(.5, 6)
        floor = lambda t, s: s[0]
        floor.terminal = True
        fell = solve_ivp(lambda t, s: [-s[1], G * (1 - (s[1] / vt) ** 2)], (0, 5), [height, 0], events=floor, rtol=1e-10, atol=1e-12)
        top = lambda t, s: s[1]
        top.terminal = True
        rose = solve_ivp(lambda t, s: [s[1], -G * (1 + (s[1] / vt) ** 2)], (0, 5), [0, speed], events=top, rtol=1e-10, atol=1e-12)
        worst = max(worst, abs(fell.t[-1] - down(height, vt)[0]), abs(fell.y[1, -1] - down(height, vt)[1]),
                    abs(rose.t[-1] - up(speed, vt)[0]), abs(rose.y[0, -1] - up(speed, vt)[1]))
    print(f"largest difference from the solver, 50 cases: {worst:.1e}")
    raise SystemExit(worst > 1e-7)


if __name__ == "__main__":
    main()
