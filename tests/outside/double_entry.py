"""Both double-entry views of a book, against its stored documents.

    double_entry.py BOOK_FILE

Opens the SQLite file read-only. What every place holds is added up once from the
views `weight_book` and `money_book`, and once more from the documents alone: what
each entry says came of what was asked, and what the latest revision of each close
posted. No table but `entry` and `close` is read for the second sum, and no code of
the tool. Readings are weighed again from what the scale showed (pound and ounce:
NIST Handbook 44, appendix C).
"""

import json
import sqlite3
import sys
from collections import defaultdict
from fractions import Fraction

from arithmetic import half_up, split_pay, weigh
from served import Checks

# The contract's numbers of the outlets, by the trade's words for them.
OUTLETS = {
    "sold whole": 1,
    "soup-grade": 2,
    "donation": 3,
    "gift": 4,
    "crew use": 5,
    "by-product": 6,
    "discard": 7,
    "sample": 8,
}
PLACES_OF_A_CODE = "123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def number(doc, *keys):
    for key in keys:
        doc = doc.get(key, {})
    return int(doc or 0)


def scale_read(reading):
    """Weight of a reading, from its text."""
    return weigh(reading["text"], reading["unit"].upper())


def part_of(doc):
    """`{"lot": code, "n" or "part": n}` as the views name it."""
    code, n = doc["lot"], doc.get("n", doc.get("part"))
    return f"part:{code[:19]}.{PLACES_OF_A_CODE.index(code[19]) + 1}.{n}"


