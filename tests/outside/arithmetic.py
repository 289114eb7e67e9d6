"""Weights and money in whole numbers and fractions; nothing is a float.

A weight is a whole number of 10 ng: 100,000,000 of them are a gram.
"""

import math
from decimal import Decimal
from fractions import Fraction

GRAM = 10**8
# 1 lb = 0.45359237 kg exactly and 16 oz: NIST Handbook 44, appendix C.
POUND = Fraction(Decimal("453.59237")) * GRAM
UNITS = {
    "LB": POUND,
    "KG": Fraction(1000 * GRAM),
    "G": Fraction(GRAM),
    "OZ": POUND / 16,
}


def half_up(value):
    """Nearest whole number; a half goes away from zero."""
    value = Fraction(value)
    nearest = (abs(value) + Fraction(1, 2)).__floor__()
    return nearest if value >= 0 else -nearest


def weigh(text, unit):
    """A reading, rounded once to 10 ng, which only an ounce needs."""
    return half_up(Fraction(Decimal(text)) * UNITS[unit])


def cents(weight, price, per):
    """weight x price, to the cent once.

    Money agrees with weight x price to the nearest cent: NIST Handbook 44,
    G-S.5.5 (from memory). Half a cent goes up: Quebec, D-8.1, r. 1, s. 15.
    """
    return half_up(Fraction(weight) / UNITS[per] * Fraction(price) * 100)


def of_message(weight):
    """A weight of the contract in 10 ng: decimal grams, up to 8 places."""
    exact = Fraction(Decimal(weight.grams)) * GRAM
    assert exact.denominator == 1, f"{weight.grams} g is no whole number of 10 ng"
    return int(exact)


def shown(weight, unit):
    """As people read it: half up to 3 places, the last dropped where it is 0."""
    thousandths = half_up(Fraction(weight) / UNITS[unit] * 1000)
    sign = "-" if thousandths < 0 else ""
    text = f"{sign}{abs(thousandths) // 1000}.{abs(thousandths) % 1000:03d}"
    return text.removesuffix("0")


def split_pay(payees, minor):
    """What each payee gets of an amount: fixed amounts first, then percents of the rest.

    `payees` are (party, fixed minor units or None, percent as a Fraction or None). Whole
    cents first; the cents left over go to the largest fractions, the first listed first.
    """
    rest = minor - sum(fixed for _, fixed, _ in payees if fixed is not None)
    assert rest >= 0 and sum(percent for _, _, percent in payees if percent is not None) == 100
    quotas = {n: rest * percent / 100 for n, (_, _, percent) in enumerate(payees) if percent is not None}
    cents = {n: math.floor(quota) for n, quota in quotas.items()}
    by_fraction = sorted(quotas, key=lambda n: (cents[n] - quotas[n], n))
    for n in by_fraction[: rest - sum(cents.values())]:
        cents[n] += 1
    return {party: cents.get(n, fixed) for n, (party, fixed, _) in enumerate(payees)}
