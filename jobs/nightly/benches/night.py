"""The sums of every day's weight with pandas, read from a SQLite book.

What a person with a script would write; `night.rs` holds the night's own sums
against it. Prints how long it took and the sum of all sums.
"""

import sqlite3
import sys
import time

import pandas

KEY = ["day", "from_place", "to_place", "supplier", "species"]


def table(book, name, columns):
    return pandas.read_sql_query(f"SELECT {columns} FROM {name}", book)


def main(path):
    started = time.monotonic()
    book = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    lots = table(book, "lot", "number, place, supplier, species")
    ended = table(book, "spent", "what, item, how")
    ended = ended[(ended.item == 0) & ended.how.isin(["void", "rewrite"])]

    line = table(book, "line", "ticket AS entry, number, place, weight, ice")
    line = line[~line.entry.isin(ended.what)]
    bought = line.drop(columns="ice").assign(from_place="landing", to_place="part")
    ice = line[line.ice != 0].assign(from_place="landing", to_place="ice")
    ice = ice.drop(columns="weight").rename(columns={"ice": "weight"})

    back = table(book, "inward", "entry, outlet, number, place, weight")
    back = back.assign(from_place="outlet:" + back.outlet.astype(str), to_place="part")
    out = table(book, "move", "entry, outlet, number, place, weight")
    out = out.assign(from_place="part", to_place="outlet:" + out.outlet.astype(str))
    used = table(book, "making_in", "entry, number, place, weight")
    used = used.assign(from_place="part", to_place="table")
    made = table(book, "making_out", "entry, fate, number, place, weight")
    made = made.assign(from_place="table", to_place=made.fate.replace("lot", "part"))

    rows = pandas.concat([bought, ice, back, out, used, made], ignore_index=True)
    rows = rows.merge(lots, on=["number", "place"], how="left")
    rows[["supplier", "species"]] = rows[["supplier", "species"]].fillna("")
    rows["day"] = rows.entry // 10_000_000
    sums = rows.groupby(KEY).weight.sum()
    took = time.monotonic() - started
    total = sum(int(weight) for weight in sums)
    print(f"the same with pandas: {1000 * took:.0f} ms, {len(sums)} sums, together {total}")


main(sys.argv[1])
