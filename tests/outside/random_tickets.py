"""Random tickets, priced by the running service and once more here.

    random_tickets.py URL COUNT [START]

Everything is invented from a start number that is printed; given again it gives the same
tickets. The second reckoning is `decimal` and `fractions` only, and shares no
code with the tool. Pounds and ounces are NIST Handbook 44's, rounding as in
arithmetic.py; band, ice and order of adjustments are the buyer's own rules.
"""

import random
import sys
from decimal import Decimal
from fractions import Fraction
from math import gcd

from arithmetic import POUND, UNITS, cents, half_up, of_message, shown, weigh
from served import Checks, Served

SITE = 1
SECOND = 10**6
# Wednesday 30 April 2031, 15:00 at UTC-4; the book's clock stands still there.
NOW = 1_935_342_000 * SECOND
HOUR = 3600 * SECOND
# Code, division and unit of each scale. The ounce's division is no whole 10 ng.
SCALES = {"dock": ("0.05", "LB"), "bench": ("0.002", "KG"), "small": ("0.1", "OZ")}
TOTES = {"blue": ("3.65", "LB"), "gray": ("58.3", "OZ"), "long": ("1.734", "KG")}
ICE_PERCENT = "3.25"
# Three letters each, of no meaning.
SPECIES = {"QAA": "PIECE", "QAB": "PIECE", "QAC": "PIECE", "QAD": "LOT"}
CONDITIONS = ("CLEAN", "BODY", "TORN")
PLACES = {"LB": 3, "KG": 3, "G": 1, "OZ": 2}
DIVERS = ("one", "two", "three")


def text(value, places):
    """A whole number of 1/10^places as decimal text."""
    return str(Decimal(value).scaleb(-places)) if places else str(value)


def price_of(e4):
    return Fraction(e4, 10_000)


