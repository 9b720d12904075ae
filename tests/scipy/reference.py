"""Answers from SciPy for `tests/scipy.rs`: one JSON request on stdin, one JSON answer on stdout.

Nothing here knows the project's formulas beyond what the quantities are: least squares go through LAPACK's QR, sums of
squares through nested linear models, quantiles and tails through scipy.stats, factors of ranges through the
distribution of the range.
"""

import json
import sys

import numpy as np
from scipy import integrate, linalg, stats


def least_squares(design, values):
    """Coefficients, their standard deviations, residual standard deviation and covariance."""
    # Columns of one length: powers of a large number would cost digits.
    lengths = linalg.norm(design, axis=0)
    q, r = linalg.qr(design / lengths, mode="economic")
    coefficients = linalg.solve_triangular(r, q.T @ values) / lengths
    residuals = values - design @ coefficients
    freedom = len(values) - design.shape[1]
    variance = residuals @ residuals / freedom
    inverse = linalg.solve_triangular(r, np.eye(design.shape[1])) / lengths[:, None]
    covariance = variance * inverse @ inverse.T
    return coefficients, np.sqrt(np.diag(covariance)), np.sqrt(variance), covariance, residuals


def polynomial(request):
    x, y = np.array(request["x"]), np.array(request["y"])
    degree, at = request["degree"], request["at"]
    coefficients, sds, residual_sd, covariance, residuals = least_squares(np.vander(x, degree + 1, increasing=True), y)
    powers = np.array([at**power for power in range(degree + 1)])
    return {
        "coefficients": coefficients.tolist(),
        "sds": sds.tolist(),
        "residual_sd": residual_sd,
        "largest": float(np.max(np.abs(residuals))),
        "r_squared": float(1 - residuals @ residuals / np.sum((y - y.mean()) ** 2)),
        "value": float(powers @ coefficients),
        "u_mean": float(np.sqrt(powers @ covariance @ powers)),
    }


def scale(request):
    # The zero is tracked, so the curve goes through it; a line that need not is fitted beside it.
    x, y = np.array(request["indications"]), np.array(request["masses"])
    (span,), (sd_span,), residual_sd, _, residuals = least_squares(x[:, None], y)
    quadratic, sd_quadratic, residual_sd_quadratic, *_ = least_squares(np.column_stack([x, x * x]), y)
    (intercept, _), (sd_intercept, _), *_ = least_squares(np.vander(x, 2, increasing=True), y)
    return {
        "span": span,
        "sd_span": sd_span,
        "residual_sd": residual_sd,
        "largest": float(np.max(np.abs(residuals))),
        "quadratic": quadratic.tolist(),
        "sd_quadratic": sd_quadratic[0],
        "residual_sd_quadratic": residual_sd_quadratic,
        "intercept": intercept,
        "sd_intercept": sd_intercept,
        "chance": float(2 * stats.t.sf(abs(intercept / sd_intercept), len(x) - 2)),
    }


def beam(request):
    counts, masses, places = (np.array(request[key]) for key in ["counts", "masses", "places"])
    per_count, sds, *_ = least_squares(counts, masses)
    supports, sd_supports, *_ = least_squares(counts * per_count, masses * places)
    return {
        "counts_per_gram": (1 / per_count).tolist(),
        "relative_sd": float(np.max(sds / np.abs(per_count))),
        "supports": supports.tolist(),
        "sd_supports": sd_supports.tolist(),
    }


def gauge(request):
    errors = np.array(request["indications"]) - np.array(request["truths"])
    return {"mean": errors.mean(axis=0).tolist(), "sem": stats.sem(errors, axis=0).tolist()}


