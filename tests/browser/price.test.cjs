// What a browser works out without signal is what the house works out: several hundred
// forms made by chance, each priced and judged by both, alike to the cent and in what was
// found. The seed is printed;
// WEIGHHOUSE_TEST_SEED sets it.
"use strict";

const assert = require("node:assert/strict");
const { test, before, after } = require("node:test");
const { openHouse } = require("./house.cjs");
const price = require("../../services/pages/look/price.js");
const received = require("../../services/pages/look/received.js");

const FORMS = 500;
// The day after the demo's last.
const DAY = "2031-05-05";

let house;
before(async () => { house = await openHouse(); });
after(() => house?.close());

test("plain decimals, halves and edges", () => {
  for (const [n, d, expected] of [[4n, 10n, 0n], [5n, 10n, 1n], [15n, 10n, 2n], [-5n, 10n, -1n], [-4n, 10n, 0n]]) {
    assert.equal(price.halfUp(n, d), expected, `${n}/${d}`);
  }
  for (const [text, expected] of [
    ["42.5", 42500n], ["42.50000", 42500n], ["0.001", 1n], ["007", 7000n], ["0.0001", null],
    ["", null], [".5", null], ["5.", null], ["+5", null], ["1e3", null], ["1,5", null], [" 1", null],
  ]) assert.equal(price.scaled(text, 3), expected, text);
  // Exactly at an edge is the upper band: 66 fish of 33.00 lb at 0.50.
  const lb = 45_359_237_000n;
  const grade = { bands: [{ from: "0", e4: "12500" }, { from: String(lb / 2n), e4: "55000" }] };
  assert.equal(price.bandOfMean(grade, lb * 33n, 66)[0], 2);
  assert.equal(price.bandOfMean(grade, (lb * 3205n) / 100n, 66)[0], 1);
  // 42.00 lb less 3 %, rounded down to 0.05 lb: 1.25.
  assert.equal(price.iceAllowance(lb * 42n, 30000, lb / 20n), (lb * 125n) / 100n);
});

test("times of day are the last ones, by the site's clock, and never ahead", () => {
  const us = (text) => BigInt(Date.parse(text)) * 1000n;
  for (const [now, on, written, is] of [
    // As the house's own table has them (rules/business_day), but for nights whose clock changes.
    ["2031-05-02T19:00:30Z", "", "14:20", "2031-05-02 14:20"],
    ["2031-05-02T19:00:30Z", "", "15:00", "2031-05-02 15:00"],
    ["2031-05-02T19:00:30Z", "", "15:01", "liesAhead"],
    ["2031-05-02T19:00:30Z", "", "16:00", "liesAhead"],
    ["2031-05-02T19:00:30Z", "", "16:01", "2031-05-01 16:01"],
    ["2031-05-02T04:10:00Z", "", "23:50", "2031-05-01 23:50"],
    ["2031-05-02T03:50:00Z", "", "00:20", "liesAhead"],
    ["2031-05-02T03:50:00Z", "", "00:51", "2031-05-01 00:51"],
    ["2031-05-02T19:00:30Z", "2031-04-30", "16:01", "2031-04-30 16:01"],
    ["2031-05-02T19:00:30Z", "2031-05-02", "16:01", "liesAhead"],
    ["2031-05-02T19:00:30Z", "2031-05-03", "00:00", "liesAhead"],
    ["2031-05-02T19:00:30Z", "", "24:00", "noTime"],
  ]) {
    const shown = received.shown(us(now), "America/New_York");
    let got;
    try {
      got = received.clock(shown - received.writtenTime(written, on, shown, {}));
    } catch (refused) {
      got = refused.rule;
    }
    assert.equal(got, is, `${now} ${on} ${written}`);
  }
  // 41 F is 5 C, and a hundredth above is above.
  assert.equal(received.heat("41", "F"), received.heat("5.00", "C"));
  assert.ok(received.heat("5.01", "C") > received.heat("41", "F"));
  assert.ok(received.heat("-0.5", "C") < received.heat("32", "F"));
  for (const text of ["", "38.125", "1e2", "--3", "+3"]) assert.equal(received.heat(text, "F"), null, text);
});