class Documents:
    """Adds up what the documents say."""

    def __init__(self, checks):
        self.checks = checks
        self.weight = defaultdict(int)
        self.money = defaultdict(int)
        self.tickets = {}
        self.pay = {}  # part -> (cents, weight) it was bought for
        self.held = set()
        self.supplier = {}  # lot -> party
        self.dues = {}  # advance or charge -> (source, target, cents)
        self.kinds = defaultdict(int)

    def carry(self, source, target, weight):
        self.weight[source] -= weight
        self.weight[target] += weight

    def owe(self, source, target, cents):
        self.money[source] -= cents
        self.money[target] += cents

    def take(self, entry, kind, doc):
        self.kinds[kind] += 1
        take = getattr(self, f"take_{kind}", None)
        if take:
            take(entry, doc["asked"], doc["outcome"])

    def take_weigh_in(self, entry, asked, ticket):
        if "rewrites" in asked:
            self.undo(int(asked["rewrites"]["ticket"]))
        root = number(ticket, "number") or entry
        rows = []
        bought, amounts = defaultdict(int), 0
        places = {lot["n"]: lot.get("place") for lot in ticket["lots"]}
        for line in ticket["lines"]:
            part = f"part:{root}.{places[line['lot']]}.{line['part']}"
            net, ice, amount = (
                number(line, "net"),
                number(line, "ice"),
                number(line, "amount", "minor"),
            )
            rows.append(("landing", part, net))
            rows.append(("landing", "ice", ice))
            self.pay[part] = (amount, net)
            self.supplier[part.rsplit(".", 1)[0]] = asked["harvester"]
            if line["held"]:
                self.held.add(part)
            bought[line["lot"]] += net
            amounts += amount
        for row in ticket["not_bought"]:
            bought[row["lot"]] += number(row, "net")
        for written, lot in zip(asked["lots"], ticket["lots"], strict=True):
            self.weigh_again(entry, written, lot, bought[lot["n"]])
        for source, target, weight in rows:
            self.carry(source, target, weight)
        owed, held = number(ticket, "owed", "minor"), number(ticket, "held", "minor")
        adjusted = sum(number(row, "amount", "minor") for row in ticket["adjustments"])
        self.checks.same(f"pay of {entry}", owed + held, amounts + adjusted)
        shares = self.shares(asked, owed, held)
        for party, (owed, held) in shares.items():
            self.owe("purchases:", f"owed:{party}", owed)
            self.owe("purchases:", f"held:{party}", held)
        self.tickets[entry] = rows, shares

    def shares(self, asked, owed, held):
        """Each payee's part of a ticket's pay."""
        if not asked["payees"]:
            return {asked["harvester"]: (owed, held)}
        assert held == 0, "held pay of several payees is not in this book"
        payees = []
        for payee in asked["payees"]:
            share = payee["share"]
            fixed = number(share, "fixed", "minor") if "fixed" in share else None
            percent = Fraction(int(share["ppm"]), 10_000) if "ppm" in share else None
            payees.append((payee["party"], fixed, percent))
        self.kinds["split"] += 1
        return {party: (cents, 0) for party, cents in split_pay(payees, owed).items()}

    def weigh_again(self, entry, written, lot, bought):
        """Gross less tare less ice is what the lines and what was not bought add up to."""
        net = 0
        for weighing, weighed in zip(written["weighings"], lot["weighed"], strict=True):
            what = weighing["weighed"]
            if "one_by_one" in what:
                net += sum(scale_read(piece) for piece in what["one_by_one"])
                continue
            tare = what.get("tare") or {}
            tare = tare.get("reading") or tare.get("posted")
            net += (
                scale_read(what["gross"])
                - (scale_read(tare) if tare else 0)
                - number(weighed, "ice")
            )
        self.checks.same(f"lot {lot['n']} of {entry}", bought, net)

    def undo(self, ticket):
        rows, shares = self.tickets.pop(ticket)
        for source, target, weight in rows:
            self.carry(target, source, weight)
        for party, (owed, held) in shares.items():
            self.owe(f"owed:{party}", "purchases:", owed)
            self.owe(f"held:{party}", "purchases:", held)

    def take_settle(self, entry, asked, settled):
        payee, taken = asked["payee"], 0
        for row in settled["deductions"]:
            account = "advance" if row["due"]["advance"] else "carry"
            cents = number(row, "taken", "minor")
            self.owe(f"owed:{payee}", f"{account}:{payee}", cents)
            taken += cents
        paid = sum(number(payment, "amount", "minor") for payment in asked["payments"])
        self.owe(f"owed:{payee}", f"paid:{payee}", paid)
        items = sum(number(item, "amount", "minor") for item in settled["items"])
        payable = items + number(settled, "brought", "minor")
        self.checks.same(f"settlement {entry}", payable, taken + paid + min(payable, 0))

    def take_advance(self, entry, asked, _outcome):
        payee = asked["payee"]
        cents = number(asked, "payment", "amount", "minor")
        self.dues[entry] = f"advance:{payee}", f"paid:{payee}", cents
        self.owe(*self.dues[entry])

    def take_charge(self, entry, asked, _outcome):
        payee = asked["payee"]
        cents = number(asked, "amount", "minor")
        self.dues[entry] = f"carry:{payee}", f"deduction:{payee}", cents
        self.owe(*self.dues[entry])

    def take_take_back(self, _entry, asked, _outcome):
        source, target, cents = self.dues.pop(int(asked["entry"]))
        self.owe(target, source, cents)

    def take_void(self, _entry, asked, _outcome):
        self.undo(int(asked["ticket"]))

    def shift(self, source, target, weight):
        self.carry(part_of(source), part_of(target), weight)
        return self.supplier[part_of(source).rsplit(".", 1)[0]]

    def take_hold(self, _entry, asked, held):
        weight = number(held, "weight")
        if "weight" in asked:
            self.checks.same("weight set aside", weight, scale_read(asked["weight"]))
        party = self.shift(held["from"], held["held"], weight)
        self.held.add(part_of(held["held"]))
        pay = number(held, "pay", "minor")
        self.move_pay(part_of(held["from"]), part_of(held["held"]), pay, weight)
        self.owe(f"owed:{party}", f"held:{party}", pay)

    def take_release(self, _entry, _asked, released):
        party = self.shift(released["from"], released["part"], number(released, "weight"))
        pay = number(released, "pay", "minor")
        self.move_pay(
            part_of(released["from"]), part_of(released["part"]), pay, number(released, "weight")
        )
        self.owe(f"held:{party}", f"owed:{party}", pay)

    def move_pay(self, source, target, cents, weight):
        for part, sign in ((source, -1), (target, 1)):
            had = self.pay.get(part, (0, 0))
            self.pay[part] = (had[0] + sign * cents, had[1] + sign * weight)

    def take_regrade(self, _entry, _asked, regraded):
        self.shift(regraded["from"], regraded["part"], number(regraded, "weight"))

    def take_movement(self, _entry, asked, moved):
        for taken, gone in zip(asked["taken"], moved["taken"], strict=True):
            weight, part = scale_read(taken["weight"]), part_of(gone["part"])
            self.carry(part, f"outlet:{OUTLETS[asked['outlet']]}", weight)
            cents, bought = self.pay.get(part, (0, 0))
            if asked["outlet"] == "discard" and part in self.held and bought > 0:
                # Thrown out before it was owed: its share of the line is not paid, or
                # for a cause after hand-over owed, and the buyer's loss.
                unpaid = cents if weight >= bought else half_up(Fraction(cents * weight, bought))
                self.pay[part] = (cents - unpaid, bought - weight)
                party = self.supplier[part.rsplit(".", 1)[0]]
                if asked.get("cause") == "after hand-over":
                    self.kinds["buyers_loss"] += 1
                    self.owe(f"held:{party}", f"owed:{party}", unpaid)
                    self.owe("buyers_loss:", "purchases:", unpaid)
                else:
                    self.owe(f"held:{party}", "purchases:", unpaid)

    def take_return(self, _entry, asked, returned):
        part = part_of(returned["held"])
        self.held.add(part)
        self.carry(f"outlet:{OUTLETS[returned['outlet']]}", part, scale_read(asked["weight"]))

    def take_making(self, entry, asked, making):
        if making["kind"] == "customer cut":
            return
        # What was weighed is taken from the scale's text; a pool takes what the book says.
        for written, used in zip(asked["inputs"], making["inputs"], strict=True):
            weight = (
                scale_read(written["weight"]) if "weight" in written else number(used, "weight")
            )
            self.checks.same(f"input of {entry}", number(used, "weight"), weight)
        self.made(entry, making)

    def made(self, entry, making):
        on_table = 0
        for used in making["inputs"]:
            self.carry(part_of(used["source"]["part"]), "table", number(used, "weight"))
            on_table += number(used, "weight")
        for output in making["outputs"]:
            weight = number(output, "weight")
            place = (
                f"part:{entry}.{output['place']}.1" if output["fate"] == "lot" else output["fate"]
            )
            self.carry("table", place, weight)
            on_table -= weight
        # What is left of the input is cutting loss, or beyond what cutting can lose.
        for name in ("cutting_loss", "table_unaccounted", "not_weighed"):
            self.carry("table", name, number(making, name))
            on_table -= number(making, name)
        self.checks.same(f"left on the table by {entry}", on_table, 0)

    def take_count(self, entry, asked, done):
        for written, found in zip(asked["counted"], done["counted"], strict=True):
            self.checks.same(
                f"count {entry}", number(found, "weight"), scale_read(written["weight"])
            )
        if "pool" in done:
            self.made(entry, done["pool"]["making"])

    def close(self, doc):
        """What counts posted; gives what the close says each part still holds."""
        left = {}
        for row in doc["parts"]:
            part = part_of(row["part"])
            self.carry(part, "shrink", number(row, "shrink"))
            self.carry(part, "unaccounted", number(row, "unaccounted"))
            left[part] = number(row, "closing")
        return left