def study(request):
    table = np.array(request["table"])
    people, trials, parts = table.shape
    rows = [(a, t, p) for a in range(people) for t in range(trials) for p in range(parts)]
    values = np.array([table[row] for row in rows])

    def dummies(key, count):
        """Columns of zeros and ones for all members but the first, which the constant stands for."""
        return np.array([[1.0 if key(row) == n else 0.0 for n in range(1, count)] for row in rows])

    def unexplained(*columns):
        design = np.hstack([np.ones((len(rows), 1)), *columns])
        *_, residuals = least_squares(design, values - values.mean())
        return float(residuals @ residuals)

    of_people = dummies(lambda row: row[0], people)
    of_parts = dummies(lambda row: row[2], parts)
    of_cells = dummies(lambda row: row[0] * parts + row[2], people * parts)
    nothing, only_people = unexplained(), unexplained(of_people)
    both, everything = unexplained(of_people, of_parts), unexplained(of_cells)
    squares = {
        "people": nothing - only_people,
        "parts": only_people - both,
        "interaction": both - everything,
        "repeatability": everything,
        "total": nothing,
    }
    freedom = {"interaction": (people - 1) * (parts - 1), "repeatability": people * parts * (trials - 1)}
    ratio = (squares["interaction"] / freedom["interaction"]) / (everything / freedom["repeatability"])
    chance = float(stats.f.sf(ratio, freedom["interaction"], freedom["repeatability"]))
    pooled = chance >= 0.05
    within = everything + (squares["interaction"] if pooled else 0)
    of_within = freedom["repeatability"] + (freedom["interaction"] if pooled else 0)
    limits = [float(np.sqrt(within / stats.chi2.ppf(p, of_within))) for p in (0.95, 0.05)]
    variances = [float(np.mean(np.var(table[:, :, p], axis=1, ddof=1))) for p in range(parts)]
    return {"squares": squares, "chance": chance, "limits": limits, "part_variances": variances}


def factors(count):
    """Mean and standard deviation of the range of so many normal values, from the distribution of the range."""
    x = np.linspace(-9, 9, 1801)
    ranges = np.linspace(0, 12, 601)
    between = stats.norm.cdf(x[None, :] + ranges[:, None]) - stats.norm.cdf(x)[None, :]
    below = integrate.simpson(count * stats.norm.pdf(x) * between ** (count - 1), x=x, axis=1)
    d2 = integrate.simpson(1 - below, x=ranges)
    second = 2 * integrate.simpson(ranges * (1 - below), x=ranges)
    return {"d2": float(d2), "d3": float(np.sqrt(second - d2**2))}


def process(placed):
    """Results placed in a tolerance from -1 to 1."""
    n, mean, spread = len(placed), placed.mean(), placed.std(ddof=1)
    cp = 2 / (6 * spread)
    cpk = min(1 - mean, mean + 1) / (3 * spread)
    half = stats.norm.ppf(0.975) * np.sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)))
    neighbours = np.abs(np.diff(placed)).mean() / factors(2)["d2"]
    return {
        "cp": cp,
        "cpk": cpk,
        "cp_within": [float(cp * np.sqrt(stats.chi2.ppf(p, n - 1) / (n - 1))) for p in (0.025, 0.975)],
        "cpk_within": [float(cpk - half), float(cpk + half)],
        "limits": [float(mean - 3 * neighbours), float(mean + 3 * neighbours)],
    }


def main():
    request = json.load(sys.stdin)
    answers = {"scipy": sys.modules["scipy"].__version__}
    for name, answer in [("polynomial", polynomial), ("scale", scale), ("beam", beam), ("gauge", gauge), ("study", study)]:
        answers[name] = [answer(each) for each in request[name]]
    answers["chi_squared"] = [float(stats.chi2.ppf(p, freedom)) for p, freedom in request["chi_squared"]]
    answers["coverage"] = [float(stats.t.ppf((1 + p) / 2, freedom)) for p, freedom in request["coverage"]]
    answers["significance"] = [float(stats.f.sf(ratio, above, below)) for ratio, above, below in request["significance"]]
    answers["process"] = [process(np.array(placed)) for placed in request["process"]]
    answers["shares"] = [list(stats.binomtest(int(k), int(n)).proportion_ci(0.95, method="wilson")) for k, n in request["shares"]]
    answers["factors"] = [factors(count) for count in range(2, 11)]
    json.dump(answers, sys.stdout)


main()
