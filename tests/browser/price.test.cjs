// What a browser works out without signal is what the house works out: several hundred
// forms made by chance, each priced by both, alike to the cent. The seed is printed;
// WEIGHHOUSE_TEST_SEED sets it.
"use strict";

const assert = require("node:assert/strict");
const { test, before, after } = require("node:test");
const { openHouse } = require("./house.cjs");
const price = require("../../services/pages/look/price.js");

const FORMS = 500;

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

// Lists that the demo has none of: by lot, per kilogram, with four places.
function moreOnFile() {
  const species = (code, name) => ({ species: { requestId: crypto.randomUUID(), species: { code, name } } });
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
    species("SPZ", "Spotted goatfish"),
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

function formBy(random) {
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
    area: random() < 0.9 ? "QH-Sill" : one(["QH-Blind Shoal", "qh-blind shoal", ""]),
    area_unclear: random() < 0.03 ? "yes" : "",
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
  const seen = { priced: 0, cents: 0n, lines: 0, refused: 0, unknown: 0, culled: 0, small: 0, agreed: 0 };
  for (let i = 0; i < FORMS; i += 1) {
    const form = formBy(random);
    const which = `seed ${seed}, form ${i}: ${JSON.stringify(form)}`;
    const { status, told } = await asked("/weigh-in/running", form.unit, { ...form, token: stock.token });
    let here = null;
    try {
      here = price.ticket((name) => (form[name] || "").trim(), stock, BigInt(stock.now_us));
    } catch (refused) {
      if (!(refused instanceof price.Refused)) throw refused;
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
    seen.priced += 1;
    seen.lines += lines.length;
    seen.cents += here.payout;
    if (here.questions.length) seen.culled += 1;
    if (here.lines.some((line) => line.undersize === "yes")) seen.small += 1;
    if (here.lines.some((line) => line.e4 === 66125n)) seen.agreed += 1;
  }
  console.log(`# ${JSON.stringify(seen, (_, value) => (typeof value === "bigint" ? String(value) : value))}`);
  assert.ok(seen.priced > 200 && seen.lines > 300 && seen.cents > 0n, "most of them are tickets");
  for (const kind of ["refused", "unknown", "culled", "small", "agreed"]) assert.ok(seen[kind] > 0, `some were ${kind}`);
});