def us(instant):
    return {"seconds": instant // SECOND, "nanos": instant % SECOND * 1000}


def reading(decimal, unit, scale=""):
    return {"decimal": decimal, "unit": f"WEIGHT_UNIT_{unit}", "scale": scale}


# --- what is on file -----------------------------------------------------------


class PriceList:
    """A random list of one species, as posted and as reckoned with."""

    def __init__(self, rng, species, per, effective):
        self.species, self.per, self.effective = species, per, effective
        self.by = SPECIES[species]
        self.edge_unit = rng.choice(sorted(UNITS))
        self.conditions = {
            condition: rng.randrange(-30_000, 10_000)
            for condition in CONDITIONS
            if rng.random() < 0.6
        }
        self.plate = {}
        self.grades = {}  # (presentation, grade) -> (edges, prices, not counted)
        for presentation in ("WHOLE", "GUTTED"):
            self.plate[presentation] = self.edge(rng, Fraction(3, 10), Fraction(9, 10))
            for grade in ("A", "B2"):
                edges = {self.edge(rng, Fraction(1), Fraction(4)) for _ in range(rng.randrange(3))}
                if self.by == "PIECE":
                    edges.add(self.plate[presentation])
                else:
                    edges = {self.edge(rng, Fraction(5), Fraction(80)) for _ in range(3)}
                edges = ["0", *sorted(edges, key=Decimal)]
                prices = [rng.choice((25_000, 52_500, rng.randrange(0, 200_000))) for _ in edges]
                self.grades[presentation, grade] = edges, prices, rng.randrange(0, 90_000)

    def edge(self, rng, low, high):
        """An edge between two weights in pounds, with as many places as its unit is given here."""
        places = PLACES[self.edge_unit]
        low, high = (int(x * POUND / UNITS[self.edge_unit] * 10**places) for x in (low, high))
        return text(rng.randrange(low, high), places)

    def weight(self, edge):
        return weigh(edge, self.edge_unit)

    def band(self, key, net, pieces):
        """Number of the band from 1: the edge itself is in the upper one."""
        edges = self.grades[key][0]
        return sum(self.weight(edge) * pieces <= net for edge in edges)

    def message(self):
        def band(edges, prices, i):
            to = {"to": edges[i + 1]} if i + 1 < len(edges) else {}
            return {"from": edges[i], "price": text(prices[i], 4), "name": f"band {i + 1}", **to}

        def grade(presentation, grade):
            edges, prices, not_counted = self.grades[presentation, grade]
            return {
                "grade": grade,
                "bands": [band(edges, prices, i) for i in range(len(edges))],
                "not_counted": text(not_counted, 4),
            }

        return {
            "site": SITE,
            "species": self.species,
            "effective_from": us(self.effective),
            "band_by": f"BAND_BY_{self.by}",
            "price_per": f"WEIGHT_UNIT_{self.per}",
            "edge_unit": f"WEIGHT_UNIT_{self.edge_unit}",
            "presentations": [
                {
                    "presentation": f"PRESENTATION_{presentation}",
                    "plate_minimum": plate,
                    "grades": [grade(presentation, name) for name in ("A", "B2")],
                }
                for presentation, plate in self.plate.items()
            ],
            "condition_adjustments": [
                {"condition": f"CONDITION_{condition}", "per_unit": text(e4, 4)}
                for condition, e4 in self.conditions.items()
            ],
        }


def put_on_file(served, rng):
    """Fills the book, and gives the price lists with the ids they were posted under."""

    def file(method, **what):
        return served.ask(f"OfficeService/{method}", request_id=request_id(rng), **what)

    for code in ("shed", *DIVERS):
        roles = ["PARTY_ROLE_BUYER" if code == "shed" else "PARTY_ROLE_HARVESTER"]
        file("RecordParty", party={"code": code, "name": f"Party {code}", "roles": roles})
    file(
        "RecordSite",
        site={
            "number": SITE,
            "name": "A shed",
            "time_zone": "Etc/GMT+4",
            "cutover_hour": 4,
            "currency": "USD",
            "buyer": "shed",
            "shown_unit": "WEIGHT_UNIT_LB",
        },
    )
    for code in SPECIES:
        file("RecordSpecies", species={"code": code, "name": f"Species {code}"})
    for code, division in SCALES.items():
        capacity = reading("400", "LB")
        scale = {"site": SITE, "code": code, "name": code, "capacity": capacity}
        file("RecordScale", scale={**scale, "division": reading(*division)})
    for code, tare in TOTES.items():
        file("RecordTote", tote={"site": SITE, "code": code, "tare": reading(*tare)})
    file("RecordSettings", settings={"site": SITE, "ice_percent": ICE_PERCENT})
    lists = []
    for i, species in enumerate(SPECIES):
        per = "KG" if i % 2 else "LB"
        # The second takes over within the day, at an odd microsecond.
        for effective in (NOW - 30 * HOUR, NOW - 2 * HOUR + rng.randrange(SECOND)):
            posted = PriceList(rng, species, per, effective)
            answer = file("PostPriceList", price_list=posted.message())
            posted.id = answer.price_list.id
            lists.append(posted)
    return lists


def request_id(rng):
    """A random UUID (RFC 9562, version 4) out of the start number."""
    digits = f"{rng.getrandbits(128):032x}"
    digits = f"{digits[:12]}4{digits[13:16]}8{digits[17:]}"
    return "-".join((digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:]))


# --- a random ticket -------------------------------------------------------------


