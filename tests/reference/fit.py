"""Fits with SciPy what the program's own fit is compared with.

Reads a list of problems as JSON from standard input and writes one answer for each: terms and
covariance by scipy.optimize.least_squares (MINPACK) with the true inputs as unknowns and exact
derivatives, and, where the reference values are independent, the same by scipy.odr (ODRPACK).
Shares no code or method with the program. Run by a test of the package `nightbench`.
"""

import json
import sys

import numpy as np
from scipy import odr
from scipy.linalg import solve_triangular
from scipy.optimize import least_squares


def steinhart_hart(p, x):
    """Degrees Celsius from ohms; value, slopes over the terms (rows), slope over the input."""
    log = np.log(x)
    kelvin = 1.0 / (p[0] + p[1] * log + p[2] * log**3)
    terms = -(kelvin**2) * np.array([np.ones_like(x), log, log**3])
    return kelvin - 273.15, terms, -(kelvin**2) * (p[1] + 3.0 * p[2] * log**2) / x


def beta(p, x):
    """Degrees Celsius from ohms, with r0 at 25 degrees."""
    log = np.log(x / p[0])
    kelvin = 1.0 / (1.0 / 298.15 + log / p[1])
    terms = kelvin**2 * np.array([np.ones_like(x) / (p[0] * p[1]), log / p[1] ** 2])
    return kelvin - 273.15, terms, -(kelvin**2) / (p[1] * x)


def photoresistor(p, x):
    """Lux from ohms."""
    lux = 10.0 * (p[0] / x) ** (1.0 / p[1])
    terms = lux * np.array([np.ones_like(x) / (p[0] * p[1]), -np.log(p[0] / x) / p[1] ** 2])
    return lux, terms, -lux / (p[1] * x)


MODELS = {"steinhart_hart": steinhart_hart, "beta": beta, "photoresistor": photoresistor}


def by_least_squares(model, case):
    """Terms in units of the start and shifts of the inputs in units of their uncertainty."""
    x, ux, y = (np.array(case[key]) for key in ("inputs", "input_uncertainties", "values"))
    unit = np.abs(np.array(case["start"]))
    root = np.linalg.cholesky(np.array(case["covariance"]))
    k, n = len(unit), len(x)

    def parts(z):
        return model(z[:k] * unit, x + ux * z[k:])

    def residuals(z):
        return np.concatenate([solve_triangular(root, parts(z)[0] - y, lower=True), z[k:]])

    def jacobian(z):
        _, terms, slope = parts(z)
        above = np.hstack([terms.T * unit, np.diag(slope * ux)])
        below = np.hstack([np.zeros((n, k)), np.eye(n)])
        return np.vstack([solve_triangular(root, above, lower=True), below])

    start = np.concatenate([np.array(case["start"]) / unit, np.zeros(n)])
    exact = {"xtol": 1e-15, "ftol": 1e-15, "gtol": 1e-15, "max_nfev": 5000}
    found = least_squares(residuals, start, jacobian, method="lm", x_scale="jac", **exact)
    inverse = np.linalg.pinv(jacobian(found.x), rcond=1e-15)[:k] * unit[:, None]
    return {"theta": found.x[:k] * unit, "covariance": inverse @ inverse.T}


def by_odr(model, case):
    uncertainties = np.sqrt(np.diag(np.array(case["covariance"])))
    data = odr.RealData(case["inputs"], case["values"], case["input_uncertainties"], uncertainties)
    described = odr.Model(
        lambda p, x: model(p, x)[0],
        fjacb=lambda p, x: model(p, x)[1],
        fjacd=lambda p, x: model(p, x)[2],
    )
    search = odr.ODR(data, described, case["start"], maxit=5000, sstol=1e-15, partol=1e-15)
    search.set_job(fit_type=0, deriv=3)
    found = search.run()
    return {"theta": found.beta, "covariance": found.cov_beta}


def answer(case):
    model = MODELS[case["model"]]
    covariance = np.array(case["covariance"])
    independent = np.count_nonzero(covariance - np.diag(np.diag(covariance))) == 0
    answers = {"least_squares": by_least_squares(model, case)}
    if independent:
        answers["odr"] = by_odr(model, case)
    return {
        way: {name: array.tolist() for name, array in found.items()}
        for way, found in answers.items()
    }


json.dump([answer(case) for case in json.load(sys.stdin)], sys.stdout)
