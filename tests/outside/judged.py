"""The arithmetic of judging, worked out anew by scipy and statsmodels.

The file named on the command line holds random cases with what the tool answered:
quantiles and tails against scipy.stats; weighted least squares, its standard errors and
variance inflation against statsmodels' WLS; fits bounded to [0, 1] against
scipy.optimize.lsq_linear; false-discovery control against statsmodels' multipletests
(fdr_bh); the variance between groups against statsmodels' combine_effects (DerSimonian
and Laird).
"""

import json
import sys
import warnings
from pathlib import Path

import numpy as np
import statsmodels.api as sm
from scipy import stats
from scipy.optimize import lsq_linear
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.multitest import multipletests

# It takes the root of a variance between groups before that is set to 0.
warnings.filterwarnings("ignore", category=RuntimeWarning, module="statsmodels.stats.meta_analysis")

cases = json.loads(Path(sys.argv[1]).read_text())
worst = {}


def same(what, got, reference, within, scale=None):
    """Relative to the reference, or to `scale`; the worst of each kind is printed."""
    got, reference = np.atleast_1d(got).astype(float), np.atleast_1d(reference).astype(float)
    if got.shape != reference.shape or not np.isfinite(got).all():
        sys.exit(f"{what}: {got}, and {reference} is the reference's")
    size = np.maximum(np.abs(reference), 1e-300) if scale is None else scale
    off = float(np.max(np.abs(got - reference) / size))
    if off > within:
        sys.exit(f"{what}: {got}, and {reference} is the reference's: off by {off:.3g}")
    worst[what] = max(worst.get(what, 0.0), off)


for case in cases["quantiles"]:
    p, degrees, value = case["p"], case["degrees"], case["value"]
    same("normal quantile", case["normal"], stats.norm.ppf(p), 1e-9, 1)
    t = stats.t.ppf(p, degrees)
    same("t quantile", case["t"], t, 1e-9, max(1, abs(t)))
    same("chi-square quantile", case["chi_square"], stats.chi2.ppf(p, degrees), 1e-9)
    same("t tail", case["t_below"], stats.t.cdf(value, degrees), 1e-9)

for case in cases["fits"]:
    x, y, weights = (np.array(case[name]) for name in ("x", "y", "weights"))
    fit = sm.WLS(y, x, weights=weights).fit()
    size = np.maximum(np.abs(fit.params), fit.bse)
    same("coefficient", case["coefficients"], fit.params, 1e-9, size)
    same("standard error", case["errors"], fit.bse, 1e-9)
    same("residual deviation", case["deviation"], np.sqrt(fit.scale), 1e-9)
    same("R2", case["r_squared"], fit.rsquared, 1e-9)
    # The same fit, rows scaled by the roots of their weights: of what is left of a row.
    root = np.sqrt(weights)
    influence = sm.OLS(y * root, x * root[:, None]).fit().get_influence()
    same("leverage", case["leverages"], influence.hat_matrix_diag, 1e-9, 1)
    standardized = influence.resid_studentized_internal
    same("standardized residual", case["standardized"], standardized, 1e-7, 1)
    for column, inflation in enumerate(case["inflations"], start=1):
        others = np.delete(x, column, axis=1)
        on_others = sm.WLS(x[:, column], others, weights=weights).fit()
        if np.shape(others)[1] == 1:
            # Only the constant is left: statsmodels gives 0 to rounding.
            same("inflation", inflation, 1.0, 1e-9)
        else:
            same("inflation", inflation, 1 / (1 - on_others.rsquared), 1e-8)

at_bounds = [0, 0, 0]
for case in cases["bounded"]:
    x, y = np.array(case["x"]), np.array(case["y"])
    root = np.sqrt(case["weights"])
    a, b = x * root[:, None], y * root
    fit = lsq_linear(a, b, bounds=(0, 1), method="bvls", tol=1e-14)
    same("bounded coefficient", case["coefficients"], fit.x, 1e-7, 1)
    # Not worse by a hair, and inside where it says so.
    own = np.array(case["coefficients"])
    cost = 0.5 * np.sum((a @ own - b) ** 2)
    if cost > fit.cost * (1 + 1e-9) + 1e-12:
        sys.exit(f"squares {cost} and the reference has {fit.cost}")
    for coefficient, inside in zip(own, case["inside"]):
        if not 0 <= coefficient <= 1 or inside != (0 < coefficient < 1):
            sys.exit(f"{coefficient} is said to be {'inside' if inside else 'at a bound'}")
        at_bounds[0 if coefficient == 0 else 1 if inside else 2] += 1
if min(at_bounds) < 50:
    sys.exit(f"the cases hardly meet the bounds: {at_bounds}")

rejections = 0
for case in cases["discoveries"]:
    reference = multipletests(case["p"], alpha=case["q"], method="fdr_bh")[0]
    if list(reference) != case["rejected"]:
        sys.exit(f"{case}: {list(reference)} is the reference's")
    rejections += sum(case["rejected"])
if rejections < 100:
    sys.exit(f"the cases hardly reject any: {rejections}")

apart = 0
for case in cases["between"]:
    errors = np.array(case["errors"])
    reference = combine_effects(np.array(case["values"]), errors**2, method_re="dl")
    tau2 = max(0.0, float(reference.tau2))
    same("variance between", case["between"], tau2, 1e-9, max(tau2, 1e-6))
    apart += tau2 > 0
if not 20 < apart < len(cases["between"]) - 5:
    sys.exit(f"{apart} cases of {len(cases['between'])} differ: they tell little")

for what, off in worst.items():
    print(f"{what}: off by {off:.2g} at most")
print(f"coefficients at 0, inside, at 1: {at_bounds}; rejected {rejections}; apart {apart}")
