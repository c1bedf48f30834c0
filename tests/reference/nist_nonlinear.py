"""The nonlinear sets of the NIST Statistical Reference Datasets: their data and formulas."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rigdata.friction.fitting import least_squares_fit

FOLDER = Path(__file__).parent / "data" / "nist_nonlinear"

exp, cos, sin, pi = np.exp, np.cos, np.sin, np.pi


def cubic(x, *b):
    return b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3


def gauss(x, b):
    first = b[2] * exp(-((x - b[3]) ** 2) / b[4] ** 2)
    return b[0] * exp(-b[1] * x) + first + b[5] * exp(-((x - b[6]) ** 2) / b[7] ** 2)


def enso(x, b):
    year = b[1] * cos(2 * pi * x / 12) + b[2] * sin(2 * pi * x / 12)
    first = b[4] * cos(2 * pi * x / b[3]) + b[5] * sin(2 * pi * x / b[3])
    return b[0] + year + first + b[7] * cos(2 * pi * x / b[6]) + b[8] * sin(2 * pi * x / b[6])


def chwirut(x, b):
    return exp(-b[0] * x) / (b[1] + b[2] * x)


def lanczos(x, b):
    return b[0] * exp(-b[1] * x) + b[2] * exp(-b[3] * x) + b[4] * exp(-b[5] * x)


def cubic_ratio(x, b):
    return cubic(x, *b[:4]) / cubic(x, 1.0, *b[4:])


MODELS = {
    "Bennett5": lambda x, b: b[0] * (b[1] + x) ** (-1 / b[2]),
    "BoxBOD": lambda x, b: b[0] * (1 - exp(-b[1] * x)),
    "Chwirut1": chwirut,
    "Chwirut2": chwirut,
    "DanWood": lambda x, b: b[0] * x ** b[1],
    "ENSO": enso,
    "Eckerle4": lambda x, b: (b[0] / b[1]) * exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "Gauss1": gauss,
    "Gauss2": gauss,
    "Gauss3": gauss,
    "Hahn1": cubic_ratio,
    "Kirby2": lambda x, b: (b[0] + b[1] * x + b[2] * x**2) / (1 + b[3] * x + b[4] * x**2),
    "Lanczos1": lanczos,
    "Lanczos2": lanczos,
    "Lanczos3": lanczos,
    "MGH09": lambda x, b: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "MGH10": lambda x, b: b[0] * exp(b[1] / (x + b[2])),
    "MGH17": lambda x, b: b[0] + b[1] * exp(-x * b[3]) + b[2] * exp(-x * b[4]),
    "Misra1a": lambda x, b: b[0] * (1 - exp(-b[1] * x)),
    "Misra1b": lambda x, b: b[0] * (1 - (1 + b[1] * x / 2) ** (-2)),
    "Misra1c": lambda x, b: b[0] * (1 - (1 + 2 * b[1] * x) ** (-0.5)),
    "Misra1d": lambda x, b: b[0] * b[1] * x / (1 + b[1] * x),
    "Nelson": lambda x, b: b[0] - b[1] * x[:, 0] * exp(-b[2] * x[:, 1]),
    "Rat42": lambda x, b: b[0] / (1 + exp(b[1] - b[2] * x)),
    "Rat43": lambda x, b: b[0] / (1 + exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "Roszman1": lambda x, b: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / pi,
    "Thurber": cubic_ratio,
}


@dataclass(frozen=True, eq=False)
class Case:
    name: str
    x: np.ndarray
    y: np.ndarray
    starts: np.ndarray  # (2, p)
    certified: np.ndarray
    sd: np.ndarray
    rss: float

    def fit(self, start):
        model = MODELS[self.name]

        def residual(b):
            return model(self.x, b) - self.y

        def jacobian(b):
            steps = np.diag(1e-30 * np.ones(b.size)) * 1j
            columns = [model(self.x, b + step).imag / 1e-30 for step in steps]
            return np.stack([np.broadcast_to(c, self.y.shape) for c in columns], axis=1)

        names = [f"b{i + 1}" for i in range(self.certified.size)]
        return least_squares_fit(residual, jacobian, [self.starts[start - 1]], names)

    def sd_of(self, fit):
        variance = fit.rss / (self.y.size - fit.theta.size)
        return np.sqrt(variance * np.diag(fit.covariance))


def read(name):
    lines = (FOLDER / f"{name}.dat").read_text().splitlines()
    rows = [line.split("=")[1].split() for line in lines[40:60] if "=" in line]
    table = np.array(rows, dtype=float)
    rss = next(line.split(":")[1] for line in lines[40:60] if "Sum of Squares" in line)
    data = np.array([line.split() for line in lines[60:] if line.strip()], dtype=float)
    y = np.log(data[:, 0]) if name == "Nelson" else data[:, 0]
    x = data[:, 1:] if data.shape[1] > 2 else data[:, 1]
    return Case(name, x, y, table[:, :2].T, table[:, 2], table[:, 3], float(rss))
