#!/usr/bin/env python3
"""Works out what the demo week must come to, without a line of the tool's code.

Reads office.json and days/*.json beside it and writes expected/*.json: every
ticket, every making, every day's close, what each party is owed, what was paid,
taken off and carried, and the plain yields. Whole numbers and fractions only; nothing is a float.

    python3 demo-data/expected.py           write expected/
    python3 demo-data/expected.py --check   exit 1 if the stored files differ

The rules it follows, and how it reads them where two readings are possible, are
in README.md under "How the answers were worked out".
"""

import json
import re
import sys
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from math import isqrt
from pathlib import Path
from zoneinfo import ZoneInfo

HERE = Path(__file__).resolve().parent

# Weight is a whole number of 10 ng: 100,000,000 of them are a gram.
GRAM = 10**8
LB = Fraction(45359237, 10**5) * GRAM  # the pound: NIST Handbook 44, appendix C
UNIT = {
    "WEIGHT_UNIT_LB": LB,
    "WEIGHT_UNIT_KG": Fraction(1000 * GRAM),
    "WEIGHT_UNIT_G": Fraction(GRAM),
    "WEIGHT_UNIT_OZ": LB / 16,
}
DAY_US = 86_400_000_000
FILLETS = ("PRESENTATION_FILLET_SKIN_ON", "PRESENTATION_FILLET_SKINLESS")
FISH = (
    "PRESENTATION_WHOLE",
    "PRESENTATION_SPINES_CLIPPED",
    "PRESENTATION_GUTTED",
    "PRESENTATION_GUTTED_HEADED",
)


# --- numbers -----------------------------------------------------------------


def half_up(value):
    """Nearest whole number; a half goes away from zero."""
    value = Fraction(value)
    whole = (abs(value) * 2 + 1) // 2
    return int(whole if value >= 0 else -whole)


def weigh(reading):
    """A reading in 10 ng; only an ounce needs rounding."""
    return half_up(Fraction(reading["decimal"]) * UNIT[reading["unit"]])


def grams(weight):
    sign = "-" if weight < 0 else ""
    return f"{sign}{abs(weight) // GRAM}.{abs(weight) % GRAM:08d}"


def percent_2(part, whole):
    hundredths = half_up(Fraction(part, whole) * 10_000)
    return f"{hundredths // 100}.{hundredths % 100:02d}"


def cents(weight, price, per):
    """weight x price, to the cent once."""
    return half_up(Fraction(weight) / UNIT[per] * price * 100)


def price_text(price):
    e4 = half_up(price * 10_000)
    text = f"{e4 // 10_000}.{e4 % 10_000:04d}"
    return text[:-2] if text.endswith("00") else text.rstrip("0")


# --- days --------------------------------------------------------------------


