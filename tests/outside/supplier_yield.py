"""Suppliers judged anew by statsmodels and scipy, over random seasons of cuts.

The file named on the command line holds the cuts and what the tool made of them. Here
the like-for-like fit is statsmodels' WLS in the usual treatment coding, one level of each
factor left out, which the tool does not do; the mixed cuts are scipy's lsq_linear; the
naming is multipletests (fdr_bh). Figures are whole hundredths of a percent: half of one,
and a hair, is rounding.
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

LB = 45_359_237_000
checked = {}


def same(what, got, reference, within=0.51):
    got, reference = np.atleast_1d(got).astype(float), np.atleast_1d(reference).astype(float)
    if got.shape != reference.shape or not np.max(np.abs(got - reference)) <= within:
        sys.exit(f"{what}: {got}, and {reference} is the reference's")
    checked[what] = checked.get(what, 0) + 1


def judge(season):
    cuts = season["cuts"]
    names = sorted({share["supplier"] for cut in cuts for share in cut["inputs"]})
    x = np.array([sum(share["weight"] for share in cut["inputs"]) for cut in cuts]) / LB
    y = np.array([cut["fillet"] for cut in cuts]) / LB

    def pounds(**key):
        """Of each cut, pounds of what is so."""

        def is_so(cut, share):
            return all({**share, "cutter": cut["cutter"]}[name] == key[name] for name in key)

        return np.array(
            [sum(s["weight"] for s in cut["inputs"] if is_so(cut, s)) for cut in cuts]
        ) / LB

    levels = {
        "band": sorted({s["band"] for cut in cuts for s in cut["inputs"]}),
        "condition": sorted({s["condition"] for cut in cuts for s in cut["inputs"]}),
        "cutter": sorted({cut["cutter"] for cut in cuts}),
    }
    own = {name: pounds(supplier=name) for name in names}
    everything = {(): x}
    for factor, of in levels.items():
        everything |= {(factor, level): pounds(**{factor: level}) for level in of[1:]}
    nuisance = list(everything)
    everything |= {("supplier", name): own[name] for name in names[1:]}
    columns = list(everything)
    design = np.column_stack(list(everything.values()))
    if np.linalg.matrix_rank(design) < len(columns):
        return False
    fit = sm.WLS(y, design, weights=1 / x).fit()

    def inflation(name):
        total = {other: own[other].sum() for other in names if other != name}
        base = max(total, key=lambda other: total[other])
        beside = [everything[column] for column in nuisance]
        beside += [own[other] for other in names if other not in (name, base)]
        # The columns over the pounds of each cut, so that the first is a constant.
        scaled = np.column_stack(beside) / x[:, None]
        if scaled.shape[1] == 1:
            return 1.0
        return 1 / (1 - sm.WLS(own[name] / x, scaled, weights=x).fit().rsquared)

    inflations = {name: inflation(name) for name in names}
    mixed = np.array([len({s["supplier"] for s in cut["inputs"]}) > 1 for cut in cuts])
    shares = np.column_stack([own[name] for name in names]) / np.sqrt(x)[:, None]
    about_zero = {
        name: 1 / (1 - sm.OLS(shares[:, i], np.delete(shares, i, 1)).fit().rsquared)
        for i, name in enumerate(names)
    }
    # Who is left out where one is not separable is checked by the tool's own tests.
    if max(inflations.values()) > 10 or max(about_zero.values()) > 10:
        return False

    bounded = lsq_linear(shares, y / np.sqrt(x), bounds=(0, 1), method="bvls", tol=1e-14)
    raw = {}
    for i, name in enumerate(names):
        pure = (own[name] > 0) & ~mixed
        if (mixed & (own[name] > 0)).any():
            raw[name] = bounded.x[i]
        else:
            raw[name] = y[pure].sum() / x[pure].sum()
            error = np.sqrt(
                pure.sum() * ((y[pure] - raw[name] * x[pure]) ** 2).sum() / (pure.sum() - 1)
            )
            same("Cochran's error", got_of(season, name)["raw"][1], 1e4 * error / x[pure].sum())
        same("raw yield", got_of(season, name)["raw"][0], 1e4 * raw[name])
    within = sm.OLS(y / np.sqrt(x), shares).fit()
    inside = np.all((bounded.x > 0) & (bounded.x < 1))
    if inside:
        # The second time without rounding; towards the pooled yield as it is printed.
        tau2 = max(0.0, combine_effects(np.array(list(raw.values())), within.bse**2, method_re="dl").tau2)
        towards = season["pooled"][0] / 1e4
        for name, error in zip(names, within.bse):
            kept = tau2 / (tau2 + error**2)
            shrunk = towards + kept * (raw[name] - towards)
            same("shrunk yield", got_of(season, name)["shrunk"], 1e4 * shrunk)

    tested = []
    for name in names:
        got = got_of(season, name)
        others = [other for other in names if other != name]
        weight = {other: own[other].sum() for other in others}
        total = sum(weight.values())
        contrast = np.zeros(len(columns))
        for i, column in enumerate(columns):
            if column[:1] == ("supplier",):
                contrast[i] = 1 if column[1] == name else -weight[column[1]] / total
        test = fit.t_test(contrast)
        rest, error = float(test.effect[0]), float(test.sd[0, 0])
        low, high = test.conf_int()[0]
        same("inflation", got["inflation"], 100 * inflations[name], 1)
        same("rest", got["comparison"][0], 1e4 * rest)
        same("error of the rest", got["comparison"][1], 1e4 * error)
        same("interval of the rest", got["comparison"][2], [1e4 * low, 1e4 * high])
        chance = stats.t.cdf((rest + 0.02) / error, fit.df_resid)
        same("chance", got["comparison"][3], 1e6 * chance, 1)
        parts = [raw[name] - sum(weight[other] * raw[other] for other in others) / total]
        for factor, of in levels.items():
            part = 0.0
            for level in of[1:]:
                if factor == "cutter":
                    is_so = np.array([cut["cutter"] == level for cut in cuts])
                    share = {who: own[who][is_so].sum() for who in names}
                else:
                    share = {who: pounds(supplier=who, **{factor: level}).sum() for who in names}
                ours = share[name] / own[name].sum()
                theirs = sum(share[other] for other in others) / total
                part += fit.params[columns.index((factor, level))] * (ours - theirs)
            parts.append(part)
        same("parts", got["parts"], 1e4 * np.array([*parts, rest]))
        days = {cut["day"] for cut, pounds_of in zip(cuts, own[name]) if pounds_of > 0}
        enough = (own[name] > 0).sum() >= 6 and own[name].sum() >= 60 and len(days) >= 3
        if enough:
            tested.append((name, chance, high <= -0.02))
        elif got["verdict"] != "too little":
            sys.exit(f"{name} has too little, and is said to be {got['verdict']}")
    rejected = multipletests([chance for _, chance, _ in tested], alpha=0.1, method="fdr_bh")[0]
    for (name, _, under), rejected in zip(tested, rejected):
        verdict = "low" if under and rejected else "no difference"
        if got_of(season, name)["verdict"] != verdict:
            sys.exit(f"{name}: {got_of(season, name)['verdict']}, and {verdict} is the reference's")
        checked[verdict] = checked.get(verdict, 0) + 1
    return True


def got_of(season, name):
    return next(own for own in season["suppliers"] if own["supplier"] == name)


seasons = json.loads(Path(sys.argv[1]).read_text())
judged = sum(judge(season) for season in seasons)
print(f"{judged} of {len(seasons)} seasons: {checked}")
if judged < 0.7 * len(seasons) or min(checked.get(v, 0) for v in ("low", "no difference")) < 20:
    sys.exit("too few seasons, or verdicts of a kind, to tell")