def added_up(book, view, checks):
    """What each place holds by a view."""
    places = defaultdict(int)
    entries = {row[0] for row in book.execute("SELECT id FROM entry")}
    for entry, source, target, amount in book.execute(
        f"SELECT entry, from_place, to_place, amount FROM {view}"
    ):
        assert entry in entries, f"{view} has a row of {entry}, which is no entry"
        places[source] -= amount
        places[target] += amount
    checks.same(f"sum of {view}", sum(places.values()), 0)
    return places


def compare(checks, view, places, documents):
    for place in sorted(places.keys() | documents.keys()):
        checks.same(f"{view}: {place}", places.get(place, 0), documents.get(place, 0))


def main():
    book = sqlite3.connect(f"file:{sys.argv[1]}?mode=ro", uri=True)
    checks = Checks()
    documents = Documents(checks)
    # In the order in which they were recorded, so that a ticket is there before its void.
    for entry, kind, doc in book.execute(
        "SELECT id, kind, doc FROM entry ORDER BY recorded_us, id"
    ):
        documents.take(entry, kind, json.loads(doc))
    left, days = {}, 0
    for (doc,) in book.execute(
        "SELECT doc FROM close c WHERE revision = (SELECT MAX(revision) FROM close l"
        " WHERE l.site = c.site AND l.day = c.day) ORDER BY day"
    ):
        left.update(documents.close(json.loads(doc)))
        days += 1

    weight = added_up(book, "weight_book", checks)
    money = added_up(book, "money_book", checks)
    compare(checks, "weight_book", weight, documents.weight)
    compare(checks, "money_book", money, documents.money)
    # The last close that speaks of a part says what the book says.
    for part, closing in left.items():
        checks.same(f"last close: {part}", weight.get(part, 0), closing)
    # A part of a voided ticket is in no close, and nothing is left of it.
    for part in sorted(weight):
        if part.startswith("part:") and part not in left:
            checks.same(f"in no close: {part}", weight[part], 0)

    print(f"{days} days, {dict(documents.kinds)}")
    # Every kind of deed was there, or the comparison proves less than it says.
    for kind in (
        "weigh_in",
        "split",
        "void",
        "hold",
        "release",
        "regrade",
        "movement",
        "return",
        "making",
        "count",
        "advance",
        "charge",
        "take_back",
        "buyers_loss",
    ):
        assert documents.kinds[kind], f"no {kind} in this book"
    checks.finish(least=500)


if __name__ == "__main__":
    main()