def instant(text):
    """Microseconds since 1970 UTC."""
    moment = datetime.fromisoformat(text.replace("Z", "+00:00"))
    since = moment - datetime(1970, 1, 1, tzinfo=ZoneInfo("UTC"))
    return (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds


class SiteDays:
    """Business days of the site; they turn at the cut-over by the local clock."""

    def __init__(self, site):
        self.zone = ZoneInfo(site["timeZone"])
        self.hour = site["cutoverHour"]

    def start(self, day):
        turn = datetime.combine(date.fromisoformat(day), time(self.hour), self.zone)
        return instant(turn.isoformat())

    def next(self, day):
        return (date.fromisoformat(day) + timedelta(days=1)).isoformat()

    def of(self, us):
        seconds, micro = divmod(us, 1_000_000)
        utc = datetime.fromtimestamp(seconds, ZoneInfo("UTC")).replace(microsecond=micro)
        day = utc.astimezone(self.zone).date().isoformat()
        if us < self.start(day):
            day = (date.fromisoformat(day) - timedelta(days=1)).isoformat()
        return day


# --- what was sent -----------------------------------------------------------


def part_key(ref):
    """The part that `{{lot:LABEL/N}}` and a part number name: (LABEL, N, part)."""
    label, n = re.fullmatch(r"\{\{lot:(.+)/(\d+)\}\}", ref["lotCode"]).groups()
    return label, int(n), ref.get("part")


def held_key(text):
    """The hold that `{{hold:LABEL}}` or `{{hold:LABEL/LINE}}` names."""
    label, line = re.fullmatch(r"\{\{hold:([^/}]+)(?:/(\d+))?\}\}", text).groups()
    return label, int(line) if line else None


def entry_key(text):
    return re.fullmatch(r"\{\{(?:entry|ticket):(.+)\}\}", text).group(1)


def permissible(scale, load):
    """What a scale in use may be off by at a load: 1, 2, 3 or 5 divisions up to 500,
    2000, 4000 and more of them (NIST Handbook 44, section 2.20, table 6, class III)."""
    assert scale["accuracyClass"] == "III"
    division = weigh(scale["division"])
    steps = [(500, 1), (2000, 2), (4000, 3)]
    return division * next((off for most, off in steps if load <= most * division), 5)


BY_PRODUCTS = {f"PRESENTATION_{form}" for form in ("TRIM", "FRAMES", "ROE", "OTHER")}


class Lot:
    def __init__(self, species, presentation, storage, supplier):
        self.species = species
        self.presentation = presentation
        self.storage = storage
        self.supplier = supplier
        self.parts = {}  # number -> Part
        self.landed = False  # came in on a ticket
        self.harvested = None  # then: when its earliest fish was taken

    def part(self, key, **more):
        """The part with this key, opened with the next free number if need be."""
        for n, part in self.parts.items():
            if part.key == key:
                return n
        n = len(self.parts) + 1
        self.parts[n] = Part(key, **more)
        return n


class Part:
    """Fish of a lot alike in (band, grade, condition, held)."""

    def __init__(self, key, undersize="no"):
        self.key = key
        self.undersize = undersize


class Reading:
    """What a scale showed: all of `load`, of which `fish` is fish; a tote may be wet."""

    def __init__(self, scale, load, fish, tote=False):
        self.scale = scale
        self.load = load
        self.fish = fish
        self.tote = tote


def fish_read(reading):
    weight = weigh(reading)
    return Reading(reading.get("scale", ""), weight, weight)


class Doubt:
    """How far a weight may be off. What readings of one scale on one day share adds up
    with its sign, and so does drip of one kind; the rest adds up in squares."""

    def __init__(self):
        self.scales = {}  # (scale, day) -> half-width
        self.drips = {}  # (species, presentation, storage) -> 10 ng x ppm x microseconds
        self.twelfths = 0  # variance of the rest, times 12
        self.unknown = set()

    def add(self, other, sign=1):
        for key, width in other.scales.items():
            self.scales[key] = self.scales.get(key, 0) + sign * width
        for key, width in other.drips.items():
            self.drips[key] = self.drips.get(key, 0) + width
        self.twelfths += other.twelfths
        self.unknown |= other.unknown
        return self

    def explains(self):
        """Twice the standard uncertainty, up to whole 10 ng; nothing where unknown.

        A half-width a has the variance a^2 / 3, a step d of a scale d^2 / 12.
        """
        if self.unknown:
            return None
        widths = list(self.scales.values())
        widths += [half_up(Fraction(d, 1_000_000 * DAY_US)) for d in self.drips.values()]
        variance = sum(Fraction(a * a, 3) for a in widths) + Fraction(self.twelfths, 12)
        squared = -(-4 * variance // 1)
        root = isqrt(squared)
        return root + (root * root < squared)


class Event:
    """Something that happened to a part: in, out, count, or over to another part.

    `read` is what scales showed; by the book it is None."""

    def __init__(
        self,
        kind,
        part,
        weight,
        happened,
        day,
        n,
        what,
        emptied=False,
        ticket=None,
        to=None,
        read=None,
    ):
        self.kind = kind
        self.part = part
        self.weight = weight
        self.happened = happened
        self.day = day
        self.n = n  # order of recording
        self.what = what
        self.emptied = emptied
        self.ticket = ticket
        self.to = to
        self.read = read


class Week:
    """Everything recorded, in the order it was sent."""

    def __init__(self):
        self.lists = []  # (effective, posted n, list)
        self.species = {}
        self.scales = {}
        self.totes = {}
        self.settings = {}
        self.site = None
        self.days = None
        self.tickets = {}
        self.makings = {}
        self.holds = {}
        self.lots = {}  # (label, n) -> Lot
        self.same_lot = {}  # a rewritten ticket's lots keep their first name
        self.events = []
        self.pay = []  # changes of what a party is owed and of what is held
        self.agreed = []  # (from, recorded n, agreed price)
        self.dues = {}  # party -> advances and charges still to be taken off
        self.carried = {}  # party -> what a settlement left below zero
        self.settlements = {}
        self.paid_out = []  # (day, party, method, amount)
        self.drawers = {}
        self.disputes = {}
        self.cuts = []
        self.moves = {}
        self.last_recorded = {}  # day -> latest night the day heard of something
        self.n = 0

    # The steps.

    def take(self, step):
        self.n += 1
        ((kind, deed),) = step["deed"].items()
        at = instant(step["at"])
        getattr(self, "take_" + kind)(step["label"], deed, at)

    def take_site(self, _label, deed, _at):
        self.site = deed["site"]
        self.days = SiteDays(self.site)

    def take_party(self, _label, deed, _at):
        pass

    take_device = take_party

    def take_species(self, _label, deed, _at):
        self.species[deed["species"]["code"]] = deed["species"]

    def take_scale(self, _label, deed, _at):
        self.scales[deed["scale"]["code"]] = deed["scale"]

    def take_tote(self, _label, deed, _at):
        self.totes[deed["tote"]["code"]] = deed["tote"]

    def take_settings(self, _label, deed, _at):
        self.settings = deed["settings"]

    def take_priceList(self, _label, deed, _at):
        plist = deed["priceList"]
        self.lists.append((instant(plist["effectiveFrom"]), self.n, plist))

    def take_agreedPrice(self, _label, deed, at):
        agreed = deed["agreedPrice"]
        since = instant(agreed["from"]) if "from" in agreed else at
        self.agreed.append((since, self.n, agreed))

    # What moves neither weight nor pay.

    take_reprobe = take_party
    take_requestCodes = take_party
    take_room = take_party
    take_plan = take_party
    take_answerYield = take_party

    def take_dispute(self, label, deed, at):
        subject = f"{entry_key(deed['ticket'])}, line {deed['line']}"
        self.disputes[label] = {"day": self.days.of(at), "subject": subject, "open": True}

    def take_answerDispute(self, _label, deed, at):
        dispute = self.disputes[entry_key(deed["dispute"])]
        dispute["open"] = False
        # It speaks of the day of the dispute, which is closed anew without it.
        self.heard(dispute["day"], at)

    def setting(self, name, default):
        return Fraction(self.settings.get(name, default))

    def setting_weight(self, name, default):
        reading = self.settings.get(name, {"decimal": default, "unit": "WEIGHT_UNIT_LB"})
        return weigh(reading)

    def heard(self, day, at):
        """A day heard of something at `at`."""
        self.last_recorded[day] = max(self.last_recorded.get(day, 0), at)

    def lot(self, label, n):
        return self.lots[self.same_lot.get((label, n), (label, n))]

    def find(self, ref):
        label, n, part = part_key(ref)
        label, n = self.same_lot.get((label, n), (label, n))
        if part is None:
            (part,) = self.lots[(label, n)].parts
        return label, n, part

    def event(self, kind, part, weight, happened, at, what, **more):
        day = more.pop("day", None) or self.days.of(happened)
        self.heard(day, at)
        self.events.append(Event(kind, part, weight, happened, day, self.n, what, **more))

    def harvest(self, lot_in, landing):
        """When the earliest fish of a lot was taken: as speared, else its first day of harvest,
        else the day it was landed."""
        speared = lot_in.get("receiving", {}).get("firstSpearedAt")
        if speared:
            return instant(speared)
        day = lot_in.get("harvestFrom") or landing.get("harvestFrom") or landing.get("landedOn")
        return day and self.days.start(date(day["year"], day["month"], day["day"]).isoformat())

    def stands(self, event):
        return event.ticket is None or self.tickets[event.ticket]["state"] == "stands"

    def left(self, part):
        """By the book: the last count less what went out since."""
        book = 0
        events = [e for e in self.events if e.part == part and self.stands(e)]
        for event in sorted(events, key=lambda e: (e.happened, e.n)):
            if event.kind == "count":
                book = event.weight
            elif event.kind == "in":
                book += event.weight
            else:
                book -= event.weight
                if event.emptied:
                    book = 0
        return book

    # What is not certain.

    def doubt(self, readings, part, happened):
        """Of readings taken at one moment, of a part or of what was thrown out."""
        wet = part is None or self.lots[part[:2]].storage != "STORAGE_FROZEN"
        doubt = Doubt()
        for read in readings:
            if read.load == 0:
                continue
            scale = self.scales.get(read.scale)
            if scale is None or "testedOn" not in scale:
                doubt.unknown.add(read.scale)
            else:
                key = (read.scale, self.days.of(happened))
                width = permissible(scale, abs(read.load)) * (1 if read.load > 0 else -1)
                doubt.scales[key] = doubt.scales.get(key, 0) + width
            if scale is not None:
                doubt.twelfths += weigh(scale["division"]) ** 2
            if wet and read.fish:
                water = self.setting("surfaceWaterPercent", "1") * read.fish / 100
                doubt.twelfths += (2 * half_up(water)) ** 2
            if read.tote:
                doubt.twelfths += (2 * self.setting_weight("wetTote", "0.2")) ** 2
        return doubt

    # Weigh-ins.

    def take_weighIn(self, label, deed, at):
        first = deed.get("firstReadingAt")
        happened = at
        if first:
            happened = at - (instant(deed["sentAt"]) - instant(first))
        old = None
        if "rewrites" in deed:
            old = entry_key(deed["rewrites"]["ticket"])
        priced = self.tickets[old]["priced"] if old else happened
        day = self.tickets[old]["day"] if old else self.days.of(happened)
        ticket = {
            "harvester": deed["harvester"],
            "landing": self.tickets[old]["landing"] if old else label,
            "payees": deed.get("payees", []),
            "day": day,
            "pay_day": self.days.of(at),
            "priced": priced,
            "state": "stands",
            "lots": [],
            "lines": [],
            "not_bought": [],
            "adjustments": [],
        }
        if old:
            was = self.tickets[old]
            was["state"] = "rewritten"
            self.post(ticket["pay_day"], was, -1)
        self.tickets[label] = ticket
        place = 0
        for n, lot_in in enumerate(deed["lots"], 1):
            rows, not_bought = self.judge(lot_in, priced, deed["harvester"])
            ticket["not_bought"] += [{"lot_n": n, **row} for row in not_bought]
            if not rows:
                ticket["lots"].append({"n": n, "place": None})
                continue
            place += 1
            ticket["lots"].append({"n": n, "place": place})
            if old:  # same lot, same order: only weights, pieces and parts are mended
                key = self.same_lot.get((old, place), (old, place))
                self.same_lot[(label, place)] = key
                lot = self.lots[key]
                assert (lot.species, lot.presentation) == (
                    lot_in["species"],
                    lot_in["presentation"],
                )
            else:
                key = (label, place)
                lot = self.lots[key] = Lot(
                    lot_in["species"],
                    lot_in["presentation"],
                    lot_in.get("storage"),
                    deed["harvester"],
                )
            lot.landed, lot.harvested = True, self.harvest(lot_in, deed["landing"])
            self.add_lines(ticket, label, key, lot, rows, happened, at)
        self.total(ticket, deed)
        if "offline" in deed:
            shown = int(deed["offline"]["payoutShown"]["amountMinor"])
            assert shown == ticket["payout"], "a payout shown that differs is not in this week"
        self.post(ticket["pay_day"], ticket, 1)

    def post(self, pay_day, ticket, sign):
        """A ticket's pay, to each of its payees."""
        for party, owed, held in payee_shares(ticket):
            self.owe(pay_day, party, sign * owed, sign * held, ticket["landing"])

    def owe(self, day, party, owed, held, landing=None):
        """A change of what a party is owed; that of a landing is open until it is settled."""
        self.pay.append(
            {
                "day": day,
                "party": party,
                "owed": owed,
                "held": held,
                "landing": landing,
                "open": landing is not None and owed != 0,
            }
        )

    def add_lines(self, ticket, label, key, lot, rows, happened, at):
        lines = {}
        for row in rows:
            n = lot.part(row["key"], undersize=row["undersize"])
            line = lines.setdefault(n, {"row": row, "net": 0, "ice": 0, "pieces": 0})
            line["net"] += row["net"]
            line["ice"] += row["ice"]
            line["pieces"] = (
                None if None in (row["pieces"], line["pieces"]) else line["pieces"] + row["pieces"]
            )
            line.setdefault("read", []).extend(row["read"])
        for n, line in sorted(lines.items()):
            row = line["row"]
            band, grade, condition, held = row["key"]
            ticket["lines"].append(
                {
                    "n": len(ticket["lines"]) + 1,
                    "part": (*key, n),
                    "band": band,
                    "grade": grade,
                    "condition": condition,
                    "held": held,
                    "undersize": row["undersize"],
                    "pieces": line["pieces"],
                    "net": line["net"],
                    "ice": line["ice"],
                    "list_price": row["list_price"],
                    "price": row["price"],
                    "amount": cents(line["net"], row["price"], row["per"]),
                }
            )
            self.event(
                "in",
                (*key, n),
                line["net"],
                happened,
                at,
                "bought",
                day=ticket["day"],
                ticket=label,
                read=line["read"],
            )
            if held:
                self.holds[(label, len(ticket["lines"]))] = {
                    "part": (*key, n),
                    "to": (band, grade, condition, False),
                    "weight": line["net"],
                    "pay": ticket["lines"][-1]["amount"],
                    "party": ticket["harvester"],
                    "landing": ticket["landing"],
                }

    def judge(self, lot_in, priced, harvester):
        """Rows (key, net, ice, pieces, prices) that are bought, and rows that are not."""
        receiving = lot_in.get("receiving", {})
        decision = receiving.get("decision", "DECISION_ACCEPT")
        weighed = [self.net(w) for w in lot_in["weighings"]]
        if decision == "DECISION_REFUSE":
            return [], [{"why": "refused", "net": sum(net for w in weighed for net, _, _, _ in w)}]
        plist = self.price_list(lot_in["species"], priced)
        prices = next(
            p for p in plist["presentations"] if p["presentation"] == lot_in["presentation"]
        )
        edge_unit = UNIT[plist["edgeUnit"]]
        plate = Fraction(prices["plateMinimum"]) * edge_unit
        small = lot_in.get("smallFish", "SMALL_FISH_SELL")
        rows, home = [], 0
        for weighing, readings in zip(lot_in["weighings"], weighed):
            grade = next(g for g in prices["grades"] if g["grade"] == weighing["grade"])
            condition = weighing["condition"]
            by_condition = sum(
                Fraction(a["perUnit"])
                for a in plist.get("conditionAdjustments", [])
                if a["condition"] == condition
            )
            for net, ice, pieces, read in readings:
                if pieces is None:
                    band, undersize, list_price = 0, "not known", Fraction(grade["notCounted"])
                else:
                    # The mean against the edge, with no quotient to round.
                    band = sum(
                        net >= Fraction(b["from"]) * edge_unit * pieces for b in grade["bands"]
                    )
                    undersize = "yes" if net < plate * pieces else "no"
                    list_price = Fraction(grade["bands"][band - 1]["price"])
                base = list_price
                agreed = self.agreed_price(lot_in, weighing["grade"], priced, harvester)
                if agreed and (undersize == "no" or agreed.get("belowPlate")):
                    assert agreed["price"]["per"] == plist["pricePer"]
                    base = Fraction(agreed["price"]["decimal"])
                price = max(Fraction(0), base + by_condition)
                if undersize == "yes" and small == "SMALL_FISH_TAKE_HOME":
                    home += net
                    continue
                if undersize == "yes" and small == "SMALL_FISH_GIVE":
                    price = Fraction(0)
                rows.append(
                    {
                        "key": (band, weighing["grade"], condition, decision == "DECISION_HOLD"),
                        "net": net,
                        "ice": ice,
                        "pieces": pieces,
                        "read": read,
                        "undersize": undersize,
                        "list_price": list_price,
                        "price": price,
                        "per": plist["pricePer"],
                    }
                )
        return rows, [{"why": "taken home", "net": home}] if home else []

    def net(self, weighing):
        """[(net, ice, pieces, readings)]: one for a tote, one for each fish weighed alone."""
        if "pieces" in weighing:
            pieces = weighing["pieces"]["pieces"]
            return [(weigh(piece), 0, 1, [fish_read(piece)]) for piece in pieces]
        tote = weighing["tote"]
        gross = weigh(tote["gross"])
        if "tareReading" in tote:
            tare = weigh(tote["tareReading"])
        elif "tote" in tote:
            tare = weigh(self.totes[tote["tote"]]["tare"])
        else:
            tare = 0
        assert tare < gross
        ice = 0
        if tote.get("iced"):
            division = weigh(self.scales[tote["gross"]["scale"]]["division"])
            allowance = (gross - tare) * self.setting("icePercent", "0") / 100
            ice = int(allowance // division) * division
        net = gross - tare - ice
        scale = tote["gross"].get("scale", "")
        read = [Reading(scale, gross, net, tote=True)]
        if "tareReading" in tote:
            # Read on the scale of the gross where it names none; it is taken off.
            read.append(Reading(tote["tareReading"].get("scale") or scale, -tare, 0))
        return [(net, ice, tote.get("pieces"), read)]

    def price_list(self, species, priced):
        held = [
            (since, n, p)
            for since, n, p in self.lists
            if p["species"] == species and since <= priced
        ]
        return max(held, key=lambda row: row[:2])[2]

    def agreed_price(self, lot_in, grade, priced, harvester):
        """What was agreed with the diver: newest first, one for the grade before one for all."""
        for wanted in (grade, None):
            held = [
                (since, n, a)
                for since, n, a in self.agreed
                if (a["harvester"], a["species"]) == (harvester, lot_in["species"])
                and a["presentation"] == lot_in["presentation"]
                and a.get("grade") == wanted
                and since <= priced
            ]
            if held:
                newest = max(held, key=lambda row: row[:2])[2]
                if priced < instant(newest["to"]):
                    return newest
        return None

    def total(self, ticket, deed):
        lines_total = sum(line["amount"] for line in ticket["lines"])
        weight = sum(line["net"] for line in ticket["lines"])
        steps = {"perWeight": [], "percent": [], "flat": []}
        for adjustment in deed.get("adjustments", []):
            (step,) = [s for s in steps if s in adjustment]
            steps[step].append(adjustment)
        base = lines_total
        for adjustment in steps["perWeight"]:
            by = adjustment["perWeight"]
            self.adjust(ticket, adjustment, cents(weight, Fraction(by["decimal"]), by["per"]))
        base += sum(a["amount"] for a in ticket["adjustments"])
        for adjustment in steps["percent"]:
            self.adjust(ticket, adjustment, half_up(base * Fraction(adjustment["percent"]) / 100))
        for adjustment in steps["flat"]:
            self.adjust(ticket, adjustment, int(adjustment["flat"]["amountMinor"]))
        payout = lines_total + sum(a["amount"] for a in ticket["adjustments"])
        assert payout >= 0, "a payout below 0.00 is not in this week"
        held = sum(line["amount"] for line in ticket["lines"] if line["held"])
        assert held <= payout
        ticket.update(
            lines_total=lines_total,
            payout=payout,
            owed=payout - held,
            held=held,
            undersize=sum(line["net"] for line in ticket["lines"] if line["undersize"] == "yes"),
        )

    @staticmethod
    def adjust(ticket, adjustment, amount):
        kind = adjustment["kind"].removeprefix("ADJUSTMENT_KIND_").lower()
        ticket["adjustments"].append({"name": adjustment["name"], "kind": kind, "amount": amount})

    def take_voidTicket(self, _label, deed, at):
        ticket = self.tickets[entry_key(deed["ticket"])]
        ticket["state"] = "voided"
        self.heard(ticket["day"], at)
        self.post(self.days.of(at), ticket, -1)

    # Paying.

    def due(self, label, deed, name, amount, order):
        self.dues.setdefault(deed["payee"], []).append(
            {"label": label, "name": name, "due": amount, "order": order, "n": self.n}
        )

    def hand_over(self, deed, payments, at):
        for payment in payments:
            method = payment["method"].removeprefix("PAYMENT_METHOD_").lower()
            amount = int(payment["amount"]["amountMinor"])
            self.paid_out.append((self.days.of(at), deed["payee"], method, amount))

    def take_advance(self, label, deed, at):
        # Before every charge, whatever its order.
        amount = int(deed["payment"]["amount"]["amountMinor"])
        self.due(label, deed, deed["reason"], amount, (0, 0))
        self.hand_over(deed, [deed["payment"]], at)

    def take_charge(self, label, deed, _at):
        amount = int(deed["amount"]["amountMinor"])
        self.due(label, deed, deed["name"], amount, (1, deed.get("order", 0)))

    def take_settle(self, label, deed, at):
        """Open pay, less what is due, at most half of it; the rest of what is due is carried."""
        payee, scope = deed["payee"], deed.get("scope", {})
        open_pay = [p for p in self.pay if p["party"] == payee and p["open"]]
        if "tickets" in scope:
            landings = {self.tickets[entry_key(t)]["landing"] for t in scope["tickets"]}
        elif "from" in scope:
            first, end = (date(**scope[k]).isoformat() for k in ("from", "to"))
            landings = {p["landing"] for p in open_pay if first <= p["day"] < end}
        else:
            landings = {p["landing"] for p in open_pay}
        taken_up = [p for p in open_pay if p["landing"] in landings]
        assert taken_up, "nothing to settle"
        brought = self.carried.pop(payee, 0)
        payable = brought + sum(p["owed"] for p in taken_up)
        room = int(max(payable, 0) * self.setting("deductionPercent", "50") / 100)
        deductions = []
        for due in sorted(self.dues.pop(payee, []), key=lambda d: (d["order"], d["n"])):
            taken = min(due["due"], room)
            room -= taken
            left = due["due"] - taken
            row = {"due": due["due"], "taken": taken, "carried": left}
            deductions.append({"name": due["name"], **row})
            if left:
                self.dues.setdefault(payee, []).append({**due, "due": left})
        deducted = sum(row["taken"] for row in deductions)
        paid = max(0, payable - deducted)
        handed = sum(int(p["amount"]["amountMinor"]) for p in deed.get("payments", []))
        assert handed == paid, f"{label}: {handed} is handed over and {paid} is to be paid"
        if payable < 0:
            self.carried[payee] = payable
        for change in taken_up:
            change["open"] = False
        self.owe(self.days.of(at), payee, -(paid + deducted), 0)
        self.hand_over(deed, deed.get("payments", []), at)
        self.settlements[label] = {
            "payee": payee,
            "items": [{"landing": p["landing"], "amount": p["owed"]} for p in taken_up],
            "brought_forward": brought,
            "payable": payable,
            "deductions": deductions,
            "deducted": deducted,
            "paid": paid,
            "carried_forward": min(payable, 0),
        }

    def take_drawerCount(self, label, deed, _at):
        day = date(**deed["day"]).isoformat()
        opening = int(deed["opening"]["amountMinor"])
        counted = int(deed["counted"]["amountMinor"])
        paid = sum(a for d, _, how, a in self.paid_out if d == day and how == "currency")
        self.drawers[label] = {
            "day": day,
            "opening": opening,
            "paid": paid,
            "expected": opening - paid,
            "counted": counted,
            "difference": counted - (opening - paid),
        }

    # Stock.

    def happened(self, deed, at):
        return instant(deed["happenedAt"]) if "happenedAt" in deed else at

    def sibling(self, part, **change):
        """The part of the same lot with another grade, condition or hold."""
        label, n, number = part
        lot = self.lots[(label, n)]
        old = lot.parts[number]
        band, grade, condition, held = old.key
        key = (
            band,
            change.get("grade", grade),
            change.get("condition", condition),
            change.get("held", held),
        )
        return label, n, lot.part(key, undersize=old.undersize)

    def shift(self, what, part, to, weight, happened, at, reading=None):
        read = [fish_read(reading)] if reading else None
        self.event("over", part, weight, happened, at, what, to=to, read=read)
        self.event("in", to, weight, happened, at, what)

    def line_of(self, part):
        for ticket in self.tickets.values():
            if ticket["state"] == "stands":
                for line in ticket["lines"]:
                    if line["part"] == part:
                        return ticket, line
        return None, None

    def take_hold(self, label, deed, at):
        part = self.find(deed["part"])
        ticket, line = self.line_of(part)
        weight = weigh(deed["weight"]) if "weight" in deed else self.left(part)
        pay = half_up(Fraction(line["amount"] * weight, line["net"]))
        assert not ticket["payees"], "a hold of a boat's fish is not in this week"
        to = self.sibling(part, held=True)
        self.shift("hold", part, to, weight, self.happened(deed, at), at, deed.get("weight"))
        self.holds[(label, None)] = {
            "part": to,
            "to": self.lots[part[:2]].parts[part[2]].key,
            "weight": weight,
            "pay": pay,
            "party": ticket["harvester"],
            "landing": ticket["landing"],
        }
        self.owe(self.days.of(at), ticket["harvester"], -pay, pay, ticket["landing"])

    def take_release(self, _label, deed, at):
        hold = self.holds.pop(held_key(deed["holdId"]))
        label, n, _ = hold["part"]
        lot = self.lots[(label, n)]
        to = (label, n, lot.part(hold["to"], undersize=lot.parts[hold["part"][2]].undersize))
        self.shift("release", hold["part"], to, hold["weight"], self.happened(deed, at), at)
        self.owe(self.days.of(at), hold["party"], hold["pay"], -hold["pay"], hold["landing"])

    def take_regrade(self, _label, deed, at):
        part = self.find(deed["part"])
        change = {k: deed[k] for k in ("grade", "condition") if k in deed}
        weight = weigh(deed["weight"]) if "weight" in deed else self.left(part)
        to = self.sibling(part, **change)
        self.shift("regrade", part, to, weight, self.happened(deed, at), at, deed.get("weight"))

    def take_movement(self, label, deed, at):
        outlet = deed["outlet"].removeprefix("OUTLET_").lower()
        self.moves[label] = [self.find(taken["part"]) for taken in deed["taken"]]
        for taken in deed["taken"]:
            part = self.find(taken["part"])
            assert (
                outlet != "discard"
                or not self.lots[part[:2]].parts[part[2]].key[3]
                or any(e.part == part and e.what == "returned" for e in self.events)
            ), "discarding held fish that is not owed is not in this week"
            self.event(
                "out",
                part,
                weigh(taken["weight"]),
                self.happened(deed, at),
                at,
                outlet,
                emptied=taken.get("emptied", False),
                read=[fish_read(taken["weight"])],
            )

    def take_customerReturn(self, _label, deed, at):
        part = self.find(deed["part"])
        assert part in self.moves[entry_key(deed["movement"])]
        to = self.sibling(part, held=True)
        weight, read = weigh(deed["weight"]), [fish_read(deed["weight"])]
        self.event("in", to, weight, self.happened(deed, at), at, "returned", read=read)

    def take_count(self, label, deed, at):
        closes = deed["closes"]
        day = date(closes["year"], closes["month"], closes["day"]).isoformat()
        happened = self.happened(deed, at)
        for counted in deed.get("counted", []):
            part = self.find(counted["part"])
            self.counted(part, counted["weight"], happened, at, day)
        if "pool" in deed:
            pool = deed["pool"]
            parts = [self.find(ref) for ref in pool["parts"]]
            to = self.pool(label, parts, pool.get("storage"), pool.get("grade"), happened, at, day)
            self.counted(to, pool["weight"], happened, at, day)

    def counted(self, part, reading, happened, at, day):
        weight, read = weigh(reading), [fish_read(reading)]
        self.event("count", part, weight, happened, at, "count", day=day, read=read)

    def still_small(self, parts, presentation):
        """What comes of undersize fish only is undersize fish while it is fish."""
        small = all(self.lots[part[:2]].parts[part[2]].undersize == "yes" for part in parts)
        return "yes" if small and presentation in FISH else "no"

    def pool(self, label, parts, storage, grade, happened, at, day):
        lots = [self.lots[part[:2]] for part in parts]
        (species,) = {lot.species for lot in lots}
        (presentation,) = {lot.presentation for lot in lots}
        suppliers = {lot.supplier for lot in lots}
        supplier = suppliers.pop() if len(suppliers) == 1 else ""
        self.lots[(label, 1)] = lot = Lot(species, presentation, storage, supplier)
        to = (
            label,
            1,
            lot.part(
                (0, grade or "", None, False), undersize=self.still_small(parts, presentation)
            ),
        )
        total = 0
        for part in parts:
            weight = self.left(part)
            total += weight
            self.event("over", part, weight, happened, at, "used", day=day, to=to)
        self.event("in", to, total, happened, at, "made", day=day)
        self.makings[label] = {
            "kind": "pool",
            "day": day,
            "input": total,
            "lots": [(presentation, total)],
            "fillet": 0,
            "discard": 0,
            "loss": 0,
            "table": 0,
            "table_doubt": Doubt(),
            "judged": True,
        }
        return to

    def take_making(self, label, deed, at):
        kind = deed["kind"].removeprefix("MAKING_KIND_").lower()
        assert kind != "pool", "pools of this week are pooled and counted"
        happened = self.happened(deed, at)
        day = self.days.of(happened)
        customer = kind == "customer_cut"
        sources = []
        for source in deed["inputs"]:
            part = (
                self.moves[entry_key(source["dispatch"])][0]
                if customer
                else self.find(source["part"])
            )
            sources.append((part, weigh(source["weight"]), source.get("emptied", False)))
        total = sum(weight for _, weight, _ in sources)
        lots = [self.lots[part[:2]] for part, _, _ in sources]
        species = lots[0].species
        assert all(lot.species == species for lot in lots)
        suppliers = {lot.supplier for lot in lots}
        supplier = suppliers.pop() if len(suppliers) == 1 else ""
        fillet = discard = place = 0
        made = []
        judged = True
        table_doubt = Doubt()
        if not customer:
            for (part, weight, emptied), source in zip(sources, deed["inputs"]):
                read = [fish_read(source["weight"])]
                table_doubt.add(self.doubt(read, part, happened))
                self.event("out", part, weight, happened, at, "used", emptied=emptied, read=read)
        for output in deed["outputs"]:
            if output["fate"] == "OUTPUT_FATE_NOT_WEIGHED":
                judged = False
                continue
            weight, read = weigh(output["weight"]), [fish_read(output["weight"])]
            if output["fate"] == "OUTPUT_FATE_DISCARD":
                discard += weight
                table_doubt.add(self.doubt(read, None, happened), -1)
                continue
            made.append((output["presentation"], weight))
            fillet += weight if output["presentation"] in FILLETS else 0
            if not customer:
                place += 1
                lot = Lot(species, output["presentation"], output.get("storage"), supplier)
                self.lots[(label, place)] = lot
                small = self.still_small([part for part, _, _ in sources], output["presentation"])
                part = (
                    label,
                    place,
                    lot.part((0, output.get("grade", ""), None, False), undersize=small),
                )
                table_doubt.add(self.doubt(read, part, happened), -1)
                self.event("in", part, weight, happened, at, "made", read=read)
        residue = total - sum(weight for _, weight in made) - discard
        loss = table = 0
        if judged:
            most = half_up(total * self.setting("cuttingLossPercent", "4") / 100)
            water = half_up(total * self.setting("waterPercent", "1") / 100)
            loss = min(max(residue, -water), most)
            table = residue - loss
        self.heard(day, at)
        self.makings[label] = {
            "kind": kind,
            "day": day,
            "input": total,
            "lots": made,
            "fillet": fillet,
            "discard": discard,
            "loss": loss,
            "table": table,
            "table_doubt": table_doubt,
            "judged": judged,
        }
        if kind in ("cut", "customer_cut"):
            self.cuts.append(
                {
                    "day": day,
                    "specification": deed["specification"],
                    "customer": customer,
                    "species": species,
                    "fillet": fillet,
                    "input": total,
                    "sources": [
                        (lot.supplier, lot.presentation, s[1]) for lot, s in zip(lots, sources)
                    ],
                }
            )


# --- the nights --------------------------------------------------------------


class Stock:
    """One part as the days go by."""

    def __init__(self, rate):
        self.ppm, self.allowance_ppm, self.kind = rate
        self.book = 0
        self.doubt = Doubt()
        self.drip = 0  # 10 ng x ppm x microseconds since the last count
        self.came_in = 0
        self.finished = False
        self.harvested = None  # earliest of any fish in it

    def drip_on(self, microseconds):
        if self.book > 0:
            self.drip += self.book * self.ppm * microseconds
            allowance = self.book * self.allowance_ppm * microseconds
            if allowance:
                self.doubt.drips[self.kind] = self.doubt.drips.get(self.kind, 0) + allowance

    def expected_drip(self):
        return half_up(Fraction(self.drip, 1_000_000 * DAY_US))


class Night:
    """Steps through the business days and closes each."""

    def __init__(self, week):
        self.week = week
        self.stock = {}
        self.rates = {
            (r["species"], r["presentation"], r["storage"]): [
                Fraction(r[name]) * 10_000 for name in ("percentPerDay", "allowancePercentPerDay")
            ]
            for r in week.settings.get("dripRates", [])
        }

    def rate(self, part):
        """Drip of a part's kind of fish and what it may be off by, ppm a day."""
        lot = self.week.lots[part[:2]]
        kind = (lot.species, lot.presentation, lot.storage)
        ppm, allowance = self.rates.get(kind, [Fraction(0), Fraction(0)])
        assert ppm.denominator == allowance.denominator == 1
        return int(ppm), int(allowance), kind

    def on_hand(self, day, until):
        """Open parts at `until`, with book weight and the drip expected by then."""
        self.run_day(day, until)
        return {
            part: (stock.book, stock.expected_drip())
            for part, stock in self.stock.items()
            if not stock.finished
        }

    def run_day(self, day, until=None):
        week, start = self.week, self.week.days.start(day)
        end = until or week.days.start(week.days.next(day))
        rows = {}
        flags = set()
        handed = {}  # (entry, part) -> what comes along with weight that goes by the book
        ages = {}  # entry -> earliest harvest of what it took
        for part, stock in self.stock.items():
            if stock.finished:
                stock.harvested = None
            else:
                rows[part] = new_row(stock.book)
        events = [e for e in week.events if e.day == day and week.stands(e)]

        def clamp(e):
            return min(max(e.happened, start), end)

        order = {id(e): i for i, e in enumerate(week.events)}
        clocks = {part: start for part in self.stock}
        for event in sorted(events, key=lambda e: (clamp(e), e.n, order[id(e)])):
            part, now = event.part, clamp(event)
            stock = self.stock.get(part)
            if stock is None:
                stock = self.stock[part] = Stock(self.rate(part))
            row = rows.setdefault(part, new_row(stock.book))
            stock.drip_on(now - clocks.get(part, now))
            clocks[part] = now
            read = None
            if event.read is not None:
                read = week.doubt(event.read, part, event.happened)
            if event.kind == "in":
                stock.doubt.add(handed.pop((event.n, part)) if read is None else read)
                if event.what == "bought":
                    came = week.lots[part[:2]].harvested
                else:
                    came = None if event.what == "returned" else ages.get(event.n)
                stock.harvested = min(filter(None, (stock.harvested, came)), default=None)
                stock.book += event.weight
                stock.came_in += event.weight
                stock.finished = False
                row["in"] += event.weight
                row["by"][event.what] = row["by"].get(event.what, 0) + event.weight
            elif event.kind == "count":
                settle(stock, row, event.weight, read)
                row["counted"] = True
                stock.finished = event.weight == 0
            else:
                known = filter(None, (ages.get(event.n), stock.harvested))
                ages[event.n] = min(known, default=None)
                if stock.finished:
                    flags.add(("reopened", (part,)))
                if event.weight > stock.book:
                    doubt = Doubt().add(stock.doubt).add(read or Doubt(), -1)
                    within = max(doubt.explains() or 0, self.finished_below(stock))
                    if event.weight - stock.book > within:
                        flags.add(("overdrawn", (part,)))
                    row["overdrawn"] = max(row["overdrawn"], event.weight - stock.book)
                if event.kind == "over" and event.weight >= stock.book > 0:
                    # All of it: what it should have dripped goes along.
                    other = self.stock.setdefault(event.to, Stock(self.rate(event.to)))
                    other.drip_on(now - clocks.get(event.to, now))
                    clocks[event.to] = now
                    other.drip += stock.drip
                    stock.drip = 0
                    along = handed.setdefault((event.n, event.to), Doubt())
                    along.drips = {
                        kind: along.drips.get(kind, 0) + stock.doubt.drips.get(kind, 0)
                        for kind in {*along.drips, *stock.doubt.drips}
                    }
                    stock.doubt.drips = {}
                if event.kind == "over":
                    along = handed.setdefault((event.n, event.to), Doubt())
                    if read is None:
                        assert event.weight >= stock.book, "a share by the book is not in this week"
                        along.add(stock.doubt)
                        stock.doubt = Doubt()
                    else:
                        along.add(read)
                if read is not None:
                    stock.doubt.add(read, -1)
                stock.book -= event.weight
                row["out"] += event.weight
                row["by"][event.what] = row["by"].get(event.what, 0) + event.weight
                if event.emptied or 0 <= stock.book <= self.finished_below(stock):
                    settle(stock, row, 0, Doubt())
                    stock.finished = True
                else:
                    stock.finished = False
        for part, stock in self.stock.items():
            stock.drip_on(end - clocks.get(part, start))
            if part in rows:
                rows[part]["closing"] = stock.book
                rows[part]["finished"] = stock.finished
        return rows, flags

    def finished_below(self, stock):
        share = half_up(stock.came_in * self.week.setting("finishedPercent", "0.5") / 100)
        return max(self.week.setting_weight("finishedWeight", "0.10"), share)

    def close(self, day):
        week = self.week
        rows, flags = self.run_day(day)
        flags |= self.judge(day, rows, flags)
        makings = [m for m in week.makings.values() if m["day"] == day]
        flags |= {
            ("table_unaccounted" if m["table"] > 0 else "more_out_than_in", (label,))
            for label, m in week.makings.items()
            if m["day"] == day
            and m["kind"] != "customer_cut"
            and abs(m["table"]) > (m["table_doubt"].explains() or 0)
        }
        flags |= {
            ("dispute_open", (dispute["subject"],))
            for dispute in week.disputes.values()
            if dispute["day"] == day and dispute["open"]
        }
        gaps = any(kind == "uncounted" for kind, _ in flags)
        moved = {}
        inward = {"bought": 0, "returned": 0, "made": 0, "used": 0}
        for row in rows.values():
            for what, weight in row["by"].items():
                if what in inward:
                    inward[what] += weight
                elif what not in ("hold", "release", "regrade"):
                    moved[what] = moved.get(what, 0) + weight
        own = [m for m in makings if m["kind"] != "customer_cut"]

        def total(name):
            return sum(row[name] for row in rows.values())

        balance = {
            "opening": total("opening"),
            **inward,
            "out": moved,
            "shrink": total("shrink"),
            "unaccounted": total("unaccounted"),
            "closing": total("closing"),
            "cutting_loss": sum(m["loss"] for m in own),
            "table_unaccounted": sum(m["table"] for m in own),
        }
        assert (
            balance["opening"] + balance["bought"] + balance["returned"] + balance["made"]
            == balance["used"]
            + sum(moved.values())
            + balance["shrink"]
            + balance["unaccounted"]
            + balance["closing"]
        ), "the day must balance"
        return {
            "revision": self.revision(day),
            "state": "closed with gaps" if gaps else "closed",
            "exit_code": 1 if flags else 0,
            "balance": balance,
            "parts": rows,
            "undersize": self.undersize(rows),
            "flags": sorted(flags),
        }

    def judge(self, day, rows, raised):
        """Flags of parts and of the site; what was raised already is not raised again."""
        week = self.week
        least = week.setting_weight("flagWeight", "0.5")
        percent = week.setting("flagPercent", "1")
        value_least = int(week.settings.get("flagValue", {"amountMinor": "500"})["amountMinor"])

        def beyond(weight, doubt, handled):
            explained = (doubt.explains() if doubt else None) or 0
            return abs(weight) > max(least, handled * percent / 100, explained)

        odd = {}
        flags = set()
        for part, row in rows.items():
            missing = row["unaccounted"]
            if missing < 0:
                # A surplus may be the other side of an overdraft.
                missing = min(missing + row["overdrawn"], 0)
            if beyond(missing, row["doubt"], row["opening"] + row["in"]):
                _, line = week.line_of(part)
                assert line, f"{part}: only parts with a line have a value here"
                if (
                    half_up(Fraction(line["amount"] * abs(missing), line["net"]))
                    >= value_least
                ):
                    odd[part] = row["unaccounted"]
            if not row["finished"] and not row["counted"]:
                flags.add(("uncounted", (part,)))
        for part in sorted(odd):
            for other in sorted(odd):
                doubts = [rows[p]["doubt"] for p in (part, other)]
                if part < other and self.swapped(part, odd[part], other, odd[other], doubts):
                    flags.add(("swapped", (part, other)))
        paired = {part for _, parts in flags if _ == "swapped" for part in parts}
        flags |= {("unaccounted", (part,)) for part in odd if part not in paired}
        handled = sum(
            row["opening"] + row["by"].get("bought", 0) + row["by"].get("returned", 0)
            for row in rows.values()
        )
        site = sum(row["unaccounted"] for row in rows.values())
        doubt = Doubt()
        for row in rows.values():
            if row["doubt"]:
                doubt.add(row["doubt"])
        said = {
            part
            for kind, parts in flags | raised
            if kind in ("unaccounted", "swapped", "overdrawn", "reopened")
            for part in parts
        }
        rest = sum(row["unaccounted"] for part, row in rows.items() if part not in said)
        if beyond(site, doubt, handled) and beyond(rest, doubt, handled):
            # Worth what its parts are worth; here never near the limit.
            value = 0
            for part, row in rows.items():
                _, line = week.line_of(part)
                if line and part not in said:
                    value += Fraction(line["amount"] * row["unaccounted"], line["net"])
            assert abs(value) > 5 * value_least, f"{day}: too near the limit to say"
            flags.add(("unaccounted_site", ("site",)))
        end = week.days.start(week.days.next(day))
        for part, row in rows.items():
            harvested, most = self.stock[part].harvested, self.oldest(part)
            there = not row["finished"] and row["closing"] > 0
            if there and harvested and most and end - harvested > most:
                flags.add(("old", (part,)))
        for hold in week.holds.values():
            since = min(e.happened for e in week.events if e.part == hold["part"])
            assert end - since <= 3 * DAY_US, "no hold is older than three days in this week"
        return flags

    def oldest(self, part):
        """How old fish of a part may get before it is looked at, microseconds: common
        practice, which this week's office leaves as it is but for donations, which are
        proposed first for no fish of this week."""
        ages = [name for name in self.week.settings["judging"] if "ays" in name or "ours" in name]
        assert ages in ([], ["donationHours"])
        assert self.week.settings["undersizeOutlet"] == "OUTLET_SOUP"
        lot = self.week.lots[part[:2]]
        _, _, _, held = lot.parts[part[2]].key
        if lot.storage == "STORAGE_FROZEN":
            return None
        if lot.presentation.startswith("PRESENTATION_FILLET"):
            return 3 * DAY_US
        if lot.presentation in BY_PRODUCTS:
            return None
        small = lot.parts[part[2]].undersize == "yes" and not held and lot.landed
        return (3 if small else 5) * DAY_US

    def swapped(self, part, one, other, two, doubts):
        lots = self.week.lots
        same = lots[part[:2]].species == lots[other[:2]].species
        both = Doubt().add(doubts[0]).add(doubts[1]).explains() or 0
        near = abs(one + two) <= max(max(abs(one), abs(two)) / Fraction(20), both)
        return same and (one > 0) != (two > 0) and near

    def undersize(self, rows):
        """Undersize fish that was there or came in, and where it went on this day."""
        inside = ("bought", "returned", "made", "used", "hold", "release", "regrade")
        found = {}
        for part, row in rows.items():
            if self.week.lots[part[:2]].parts[part[2]].undersize == "yes":
                found[part] = {
                    "taken_in": row["by"].get("bought", 0),
                    "out": {k: w for k, w in row["by"].items() if k not in inside},
                    "made_into_lots": row["by"].get("used", 0),
                    "left": row["closing"],
                }
        return found

    def revision(self, day):
        """1, and one more for each later night before which the day heard of something."""
        start = self.week.days.start
        first_night = start(self.week.days.next(day))
        return 1 if self.week.last_recorded.get(day, 0) < first_night else 2


def new_row(opening):
    return {
        "opening": opening,
        "in": 0,
        "out": 0,
        "shrink": 0,
        "unaccounted": 0,
        "closing": 0,
        "counted": False,
        "finished": False,
        "doubt": None,
        "overdrawn": 0,
        "by": {},
    }


def settle(stock, row, counted, read):
    """A count: expected drip to shrink, the rest to unaccounted. How far that may be off
    is all that went into the book and the count; the count's own is what is left."""
    row["doubt"] = (row["doubt"] or Doubt()).add(stock.doubt).add(read, -1)
    stock.doubt = Doubt().add(read)
    drip = stock.expected_drip()
    row["shrink"] += drip
    row["unaccounted"] += stock.book - drip - counted
    stock.book, stock.drip = counted, 0


# --- yields and pay ----------------------------------------------------------


def yield_rows(cuts):
    found = {}
    for cut in cuts:
        mixed = len({supplier for supplier, _, _ in cut["sources"]}) > 1
        assert len({presentation for _, presentation, _ in cut["sources"]}) == 1
        by_supplier = {}
        for supplier, presentation, weight in cut["sources"]:
            by_supplier[supplier] = by_supplier.get(supplier, 0) + weight
        for supplier, weight in by_supplier.items():
            key = (supplier, cut["species"], presentation, cut["specification"], cut["customer"])
            row = found.setdefault(
                key, {"cuts": 0, "input": 0, "fillet": 0, "mixed_cuts": 0, "mixed_input": 0}
            )
            if mixed:
                row["mixed_cuts"] += 1
                row["mixed_input"] += weight
            else:
                row["cuts"] += 1
                row["input"] += weight
                row["fillet"] += cut["fillet"]
    return [
        {
            "supplier": key[0],
            "species": key[1],
            "presentation": word(key[2]),
            "specification": key[3],
            "customer_kitchen": key[4],
            "cuts": row["cuts"],
            "input": grams(row["input"]),
            "fillet": grams(row["fillet"]),
            "yield_percent": percent_2(row["fillet"], row["input"]) if row["cuts"] else "",
            "mixed_cuts": row["mixed_cuts"],
            "mixed_input": grams(row["mixed_input"]),
        }
        for key, row in sorted(found.items())
    ]


def payee_shares(ticket):
    """Party, owed and held: a ticket's pay by percents, to the cent.

    Whole cents first; each cent left over goes to the largest part of a cent, of equal
    ones to the payee listed first.
    """
    if not ticket["payees"]:
        return [(ticket["harvester"], ticket["owed"], ticket["held"])]
    assert ticket["held"] == 0, "held fish of a boat is not in this week"
    exact = [ticket["owed"] * Fraction(payee["percent"]) / 100 for payee in ticket["payees"]]
    assert sum(exact) == ticket["owed"]
    whole = [int(share) for share in exact]
    over = ticket["owed"] - sum(whole)
    largest = sorted(range(len(exact)), key=lambda n: (whole[n] - exact[n], n))[:over]
    return [
        (payee["party"], cents + (n in largest), 0)
        for n, (payee, cents) in enumerate(zip(ticket["payees"], whole))
    ]


def pay_rows(week, days):
    balances, out = {}, {}
    for day in days:
        today = {}
        for change in week.pay:
            if change["day"] == day:
                party = change["party"]
                row = balances.setdefault(party, [0, 0])
                row[0] += change["owed"]
                row[1] += change["held"]
                today[party] = today.get(party, 0) + change["owed"]
        out[day] = {
            party: {"owed": owed, "held": held, "owed_today": today.get(party, 0)}
            for party, (owed, held) in sorted(balances.items())
            if owed or held or today.get(party)
        }
    return out


CASH = ("currency", "cashiers_check", "bank_draft", "travelers_check", "money_order")


def money_out(week):
    """Settlements, drawers, what is still to be taken off, and the year's cash by payee."""
    paid, cash = {}, {}
    for _, party, method, amount in week.paid_out:
        paid[party] = paid.get(party, 0) + amount
        cash[party] = cash.get(party, 0) + (amount if method in CASH else 0)
    return {
        "settlements": week.settlements,
        "drawers": week.drawers,
        "dues": {
            party: [{"name": due["name"], "due": due["due"]} for due in dues]
            for party, dues in sorted(week.dues.items())
        },
        "paid": {
            party: {
                "paid": total,
                "cash": cash[party],
                # 26 USC 6050R: cash of 600 dollars or more in a calendar year.
                "reportable": cash[party] >= 60_000,
            }
            for party, total in sorted(paid.items())
        },
    }


# --- what is written ---------------------------------------------------------


def word(enum):
    """PRESENTATION_WHOLE -> whole."""
    return enum.removeprefix("PRESENTATION_").lower()


def part_label(part):
    return "/".join(str(p) for p in part)


def ticket_out(ticket):
    lines = [
        {
            "n": line["n"],
            "part": part_label(line["part"]),
            "band": line["band"],
            "grade": line["grade"],
            "condition": line["condition"].removeprefix("CONDITION_").lower(),
            "pieces": line["pieces"],
            "net": grams(line["net"]),
            "ice": grams(line["ice"]),
            "list_price": price_text(line["list_price"]),
            "price": price_text(line["price"]),
            "amount": line["amount"],
            "undersize": line["undersize"],
            "held": line["held"],
        }
        for line in ticket["lines"]
    ]
    return {
        "harvester": ticket["harvester"],
        "day": ticket["day"],
        "pay_day": ticket["pay_day"],
        "priced_us": ticket["priced"],
        "state": ticket["state"],
        "lots": ticket["lots"],
        "lines": lines,
        "not_bought": [{**row, "net": grams(row["net"])} for row in ticket["not_bought"]],
        "adjustments": ticket["adjustments"],
        "lines_total": ticket["lines_total"],
        "payout": ticket["payout"],
        "owed": ticket["owed"],
        "held": ticket["held"],
        "undersize": grams(ticket["undersize"]),
    }


def making_out(making):
    return {
        "kind": making["kind"],
        "day": making["day"],
        "input": grams(making["input"]),
        "lots": [{"presentation": word(p), "weight": grams(w)} for p, w in making["lots"]],
        "fillet": grams(making["fillet"]),
        "discard": grams(making["discard"]),
        "residue": grams(making["loss"] + making["table"]),
        "cutting_loss": grams(making["loss"]),
        "table_unaccounted": grams(making["table"]),
        "judged": making["judged"],
        "yield_percent": percent_2(making["fillet"], making["input"]) if making["fillet"] else "",
    }


def flags_out(flags):
    return [
        {"kind": kind, "subject": [s if isinstance(s, str) else part_label(s) for s in subject]}
        for kind, subject in flags
    ]


def explained_out(doubt):
    """Empty where it is not known, or nothing was counted."""
    explained = doubt.explains() if doubt else None
    return "" if explained is None else grams(explained)


def close_out(close, first_flags):
    first = {} if first_flags is None else {"first_flags": flags_out(first_flags)}
    weights = ("opening", "in", "out", "shrink", "unaccounted", "closing")
    balance = {
        name: {k: grams(w) for k, w in sorted(value.items())} if name == "out" else grams(value)
        for name, value in close["balance"].items()
    }
    return {
        "revision": close["revision"],
        **first,
        "state": close["state"],
        "exit_code": close["exit_code"],
        "balance": balance,
        "parts": {
            part_label(part): {
                **{k: grams(row[k]) for k in weights},
                "counted": row["counted"],
                "finished": row["finished"],
                "explained": explained_out(row["doubt"]),
            }
            for part, row in sorted(close["parts"].items())
        },
        "undersize": {
            part_label(part): {
                "taken_in": grams(row["taken_in"]),
                "out": {k: grams(w) for k, w in sorted(row["out"].items())},
                "made_into_lots": grams(row["made_into_lots"]),
                "left": grams(row["left"]),
            }
            for part, row in sorted(close["undersize"].items())
        },
        "flags": flags_out(close["flags"]),
    }


def read(folder):
    steps = json.loads((folder / "office.json").read_text())
    days = sorted((folder / "days").glob("*.json"))
    for path in days:
        steps += json.loads(path.read_text())
    return steps, [path.stem for path in days]


def take_all(steps):
    week = Week()
    for step in steps:
        if "refused" not in step:
            week.take(step)
    return week


def closes(week, steps, days):
    night = Night(week)
    out = {}
    for day in days:
        close, first_flags = night.close(day), None
        if close["revision"] > 1:
            # What the first night saw: nothing that was sent after it.
            turn = week.days.start(week.days.next(day))
            early = Night(take_all([step for step in steps if instant(step["at"]) < turn]))
            for earlier in days[: days.index(day)]:
                early.run_day(earlier)
            first_flags = early.close(day)["flags"]
        out[day] = close_out(close, first_flags)
    return out


def work_out(folder):
    steps, days = read(folder)
    week = take_all(steps)
    return {
        "tickets": {label: ticket_out(t) for label, t in week.tickets.items()},
        "makings": {label: making_out(m) for label, m in week.makings.items()},
        "closes": closes(week, steps, days),
        "payouts": pay_rows(week, days),
        "money": money_out(week),
        "yields": {
            **{day: yield_rows([c for c in week.cuts if c["day"] == day]) for day in days},
            "week": yield_rows(week.cuts),
        },
    }


def main():
    check = "--check" in sys.argv[1:]
    differ = []
    for name, answers in work_out(HERE).items():
        path = HERE / "expected" / f"{name}.json"
        text = json.dumps(answers, indent=1, ensure_ascii=False) + "\n"
        if check:
            if not path.exists() or path.read_text() != text:
                differ.append(path.name)
        else:
            path.write_text(text)
    if differ:
        print("differs from what was worked out: " + ", ".join(differ))
        sys.exit(1)


if __name__ == "__main__":
    main()
