"""The relation of length and weight that the tool asks by, fitted anew.

Everything published here is from Villasenor-Derbez and Fitzgerald 2019, PeerJ
7:e6667, doi 10.7717/peerj.6667 (CC BY 4.0): 109 lionfish, log10 of the weight in
grams against log10 of the total length in millimetres. The fit is Python's
statistics; the robust standard error is HC1, written out.
"""

import math
import statistics
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "services/rules/src/length_weight/lionfish-109.txt"


def close(what, got, published, within):
    if abs(got - published) > within:
        sys.exit(f"{what}: {got}, and {published} is published")
    print(f"{what}: {got:.6g}, published {published}")


rows = [line.split() for line in DATA.read_text().splitlines() if not line.startswith("#")]
length_cm = [float(cm) for cm, _ in rows]
grams = [float(g) for _, g in rows]
n = len(rows)
close("fish", n, 109, 0)
close("grams in all", math.fsum(grams), 5729.34, 0.005)
close("mean grams", statistics.fmean(grams), 52.56, 0.005)
close("deviation of grams", statistics.stdev(grams), 76.58, 0.005)

x = [math.log10(10 * cm) for cm in length_cm]
y = [math.log10(g) for g in grams]
slope, intercept = statistics.linear_regression(x, y)
r2 = statistics.correlation(x, y) ** 2
close("b", slope, 3.2347, 0.00005)
# The paper prints -5.4940; the data give -5.494087.
close("log10 a", intercept, -5.4940, 0.0001)
close("R2", r2, 0.977, 0.0005)

mean = statistics.fmean(x)
spread = math.fsum((xi - mean) ** 2 for xi in x)
rest = [yi - intercept - slope * xi for xi, yi in zip(x, y)]
hc1 = math.sqrt(
    n / (n - 2) * math.fsum(((xi - mean) * e) ** 2 for xi, e in zip(x, rest)) / spread**2
)
plain = math.sqrt(math.fsum(e * e for e in rest) / (n - 2) / spread)
close("t107 against b = 3", (slope - 3) / hc1, 6.04, 0.005)
close("F(1,107)", (slope / hc1) ** 2, 6928.67, 0.5)
# The wrong estimator is told apart from the right one.
if abs((slope - 3) / plain - 6.04) < 1:
    sys.exit("the plain standard error gives the published t as well: the check tells nothing")

# Centimetres put in for millimetres: the slope stays, the intercept is off by b.
_, in_cm = statistics.linear_regression([xi - 1 for xi in x], y)
close("log10 a in centimetres, the published trap", in_cm - intercept, slope, 1e-9)

# What the tool has compiled in is what was published.
source = (ROOT / "services/rules/src/length_weight.rs").read_text()
compiled = source.split("const A_2019: f64 = ")[1].split(";")[0].replace("_", "")
close("log10 of the factor compiled in", math.log10(float(compiled)), -5.4940, 1e-9)