// A chance of our own (mulberry32), so that a seed gives the same forms everywhere.
function chance(seed) {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

// Lists that the demo has none of: by lot, per kilogram, with four places. And limits of
// every kind, all of them invented.
function moreOnFile() {
  const species = (code, name, hazards = []) => ({ species: { requestId: crypto.randomUUID(), species: { code, name, hazards } } });
  const day = (text) => Object.fromEntries(text.split("-").map((of, i) => [["year", "month", "day"][i], Number(of)]));
  const degrees = (decimal, unit) => ({ decimal, unit: `TEMPERATURE_UNIT_${unit}` });
  const settings = {
    site: 1,
    icePercent: "3",
    undersizeOutlet: "OUTLET_SOUP",
    areasOfConcern: [
      { system: "site", code: "QH-Blind Shoal" },
      { system: "site", code: "QH-Sill", species: ["LCX"], pieceWeightAbove: { decimal: "5", unit: "WEIGHT_UNIT_LB" } },
    ],
    coldLimit: degrees("4.5", "CELSIUS"),
    hoursToCool: 3,
    heavyLot: { decimal: "30", unit: "WEIGHT_UNIT_LB" },
    histamineLimits: [
      { hoursAtMost: 9, temperatureAtMost: degrees("50", "FAHRENHEIT") },
      { hoursAtMost: 12, temperatureAtMost: degrees("4.5", "CELSIUS") },
    ],
    legalLimits: [
      { species: "GPR", minimumLength: { decimal: "19", unit: "LENGTH_UNIT_IN" } },
      { species: "GPR", from: day("2031-05-01"), minimumLength: { decimal: "500", unit: "LENGTH_UNIT_MM" } },
      { species: "LCX", from: day("2031-04-01"), to: day("2031-05-01"), closed: true },
      { species: "LCX", tripPieces: 45 },
      { species: "PZO", tripPieces: 90 },
      { species: "SNR", tripWeight: { decimal: "60", unit: "WEIGHT_UNIT_LB" } },
    ],
  };
  const by = (code, bandBy, pricePer, edgeUnit, grades) => ({
    priceList: {
      requestId: crypto.randomUUID(),
      priceList: {
        site: 1, species: code, effectiveFrom: "2031-04-01T08:00:00Z", bandBy, pricePer, edgeUnit,
        presentations: [{ presentation: "PRESENTATION_WHOLE", plateMinimum: "0.40", grades }],
        conditionAdjustments: [{ condition: "CONDITION_TORN", perUnit: "-9.9999" }],
      },
    },
  });
  house.send([
    species("SNR", "Red snapper"),
    by("SNR", "BAND_BY_LOT", "WEIGHT_UNIT_KG", "WEIGHT_UNIT_KG", [{
      grade: "A",
      bands: [{ from: "0", to: "10", price: "9.1275", name: "few" }, { from: "10", to: "25", price: "8.3333", name: "some" }, { from: "25", price: "12.05", name: "many" }],
    }]),
    species("SPZ", "Spotted goatfish", ["HAZARD_HISTAMINE"]),
    { settings: { requestId: crypto.randomUUID(), settings } },
    by("SPZ", "BAND_BY_PIECE", "WEIGHT_UNIT_KG", "WEIGHT_UNIT_LB", [{
      grade: "A",
      bands: [{ from: "0", to: "0.40", price: "2.0001", name: "below plate" }, { from: "0.40", price: "7.7777", name: "plate" }],
    }]),
    {
      agreedPrice: {
        requestId: crypto.randomUUID(),
        agreedPrice: {
          site: 1, harvester: "wren-haldane", species: "PZO", presentation: "PRESENTATION_WHOLE",
          to: "2031-06-01T00:00:00Z", price: { decimal: "6.6125", currency: "USD", per: "WEIGHT_UNIT_LB" },
          reason: "a test",
        },
      },
    },
  ]);
}

function formBy(random, hoursAgo) {
  const one = (of) => of[Math.floor(random() * of.length)];
  const some = (least, most) => least + Math.floor(random() * (most - least + 1));
  const weight = (least, most, places) => (least + random() * (most - least)).toFixed(places);
  const unit = random() < 0.75 ? "lb" : "kg";
  const lots = one([1, 1, 1, 2, 3]);
  const form = {
    unit, lots: String(lots), confirmation: "1",
    harvester: one(["wren-haldane", "jonas-brandeth", "wren-haldane"]),
    scale: one(["dock", "piece", "dock", ""]),
    // Mostly of no concern; one is, and not to say is not to know.
    area: random() < 0.85 ? "QH-Sill" : one(["QH-Blind Shoal", "qh-blind shoal", ""]),
    area_unclear: random() < 0.06 ? "yes" : "",
    caught: random() < 0.6 ? "" : one(["2031-04-30", "2031-05-01", DAY]),
  };
  for (let n = 1; n <= lots; n += 1) {
    const put = (field, value) => { form[n === 1 ? field : `lot${n}_${field}`] = value; };
    const species = one(["PZO", "PZO", "LCX", "GPR", "SNR", "SPZ"]);
    const bought = ["PZO", "LCX"].includes(species) ? ["A", "A", "a", "B"] : ["A"];
    // Now and then what no list buys.
    const grade = () => (random() < 0.02 ? one(["C", ""]) : one(bought));
    put("species", species);
    put("presentation", random() < 0.03 ? "2" : { GPR: "3" }[species] || "1");
    put("decision", one(["1", "1", "1", "1", "2", "3"]));
    put("small", one(["1", "1", "2", "3"]));
    if (random() < 0.95) put("reason", "area unclear");
    if (random() < 0.95) put("action", "put back on ice");
    // Mostly cold, and of those that are not most are iced and cooling.
    const warm = random() < 0.25;
    put("degrees", one(["F", "F", "C"]));
    for (let probe = 1; probe <= one([3, 3, 2, 1, 0]); probe += 1) {
      const [cool, hot] = form[n === 1 ? "degrees" : `lot${n}_degrees`] === "C"
        ? [["4.5", "3", "-1.25"], ["4.51", "9", "12"]] : [["40.1", "38.5", "33"], ["40.11", "47", "52"]];
      put(`probe_${probe}`, random() < 0.01 ? "cold" : one(warm ? hot : cool));
    }
    if (random() < (warm ? 0.8 : 0.3)) put("ice_around", one(["yes", "yes", "yes", "no"]));
    if (random() < (warm ? 0.8 : 0.3)) put("iced_at", hoursAgo(one([0, 0.7, 0.7, 3, 3, 9, 22, -0.5])));
    if (random() < 0.5) put("speared_at", hoursAgo(one([1, 5, 9, 9.1, 11.9, 13, 22])));
    if (random() < 0.4) {
      put("length_unit", one(["in", "cm", "mm"]));
      const inch = { in: 1, cm: 2.54, mm: 25.4 }[form[n === 1 ? "length_unit" : `lot${n}_length_unit`]];
      put("smallest", (one([19, 19, 500 / 25.4, 25, 18.9]) * inch).toFixed(one([1, 2, 3])));
    }
    const totes = some(0, 3);
    put("rows", "3");
    for (let row = 1; row <= totes; row += 1) {
      const pieces = some(1, 40);
      // About the edges, so that they matter.
      const each = one([0.3, 0.4, 0.5, 0.5, 0.74, 0.75, 1.25, 1.75, 3, 6]);
      const tare = one(["3.60", "3.65", "", "", "blue-1", "3.6"]);
      const less = tare === "" ? 0 : 3.6;
      const places = one([1, 2, 2, 3]);
      put(`gross_${row}`, (less + pieces * each * (0.98 + 0.04 * random())).toFixed(places));
      if (random() < 0.2) put(`gross_${row}`, (less + pieces * each).toFixed(2));
      put(tare === "blue-1" ? `tote_${row}` : `tare_${row}`, tare);
      if (random() < 0.93) put(`pieces_${row}`, String(pieces));
      put(`grade_${row}`, grade());
      put(`condition_${row}`, one(["1", "2", "3", ""]));
      if (random() < 0.4) put(`iced_${row}`, "yes");
      if (random() < 0.2) put(`about_${row}`, "yes");
    }
    if (!totes || random() < 0.4) {
      put("fish", Array.from({ length: some(1, 8) }, () => one([weight(0.1, 3, 2), "0.50", "0.75", "0.40"])).join(one([" ", "\n", "  "])));
      put("grade_fish", grade());
      put("condition_fish", one(["1", "3", ""]));
    }
    if (random() < 0.02) put("gross_1", one(["1e3", "0", "-3", "3,5", "99999999"]));
  }
  return form;
}

test("several hundred forms made by chance, priced here and by the house, are alike to the cent", async () => {
  moreOnFile();
  const seed = Number(process.env.WEIGHHOUSE_TEST_SEED || Date.now() % 1e9);
  console.log(`# seed ${seed}`);
  const random = chance(seed);
  const said = { "sec-fetch-site": "same-origin" };
  const signedIn = await fetch(`${house.url}/sign-in`, {
    method: "POST", body: new URLSearchParams({ key: house.key("buyer") }), headers: said, redirect: "manual",
  });
  const session = signedIn.headers.getSetCookie()[0].split(";")[0];
  const asked = async (path, unit, fields) => {
    for (;;) {
      const answer = await fetch(`${house.url}${path}`, {
        method: fields ? "POST" : "GET",
        body: fields && new URLSearchParams(fields),
        headers: { ...said, cookie: `${session}; unit=${unit}` },
      });
      if (answer.status !== 429) return { status: answer.status, told: await answer.json() };
      // The house answers a key so many times a second.
      await new Promise((rested) => { setTimeout(rested, 500); });
    }
  };
  const { told: stock } = await asked("/weigh-in/stock", "lb");
  const now = BigInt(stock.now_us);
  const hoursAgo = (hours) => received.clock(received.shown(now, stock.zone) - Math.round(hours * 60)).slice(11);
  // In the order of their numbers.
  const RULES = ["legal length", "season", "trip limit", "area", "cold", "probes", "histamine"];
  const STANDINGS = ["passed", "failed", "not set", "not known"];
  const [PASSED, FAILED, NOT_SET, NOT_KNOWN] = [1, 2, 3, 4];
  const found = new Set();
  const seen = { priced: 0, cents: 0n, lines: 0, refused: 0, unknown: 0, culled: 0, small: 0, agreed: 0, cooling: 0 };
  for (let i = 0; i < FORMS; i += 1) {
    const form = formBy(random, hoursAgo);
    const which = `seed ${seed}, form ${i}: ${JSON.stringify(form)}`;
    const { status, told } = await asked("/weigh-in/running", form.unit, { ...form, token: stock.token });
    let here = null;
    let judged = null;
    try {
      const get = (name) => (form[name] || "").trim();
      const priced = price.ticket(get, stock, now);
      judged = received.judge(get, stock, priced.lots, now, now);
      here = priced;
    } catch (refused) {
      if (!(refused instanceof price.Refused)) throw refused;
      found.add(refused.rule);
    }
    if (status !== 200) {
      assert.equal(status, 422, which);
      // Refused there is refused here, or has no price here.
      assert.ok(here === null || here.payout === null, `${told.rule}; ${which}`);
      if (here) seen.unknown += 1;
      else seen.refused += 1;
      continue;
    }
    assert.ok(here, which);
    const { unit } = here;
    const lines = here.lines.map((line) => [
      `${price.shown(line.net, unit)} ${unit}`,
      line.cents === null ? null : price.unitPrice(line.e4, stock.currency, line.per),
      line.cents === null ? null : Number(line.cents),
      line.held, line.undersize !== "no" && line.cents !== null,
    ]);
    const theirs = told.lines.map((line) => [line.net, line.price, line.minor, line.held, line.small !== ""]);
    assert.deepEqual(lines, theirs, which);
    assert.equal(here.payout === null ? null : Number(here.payout), told.minor, which);
    assert.equal(`${price.shown(here.net, unit)} ${unit}`, told.net, which);
    assert.equal(here.held ? price.money(here.held, stock.currency) : "", told.held, which);
    assert.deepEqual(here.notBought.map((of) => `${price.shown(of.net, unit)} ${unit}`), told.not_bought.map(([net]) => net), which);
    assert.equal(here.questions.includes("cull"), told.questions.some((of) => of.code === "cull"), which);
    const stands = judged.flatMap((lot) => [FAILED, NOT_KNOWN, PASSED, NOT_SET].map((standing) => [
      STANDINGS[standing - 1],
      lot.found.filter(([, of]) => of === standing).map(([rule]) => RULES[rule - 1]).join(", "),
    ]).filter(([, rules]) => rules));
    assert.deepEqual(stands, told.found.map((of) => [of.standing, of.rules]), which);
    for (const [standing, rules] of stands) for (const rule of rules.split(", ")) found.add(`${rule} ${standing}`);
    const again = judged.map((lot) => lot.probeAgain).filter(Boolean);
    assert.deepEqual(again.map((at) => `Probe it again by ${at}`), told.probe_again, which);
    const times = judged.flatMap((lot) => lot.seen.map(([, is]) => is));
    assert.deepEqual(times, told.seen.filter(([name]) => /(speared|Iced) at$/.test(name)).map(([, is]) => is), which);
    if (again.length) seen.cooling += 1;
    seen.priced += 1;
    seen.lines += lines.length;
    seen.cents += here.payout;
    if (here.questions.length) seen.culled += 1;
    if (here.lines.some((line) => line.undersize === "yes")) seen.small += 1;
    if (here.lines.some((line) => line.e4 === 66125n)) seen.agreed += 1;
  }
  console.log(`# ${JSON.stringify(seen, (_, value) => (typeof value === "bigint" ? String(value) : value))}`);
  console.log(`# ${[...found].sort().join("; ")}`);
  for (const rule of RULES) {
    for (const standing of { area: ["passed", "not known", "not set"], season: ["passed", "not set"],
      "legal length": ["passed", "not known", "not set"], "trip limit": ["passed", "not known", "not set"],
      cold: ["passed", "failed", "not known"], probes: ["passed", "failed"],
      histamine: ["passed", "not known"] }[rule]) {
      assert.ok(found.has(`${rule} ${standing}`), `some ${rule} was ${standing}`);
    }
  }
  for (const rule of ["tooWarm", "belowLegalLength", "outOfSeason", "overTripLimit", "areaOfConcern",
    "areaUnclear", "histamineLimit", "liesAhead"]) assert.ok(found.has(rule), `some were refused: ${rule}`);
  assert.ok(seen.priced > 150 && seen.lines > 250 && seen.cents > 0n, "many of them are tickets");
  for (const kind of ["refused", "unknown", "culled", "small", "agreed", "cooling"]) assert.ok(seen[kind] > 0, `some were ${kind}`);
});