def half_cent(rng, e4):
    """A net in thousandths that times this price is a whole number of cents and a half."""
    # net/1000 * e4/10^4 * 100 = net * e4 / 10^5, which must leave 1/2.
    common = gcd(e4, 10**5)
    if e4 == 0 or (10**5 // 2) % common:
        return None
    period = 10**5 // common
    first = (10**5 // 2 // common) * pow(e4 // common, -1, period) % period
    first += period * rng.randrange(max(1, 60_000 // period))
    return first if 200 < first < 120_000 else None


def random_net(rng, posted, key, condition):
    """Unit, places, net in the last of them, and pieces where the net asks for a number."""
    edges, prices, _ = posted.grades[key]
    chance = rng.random()
    if chance < 0.3:
        # Forced: the line, if it stays alone, comes to exactly half a cent.
        e4 = rng.choice(prices) + posted.conditions.get(condition, 0)
        net = half_cent(rng, max(0, e4))
        if net:
            return posted.per, 3, net, None
    if chance < 0.4 and posted.by == "PIECE":
        # Forced: the mean is exactly at an edge, or one step beside it.
        places, pieces = PLACES[posted.edge_unit], rng.randrange(1, 60)
        edge = int(Decimal(rng.choice(edges[1:])).scaleb(places))
        return posted.edge_unit, places, edge * pieces + rng.randrange(-1, 2), pieces
    unit = rng.choice(("LB", "LB", "KG", "G", "OZ"))
    places = rng.randrange(1, PLACES[unit] + 1)
    pounds = Fraction(rng.randrange(300, 60_000), 1000)
    return unit, places, max(1, int(pounds * POUND / UNITS[unit] * 10**places)), None


def random_tote(rng, posted, key, condition):
    unit, places, net, pieces = random_net(rng, posted, key, condition)
    scale = rng.choice(sorted(SCALES))
    named = {"LB": "blue", "KG": "long", "OZ": "gray"}.get(unit)
    tote = {}
    kind = rng.choice(("tared", "reading", "named"))
    if kind == "tared":
        tote["tared"] = True
        gross = net
    elif kind == "named" and named:
        tote["tote"] = named
        tare = Decimal(TOTES[named][0]).scaleb(places)
        gross = net + int(tare) + (tare != int(tare))
    else:
        tare = rng.randrange(1, 4_000 if places == 3 else 400)
        tote["tare_reading"] = reading(text(tare, places), unit, rng.choice(("", scale)))
        gross = net + tare
    tote["gross"] = reading(text(gross, places), unit, scale)
    tote["iced"] = pieces is None and rng.random() < 0.25
    if pieces is None and rng.random() < 0.9:
        # So that each band is met.
        edge = rng.choice((posted.plate[key[0]], posted.grades[key][0][-1]))
        mean = posted.weight(edge) * Fraction(rng.choice((1, 1, 2, 3)), rng.choice((1, 1, 2)))
        pieces = max(1, int(weigh(text(net, places), unit) / mean) + rng.choice((0, 0, 1)))
    if pieces:
        tote["pieces"] = pieces
        tote["pieces_estimated"] = rng.random() < 0.1
    return tote


def random_pieces(rng, posted, key):
    unit = rng.choice(("LB", "OZ", "G", "KG"))
    pieces = []
    for _ in range(rng.randrange(1, 9)):
        if rng.random() < 0.2 and posted.by == "PIECE" and unit == posted.edge_unit:
            edge = rng.choice(posted.grades[key][0][1:])
            pieces.append(reading(edge, unit, "small"))
            continue
        pounds = Fraction(rng.randrange(100, 5_000), 1000)
        amount = max(1, int(pounds * POUND / UNITS[unit] * 10 ** PLACES[unit]))
        pieces.append(reading(text(amount, PLACES[unit]), unit, "small"))
    return {"pieces": pieces}


def random_lot(rng, held):
    species = rng.choice(sorted(SPECIES))
    presentation = rng.choice(("WHOLE", "WHOLE", "GUTTED"))
    weighings = []
    for _ in range(rng.choice((1, 1, 2, 3, 4))):
        again = weighings and rng.random() < 0.4
        grade = weighings[-1]["grade"] if again else rng.choice(("A", "B2"))
        condition = weighings[-1]["condition"][10:] if again else rng.choice(CONDITIONS)
        weighing = {"grade": grade, "condition": f"CONDITION_{condition}"}
        key = presentation, grade
        if rng.random() < 0.2:
            weighing["pieces"] = random_pieces(rng, held[species], key)
        else:
            weighing["tote"] = random_tote(rng, held[species], key, condition)
        weighings.append(weighing)
    lot = {
        "species": species,
        "presentation": f"PRESENTATION_{presentation}",
        "weighings": weighings,
        "small_fish": f"SMALL_FISH_{rng.choice(('SELL', 'SELL', 'GIVE', 'TAKE_HOME'))}",
    }
    decision = rng.choice(("ACCEPT",) * 8 + ("HOLD", "REFUSE"))
    if decision != "ACCEPT":
        lot["receiving"] = {"decision": f"DECISION_{decision}", "reason": "at random"}
        lot["receiving"]["corrective_action"] = "none" if decision == "REFUSE" else ""
    return lot


def random_adjustment(rng, n):
    kind = rng.choice(("per_weight", "percent", "flat"))
    signed = rng.randrange(-9_000, 9_000)
    amount = {
        "per_weight": {
            "decimal": text(signed, 4),
            "per": f"WEIGHT_UNIT_{rng.choice(('LB', 'KG'))}",
        },
        "percent": text(rng.randrange(-150_000, 150_000), 4),
        "flat": {"amount_minor": signed, "currency": "USD"},
    }[kind]
    of = rng.choice(("PRICE", "SETTLEMENT"))
    return {"name": f"adjustment {n}", "kind": f"ADJUSTMENT_KIND_{of}", kind: amount}


def in_force(lists, instant):
    """The newest list of each species at an instant; each holds `[from, next)`."""
    held = {}
    for posted in sorted(lists, key=lambda p: p.effective):
        if posted.effective <= instant:
            held[posted.species] = posted
    return held


def random_ticket(rng, lists):
    """A request, and the instant at which it is priced."""
    switches = [p.effective for p in lists if p.effective > NOW - 3 * HOUR]
    instant = rng.choice(
        (NOW, NOW - rng.randrange(10 * HOUR), rng.choice(switches) + rng.randrange(-1, 2))
    )
    held = in_force(lists, instant)
    request = {
        "request_id": request_id(rng),
        "site": SITE,
        "harvester": rng.choice(DIVERS),
        "confirmation": "CONFIRMATION_BY_DIVER",
        "lots": [random_lot(rng, held) for _ in range(rng.choice((1, 1, 2, 3)))],
    }
    if instant != NOW or rng.random() < 0.5:
        # Only the difference counts, whatever the device's clock says.
        drift = rng.randrange(-HOUR, HOUR)
        request["sent_at"] = us(NOW + drift)
        request["first_reading_at"] = us(instant + drift)
    if rng.random() < 0.25:
        count = rng.randrange(1, 5)
        request["adjustments"] = [random_adjustment(rng, n) for n in range(count)]
    return request, instant


# --- the second reckoning --------------------------------------------------------


def weigh_reading(written):
    return weigh(written["decimal"], written["unit"][12:])


def nets(weighing):
    """[(gross, tare, ice, net, pieces)]: one for a tote, one for each fish."""
    if "pieces" in weighing:
        weights = [weigh_reading(piece) for piece in weighing["pieces"]["pieces"]]
        return [(weight, 0, 0, weight, 1) for weight in weights]
    tote = weighing["tote"]
    gross = weigh_reading(tote["gross"])
    tare = 0
    if "tare_reading" in tote:
        tare = weigh_reading(tote["tare_reading"])
    elif "tote" in tote:
        tare = weigh(*TOTES[tote["tote"]])
    ice = 0
    if tote["iced"]:
        # Down to the division of the scale.
        division = weigh(*SCALES[tote["gross"]["scale"]])
        ice = int((gross - tare) * Fraction(ICE_PERCENT) / 100 // division) * division
    return [(gross, tare, ice, gross - tare - ice, tote.get("pieces"))]


def reckon(request, instant, lists):
    """What the ticket must come to."""
    held_lists = in_force(lists, instant)
    lots, not_bought = [], []
    for n, lot in enumerate(request["lots"], 1):
        weighed = [nets(weighing) for weighing in lot["weighings"]]
        decision = lot.get("receiving", {}).get("decision", "DECISION_ACCEPT")[9:]
        sums = [[sum(column) for column in zip(*(fish[:4] for fish in w))] for w in weighed]
        row = {"n": n, "lot": lot, "weighed": sums, "decision": decision, "parts": []}
        lots.append(row)
        if decision == "REFUSE":
            not_bought.append((n, 1, sum(w[3] for w in sums)))
            continue
        posted = held_lists[lot["species"]]
        row["list"] = posted
        presentation = lot["presentation"][13:]
        parts = {}
        for weighing, fishes in zip(lot["weighings"], weighed):
            key = presentation, weighing["grade"]
            for _, _, ice, net, pieces in fishes:
                band = None
                if posted.by == "PIECE":
                    band = 0 if pieces is None else posted.band(key, net, pieces)
                part = parts.setdefault(
                    (band, weighing["grade"], weighing["condition"][10:]),
                    {"key": key, "net": 0, "pieces": 0},
                )
                part["net"] += net
                part["pieces"] = (
                    None if None in (pieces, part["pieces"]) else part["pieces"] + pieces
                )
        home = 0
        plate = posted.weight(posted.plate[presentation])
        for (band, grade, condition), part in parts.items():
            small = part["pieces"] and part["net"] < plate * part["pieces"]
            part["undersize"] = 3 if part["pieces"] is None else 2 if small else 1
            part.update(band=band, grade=grade, condition=condition)
            if small and lot["small_fish"] == "SMALL_FISH_TAKE_HOME":
                home += part["net"]
            else:
                row["parts"].append(part)
        if home:
            not_bought.append((n, 2, home))
    # Bands by lot: what was accepted of a species, presentation and grade on the ticket.
    accepted = {}
    for row in lots:
        for part in row["parts"]:
            key = row["lot"]["species"], *part["key"]
            accepted[key] = accepted.get(key, 0) + part["net"]
    lines = []
    for row in lots:
        for n, part in enumerate(row["parts"], 1):
            lines.append(reckon_line(row, n, part, accepted))
    return {"lots": lots, "not_bought": not_bought, "lines": lines, **pay(request, lines)}


def reckon_line(row, n, part, accepted):
    posted, lot = row["list"], row["lot"]
    band = part["band"]
    if band is None:
        band = posted.band(part["key"], accepted[lot["species"], *part["key"]], 1)
    _, prices, not_counted = posted.grades[part["key"]]
    list_e4 = prices[band - 1] if band else not_counted
    e4 = max(0, list_e4 + posted.conditions.get(part["condition"], 0))
    if part["undersize"] == 2 and lot["small_fish"] == "SMALL_FISH_GIVE":
        e4 = 0
    return {
        "lot": row["n"],
        "part": n,
        "band": band,
        "grade": part["grade"],
        "pieces": part["pieces"],
        "net": part["net"],
        "list_price": price_of(list_e4),
        "price": price_of(e4),
        "amount": cents(part["net"], price_of(e4), posted.per),
        "half": (Fraction(part["net"]) / UNITS[posted.per] * price_of(e4) * 100) % 1
        == Fraction(1, 2),
        "undersize": part["undersize"],
        "held": row["decision"] == "HOLD",
    }


def pay(request, lines):
    """Lines, then per weight, then percent of lines plus those, then flat; each rounded once."""
    total = sum(line["amount"] for line in lines)
    weight = sum(line["net"] for line in lines)
    asked = request.get("adjustments", [])
    by_weight = [
        cents(weight, Fraction(a["per_weight"]["decimal"]), a["per_weight"]["per"][12:])
        for a in asked
        if "per_weight" in a
    ]
    base = total + sum(by_weight)
    by_percent = [half_up(base * Fraction(a["percent"]) / 100) for a in asked if "percent" in a]
    flat = [a["flat"]["amount_minor"] for a in asked if "flat" in a]
    adjustments = by_weight + by_percent + flat
    payout = total + sum(adjustments)
    if payout < 0:
        # Never below 0.00; what was cut is a line of its own.
        adjustments.append(-payout)
        payout = 0
    held = min(payout, sum(line["amount"] for line in lines if line["held"]))
    return {
        "total": total,
        "adjustments": adjustments,
        "payout": payout,
        "held": held,
        "owed": payout - held,
    }


# --- comparing -------------------------------------------------------------------


def compare(checks, request, instant, ticket, expected):
    def same(what, got, value):
        checks.same(f"{request['request_id']} {what}", got, value)

    same("priced_at", ticket.priced_at.ToMicroseconds(), instant)
    same("lots", len(ticket.lots), len(expected["lots"]))
    for got, row in zip(ticket.lots, expected["lots"]):
        same(f"lot {row['n']} list", got.price_list, row["list"].id if "list" in row else "")
        same(f"lot {row['n']} code", bool(got.lot_code), bool(row["parts"]))
        for n, (weighed, value) in enumerate(zip(got.weighed, row["weighed"], strict=True)):
            # Fish weighed one by one has a net and nothing else.
            told = (
                ("gross", "tare", "ice", "net") if weighed.as_written.HasField("tote") else ("net",)
            )
            value = value if len(told) == 4 else value[3:]
            weights = [of_message(getattr(weighed, k)) for k in told]
            same(f"lot {row['n']} weighing {n}", weights, value)
    codes = {lot.n: lot.lot_code for lot in ticket.lots}
    same("lines", len(ticket.lines), len(expected["lines"]))
    for got, line in zip(ticket.lines, expected["lines"]):
        told = {
            "lot": got.lot_code,
            "part": got.part,
            "band": got.band,
            "grade": got.grade,
            "pieces": got.pieces if got.HasField("pieces") else None,
            "net": of_message(got.net),
            "shown": got.net.shown,
            "list_price": Fraction(got.list_price.decimal),
            "price": Fraction(got.price.decimal),
            "amount": got.amount.amount_minor,
            "undersize": got.undersize,
            "held": got.held,
        }
        value = {**line, "lot": codes[line["lot"]], "shown": shown(line["net"], "LB")}
        del value["half"]
        same(f"line {got.n}", told, value)
    not_bought = [(row.lot_n, row.why, of_message(row.net)) for row in ticket.not_bought]
    same("not bought", not_bought, expected["not_bought"])
    same("lines total", ticket.lines_total.amount_minor, expected["total"])
    same(
        "adjustments", [a.amount.amount_minor for a in ticket.adjustments], expected["adjustments"]
    )
    for what in ("payout", "owed", "held"):
        same(what, getattr(ticket, what).amount_minor, expected[what])
    small = sum(line["net"] for line in expected["lines"] if line["undersize"] == 2)
    same("undersize", of_message(ticket.undersize), small)


def main():
    url, count = sys.argv[1], int(sys.argv[2])
    start = int(sys.argv[3]) if len(sys.argv) > 3 else random.SystemRandom().getrandbits(32)
    print(f"start {start}")
    rng = random.Random(start)
    served = Served(url)
    # The office, the day before.
    served.ask("ClockService/SetClock", now=us(NOW - 31 * HOUR))
    lists = put_on_file(served, rng)
    served.ask("ClockService/SetClock", now=us(NOW))
    tickets = [random_ticket(rng, lists) for _ in range(count)]

    call, request_class = served.method("weighhouse.v1.IntakeService/CatchUp")
    items = [request_class(deed={"weigh_in": request}) for request, _ in tickets]
    checks = Checks()
    met = {
        "half": 0,
        "for nothing": 0,
        "held": 0,
        "small": 0,
        "uncounted": 0,
        "ice": 0,
        "two totes": 0,
        "cut": 0,
    }
    answered = 0
    # Outcomes come in the order of the deeds.
    for (request, instant), outcome in zip(tickets, call(iter(items), timeout=300)):
        answered += 1
        assert outcome.code == 0, f"{request}: {outcome.message}"
        checks.same("request id", outcome.request_id, request["request_id"])
        expected = reckon(request, instant, lists)
        compare(checks, request, instant, outcome.ticket, expected)
        for line in expected["lines"]:
            met["half"] += line["half"]
            met["for nothing"] += line["price"] == 0
            met["held"] += line["held"]
            met["small"] += line["undersize"] == 2
            met["uncounted"] += line["pieces"] is None
        for row in expected["lots"]:
            met["ice"] += any(w[2] for w in row["weighed"])
            met["two totes"] += len(row["parts"]) < len(row["weighed"])
        met["cut"] += expected["payout"] == 0 and expected["total"] > 0
    assert answered == count, f"{answered} outcomes of {count} deeds"
    print(", ".join(f"{what} {n}" for what, n in met.items()))
    # Each kind was really there.
    for what, n in met.items():
        assert n * 1000 >= count, f"only {n} of {count} tickets met: {what}"
    checks.finish(least=count * 10)


if __name__ == "__main__":
    main()
