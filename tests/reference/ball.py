"""Falls and flights of a ball through air, from scipy's ODE solver.

Run: python3 ball.py   (writes ball.json beside itself; needs numpy, scipy)

The equation of motion is integrated with speed and direction as they are: drag of
g·(v/v_t)² against the motion. Nothing of the closed forms is used.
"""
import json
import pathlib
import platform

import numpy as np
import scipy
from scipy.integrate import solve_ivp

G = 9.80665
rng = np.random.default_rng(20260611)
TIGHT = dict(method="DOP853", rtol=1e-12, atol=1e-13)


def motion(terminal):
    return lambda _, y: [y[1], -G - G * y[1] * abs(y[1]) / terminal**2]


def event(f):
    f.terminal, f.direction = True, -1
    return f


def fall(height, terminal):
    floor = event(lambda _, y: y[0])
    run = solve_ivp(motion(terminal), (0, 10), [height, 0.0], events=floor, **TIGHT)
    return dict(height_m=height, terminal_m_s=terminal,
                fall_s=run.t_events[0][0], speed_m_s=-run.y_events[0][0][1])


def flight(launch, terminal):
    top = event(lambda _, y: y[1])
    up = solve_ivp(motion(terminal), (0, 10), [0.0, launch], events=top, **TIGHT)
    rise_s, (height, _) = up.t_events[0][0], up.y_events[0][0]
    down = fall(height, terminal)
    return dict(launch_m_s=launch, terminal_m_s=terminal, rise_s=rise_s,
                flight_s=rise_s + down["fall_s"], landing_m_s=down["speed_m_s"])


draw = lambda low, high: float(np.exp(rng.uniform(np.log(low), np.log(high))))
result = dict(
    made_with=dict(python=platform.python_version(), numpy=np.__version__, scipy=scipy.__version__),
    falls=[fall(draw(0.1, 4.0), draw(6.0, 60.0)) for _ in range(50)],
    flights=[flight(draw(0.3, 8.0), draw(6.0, 60.0)) for _ in range(50)],
)
path = pathlib.Path(__file__).with_name("ball.json")
path.write_text(json.dumps(result, indent=1) + "\n")
